"""What is said about a mesh while it is cleaned."""

from __future__ import annotations

from dataclasses import dataclass, field

from optimizer.errors import GeometryError


@dataclass
class Findings:
    """Collected on the way, for the mesh of this name; see ``model.Mesh`` for the three lists."""

    name: str
    repairs: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    warnings: list[str] = field(default_factory=list)

    def fault(self, message: str, hint: str) -> GeometryError:
        """The error for what cannot be used."""
        return GeometryError(f"{self.name}: {message}", field="mesh", hint=hint)


def percent(share: float) -> str:
    """A share of the area in words: two digits, or all of it."""
    return f"{100 * share:.2g} %" if share < 0.995 else "all"
