"""The shapes a part can have, by name, with what each needs: one function and one entry per shape.

Every function takes SI values by keyword, and besides the parameters listed here ``dimensions``: outside (the
default), inside or middle, where on the wall the lengths were measured. It returns a Surface or raises
GeometryError; ``checks.each`` splits an error that reports several faults.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Literal

from optimizer.geometry.build import scaled
from optimizer.geometry.checks import MIDDLE_OFFSET, each
from optimizer.geometry.flat import box, plain, pouch, tray
from optimizer.geometry.round import cone, cylinder, disc, hemisphere, profile, sphere, tube
from optimizer.geometry.surface import Surface

__all__ = [
    "DIMENSIONS",
    "SHAPES",
    "Parameter",
    "ShapeSpec",
    "box",
    "cone",
    "cylinder",
    "disc",
    "each",
    "hemisphere",
    "plain",
    "pouch",
    "profile",
    "scaled",
    "sphere",
    "tray",
    "tube",
]

#: Where lengths can be measured; the first is the default.
DIMENSIONS = tuple(sorted(MIDDLE_OFFSET, key=lambda name: name != "outside"))

#: length [m], area [m2], ratio [-], table (rows of (height, radius) in metres), flag (true or false)
Kind = Literal["length", "area", "ratio", "table", "flag"]


@dataclass(frozen=True)
class Parameter:
    """One parameter of a shape: the kind of unit it carries, and what it is, in a line."""

    kind: Kind
    description: str


@dataclass(frozen=True)
class ShapeSpec:
    """A shape: its function, its parameters by name, and what it is, in a line.

    aliases: other names under which a parameter may be given. encloses: whether its volume is that of a room;
    if False (a disc, a plain area, a pouch) the shape cannot tell what its package holds.
    """

    function: Callable[..., Surface]
    description: str
    required: Mapping[str, Parameter]
    optional: Mapping[str, Parameter] = field(default_factory=dict)
    aliases: Mapping[str, str] = field(default_factory=dict)
    encloses: bool = True

    @property
    def parameters(self) -> dict[str, Parameter]:
        """Required, then optional parameters."""
        return {**self.required, **self.optional}


def _length(description: str) -> Parameter:
    return Parameter("length", description)


def _ratio(description: str) -> Parameter:
    return Parameter("ratio", description)


def _flag(description: str) -> Parameter:
    return Parameter("flag", description)


SHAPES: Mapping[str, ShapeSpec] = {
    "cylinder": ShapeSpec(
        cylinder,
        "side wall of a round body, without ends",
        {"diameter": _length("diameter of the body"), "height": _length("height of the side wall")},
    ),
    "tube": ShapeSpec(
        tube,
        "side wall of a tube, without ends",
        {"diameter": _length("diameter of the tube"), "length": _length("length of the tube")},
    ),
    "disc": ShapeSpec(
        disc,
        "flat round end, lid or base",
        {"diameter": _length("diameter of the disc")},
        encloses=False,
    ),
    "cone": ShapeSpec(
        cone,
        "side wall of a cone or a frustum, without ends",
        {"diameter": _length("diameter at the bottom"), "height": _length("height, along the axis")},
        {"diameter_top": _length("diameter at the top; 0 (a point) if left out")},
        {"top_diameter": "diameter_top"},
    ),
    "sphere": ShapeSpec(sphere, "closed sphere", {"diameter": _length("diameter of the sphere")}),
    "hemisphere": ShapeSpec(
        hemisphere,
        "dome, half of a sphere without its flat side",
        {"diameter": _length("diameter of the dome")},
    ),
    "profile": ShapeSpec(
        profile,
        "body of revolution, from rows of height and radius",
        {"points": Parameter("table", "rows of height and radius, heights increasing")},
        {
            "closed_bottom": _flag("whether a flat disc closes the lower end"),
            "closed_top": _flag("whether a flat disc closes the upper end"),
        },
        {"bottom": "closed_bottom", "top": "closed_top"},
    ),
    "box": ShapeSpec(
        box,
        "closed box, six faces",
        {"length": _length("length"), "width": _length("width"), "height": _length("height")},
    ),
    "tray": ShapeSpec(
        tray,
        "open-top rectangular tray, without flange and lid",
        {
            "length": _length("length of the base"),
            "width": _length("width of the base"),
            "depth": _length("depth from rim to base"),
        },
        {
            "top_length": _length("length of the opening, as the base if left out"),
            "top_width": _length("width of the opening, as the base if left out"),
            "corner_ratio": _ratio("thickness in the corners over the nominal one"),
            "corner_share": _ratio("share of the whole area that is corner"),
            "base_ratio": _ratio("thickness of the base over the nominal one"),
            "wall_ratio": _ratio("thickness of the walls over the nominal one"),
        },
    ),
    "pouch": ShapeSpec(
        pouch,
        "flat or stand-up pouch: two panels inside the seals and a bottom gusset",
        {
            "width": _length("width of the flat pouch over the seals"),
            "height": _length("height of the flat pouch over the seals"),
        },
        {
            "gusset": _length("width of the bottom gusset opened out flat; 0 if left out"),
            "seal_width": _length("width of one seal, on all four sides; 0 if left out"),
        },
        encloses=False,
    ),
    "area": ShapeSpec(
        plain,
        "an area given as a number, taken in the middle of the wall",
        {"area": Parameter("area", "the area")},
        encloses=False,
    ),
}
