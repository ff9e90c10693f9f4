"""Checks of dimensions: every fault is collected, each with the field at fault and what would be right."""

from __future__ import annotations

import math

from optimizer.errors import GeometryError

#: Lengths beyond these [m] are legal for a package but usually a wrong unit.
SUSPICIOUSLY_LARGE = 5.0
SUSPICIOUSLY_SMALL = 1e-4

#: Position of the mid-wall surface relative to the given one, outward, in wall thicknesses.
MIDDLE_OFFSET = {"outside": -0.5, "middle": 0.0, "inside": 0.5}


class GeometryErrors(GeometryError):
    """Several faults at once: ``errors`` has each of them; ``field`` is that of the first."""

    def __init__(self, errors: tuple[GeometryError, ...]) -> None:
        super().__init__("\n".join(_line(e) for e in errors), field=errors[0].field)
        self.errors = errors


def each(error: GeometryError) -> tuple[GeometryError, ...]:
    """The single faults in an error that shapes raise, one or many."""
    return error.errors if isinstance(error, GeometryErrors) else (error,)


def _line(error: GeometryError) -> str:
    return f"{error.field}: {error}" if error.field else str(error)


class Checks:
    """Collects faults and remarks on the dimensions of one shape; ``finish`` raises if there were faults."""

    def __init__(self) -> None:
        self.errors: list[GeometryError] = []
        self.notes: list[str] = []

    def fault(self, message: str, *, field: str, hint: str) -> None:
        self.errors.append(GeometryError(message, field=field, hint=hint))

    def positive(self, **lengths: float) -> None:
        """Each length [m] must be finite and above zero; remarks on sizes that suggest a wrong unit."""
        for field, value in lengths.items():
            if self._finite(field, value) and value <= 0:
                self.fault(f"{field} is {value:g} m", field=field, hint="it must be larger than zero")
            else:
                self._size(field, value)

    def not_negative(self, **lengths: float) -> None:
        """Each length [m] must be finite and zero or more."""
        for field, value in lengths.items():
            if self._finite(field, value) and value < 0:
                self.fault(f"{field} is {value:g} m", field=field, hint="it must be zero or larger")
            elif value:
                self._size(field, value)

    def ratio(self, **ratios: float) -> None:
        """Each ratio [-] must be finite and above zero."""
        for field, value in ratios.items():
            if self._finite(field, value) and value <= 0:
                self.fault(
                    f"{field} is {value:g}",
                    field=field,
                    hint="a thickness ratio must be larger than zero; 1 is the nominal thickness",
                )

    def share(self, **shares: float) -> None:
        """Each share [-] must lie from 0 to 1."""
        for field, value in shares.items():
            if self._finite(field, value) and not 0 <= value <= 1:
                self.fault(
                    f"{field} is {value:g}", field=field, hint="a share lies between 0 and 1 (0 % and 100 %)"
                )

    def dimensions(self, where: str) -> float:
        """The outward offset of the mid-wall surface in wall thicknesses: -0.5, 0 or 0.5."""
        if where not in MIDDLE_OFFSET:
            self.fault(
                f"dimensions is '{where}'",
                field="dimensions",
                hint="write outside, inside or middle: where on the wall the dimensions were measured",
            )
        return MIDDLE_OFFSET.get(where, 0.0)

    def finish(self) -> tuple[str, ...]:
        """Raise every fault found, or return the remarks."""
        if len(self.errors) == 1:
            raise self.errors[0]
        if self.errors:
            raise GeometryErrors(tuple(self.errors))
        return tuple(self.notes)

    def _finite(self, field: str, value: float) -> bool:
        if math.isfinite(value):
            return True
        self.fault(f"{field} is {value}", field=field, hint="it must be a finite number")
        return False

    def _size(self, field: str, value: float) -> None:
        if math.isfinite(value) and not SUSPICIOUSLY_SMALL <= value <= SUSPICIOUSLY_LARGE:
            self.notes.append(f"{field} is {_length(value)}: is the unit right?")


def _length(metres: float) -> str:
    return f"{metres:g} m" if metres >= 1 else f"{metres * 1000:g} mm"
