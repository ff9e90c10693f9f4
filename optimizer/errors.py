"""Every error that layerwright raises on purpose.

LayerwrightError
    InputError          one or more problems in what the user wrote (exit status 2)
    UnitError           a quantity that cannot be read (turned into a Problem where the text came from)
    GeometryError       dimensions that make no body
    MaterialError       a material or a property that is missing or unusable
    SolverError         the solver failed for a reason that is not the user's
"""

from __future__ import annotations

from dataclasses import dataclass


class LayerwrightError(Exception):
    """Base of all errors raised on purpose."""


@dataclass(frozen=True)
class Problem:
    """One thing that is wrong in the input, and where.

    ``file`` may be empty when the input did not come from a file; ``line`` and ``column`` count from 1
    and are 0 when unknown.
    """

    message: str
    file: str = ""
    line: int = 0
    column: int = 0
    field: str = ""
    hint: str = ""

    def __str__(self) -> str:
        where = self.file
        if self.line:
            where += f":{self.line}:{self.column}" if self.column else f":{self.line}"
        head = f"{where}: " if where else ""
        field = f"{self.field}: " if self.field else ""
        tail = f" ({self.hint})" if self.hint else ""
        return f"{head}{field}{self.message}{tail}"


class InputError(LayerwrightError):
    """What the user wrote is wrong; carries every problem found, sorted by place."""

    def __init__(self, problems: list[Problem] | tuple[Problem, ...] | Problem) -> None:
        if isinstance(problems, Problem):
            problems = (problems,)
        self.problems: tuple[Problem, ...] = tuple(
            sorted(problems, key=lambda p: (p.file, p.line, p.column, p.field))
        )
        super().__init__("\n".join(str(p) for p in self.problems))


class UnitError(LayerwrightError):
    """A quantity that cannot be read: ``message``, 1-based ``column`` in the text, ``hint`` of what would
    be right."""

    def __init__(self, message: str, *, column: int = 0, hint: str = "") -> None:
        self.message, self.column, self.hint = message, column, hint
        super().__init__(message + (f" ({hint})" if hint else ""))


class GeometryError(LayerwrightError):
    """Dimensions or a mesh that make no usable body; ``field`` names the dimension at fault, if one."""

    def __init__(self, message: str, *, field: str = "", hint: str = "") -> None:
        self.message, self.field, self.hint = message, field, hint
        super().__init__(message + (f" ({hint})" if hint else ""))


class MaterialError(LayerwrightError):
    """A material or one of its properties is missing or unusable."""

    def __init__(self, message: str, *, hint: str = "") -> None:
        self.message, self.hint = message, hint
        super().__init__(message + (f" ({hint})" if hint else ""))


class SolverError(LayerwrightError):
    """The solver failed for a reason that does not lie in the user's input."""
