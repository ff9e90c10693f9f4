"""One layer of a wall or of a label."""

from __future__ import annotations

from typing import Any, ClassVar

from optimizer.project.base import Group, fault, shown
from optimizer.project.fields import Length, Word


class Layer(Group):
    material: Word
    thickness: Length
    example: ClassVar[dict[str, str]] = {"material": "HDPE", "thickness": "320 um"}


def some(value: Any, what: str, sample: str) -> Any:
    """A list that is not empty."""
    if not isinstance(value, list):
        raise fault(f"a list is expected here, not {shown(value)}", f"for example [{sample}]")
    if not value:
        raise fault(f"needs at least one {what}", f"for example [{sample}]")
    return value
