"""Shapes of the parts as the project file gives them, for a calculation by hand."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from optimizer.geometry.shapes import SHAPES
from optimizer.project.schema import read_sections
from optimizer.project.schema_package import AreaPart
from optimizer.shelflife.worked.areas import GivenShape

if TYPE_CHECKING:
    from optimizer.project.load import Project


def shapes_of(project: Project) -> dict[str, GivenShape]:
    """Shape, sizes [m] and place of measurement of every part that has a shape or a plain area, by name."""
    sections, _ = read_sections(project.source)
    parts = sections.package.parts if sections.package else {}
    return {name: given for name, part in parts.items() if (given := _shape(part)) is not None}


def _shape(part: Any) -> GivenShape | None:
    if isinstance(part, AreaPart):
        return GivenShape("area", {"area": part.area.value})
    shape: str = getattr(part, "shape", "")
    if shape not in SHAPES:
        return None
    spec = SHAPES[shape]
    sizes = {name: value for name in spec.parameters if (value := getattr(part, name)) is not None}
    sizes |= {
        meant: value for other, meant in spec.aliases.items() if (value := getattr(part, other)) is not None
    }
    return GivenShape(shape, sizes, part.dimensions)
