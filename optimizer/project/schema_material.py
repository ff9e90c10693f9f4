"""The ``materials`` section: tables of the user's own; what stands in a material is read by the catalogue."""

from __future__ import annotations

from typing import Any, ClassVar

from optimizer.project.base import Group, fault, shown
from optimizer.project.fields import FileName

ROLES = ("seal", "print", "core", "barrier", "bond", "coating")


class Table(Group):
    """A CSV file with the columns of the shipped tables, by its path relative to the project file."""

    table: FileName
    example: ClassVar[dict[str, str]] = {"table": "resin-quotes.csv"}


def material_entry(value: Any) -> Table | dict[str, Any]:
    """A table, or the plain keys of a material written in the project file."""
    if not isinstance(value, dict):
        raise fault(
            f"a table or a material is expected here, not {shown(value)}",
            "give {table: file.csv}, or a material with 'name', 'density', 'permeability', ...",
        )
    return Table.model_validate(value) if "table" in value else value
