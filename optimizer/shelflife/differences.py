"""Whether two values of the model differ, and how what differs is written."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import fields, is_dataclass
from typing import Any

from optimizer.constants import DAY, ZERO_CELSIUS
from optimizer.results import Change
from optimizer.shelflife.words import duration

#: Relative difference below which two numbers are the same.
SAME = 1e-9
ABSENT = "none"
#: Fields that say where a number is from, and not what it is.
_NOTES = frozenset({"sources", "notes", "text", "measured_temperature", "energy_assumed", "origin", "source"})


def number(
    what: str, old: float | None, new: float | None, write: Callable[[Any], str], *, tolerance: float = SAME
) -> Iterator[Change]:
    """The change of one number, None where it is absent."""
    if differs(old, new, tolerance):
        yield Change(what, ABSENT if old is None else write(old), ABSENT if new is None else write(new))


def differs(a: Any, b: Any, tolerance: float = SAME) -> bool:
    """Whether two values of the model differ, numbers beyond ``tolerance``; source notes do not count."""
    if isinstance(a, bool) or isinstance(b, bool):
        return bool(a != b)
    if isinstance(a, int | float) and isinstance(b, int | float):
        return abs(a - b) > tolerance * max(abs(a), abs(b))
    if type(a) is not type(b):
        return True
    if is_dataclass(a):
        return any(
            differs(getattr(a, f.name), getattr(b, f.name), tolerance)
            for f in fields(a)
            if f.name not in _NOTES
        )
    if isinstance(a, tuple | list):
        return len(a) != len(b) or any(differs(x, y, tolerance) for x, y in zip(a, b, strict=True))
    if isinstance(a, Mapping):
        return a.keys() != b.keys() or any(differs(a[k], b[k], tolerance) for k in a)
    if hasattr(a, "tolist"):
        return differs(a.tolist(), b.tolist(), tolerance)
    return bool(a != b)


def um(x: float) -> str:
    return f"{x * 1e6:.4g} um"


def days(seconds: float) -> str:
    return duration(seconds / DAY)


def celsius(kelvin: float) -> str:
    return f"{kelvin - ZERO_CELSIUS:.4g} degC"


def percent(share: float) -> str:
    return f"{100.0 * share:.4g} %"


def gases(shares: Mapping[str, float]) -> str:
    """'O2 2 %, N2 98 %'."""
    return ", ".join(f"{gas} {share * 100:.3g} %" for gas, share in shares.items())
