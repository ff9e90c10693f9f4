"""Keys of a part drawn as a mesh: its unit, which way is up, and the regions it is split into."""

from __future__ import annotations

from typing import Annotated, Any, ClassVar

from pydantic import PlainValidator
from pydantic_core import PydanticCustomError

from optimizer.errors import UnitError
from optimizer.project.base import Group, fault, shown
from optimizer.project.fields import Factor, Flag, Word, choice, quantity, take, whole
from optimizer.project.json_kinds import LENGTH_CELL, table_shape
from optimizer.project.schema_thickness import AnyThickness
from optimizer.project.suggest import did_you_mean
from optimizer.units import Quantity, read

#: Keys that say which faces of a mesh belong to a region.
RULE_KEYS = ("above", "below", "from_opening", "body", "box")

Up = Annotated[str, choice("x", "y", "z", "-x", "-y", "-z")]
Box = tuple[tuple[float, float, float], tuple[float, float, float]]
Height = Annotated[Quantity, quantity("length", "20 mm", least=0.0, limits="at least 0 mm", coordinate=True)]
Reach = Annotated[Quantity, quantity("length", "20 mm", above=0.0, limits="more than 0 mm")]


def mesh_unit(value: Any) -> float:
    """One unit of the mesh [m]."""
    if not isinstance(value, str) or any(c.isdigit() for c in value):
        raise fault(f"the unit of a length is expected here, not {shown(value)}", "for example mm")
    try:
        return read(f"1 {value}", "length").value
    except UnitError:
        raise fault(f"{shown(value)} is not the unit of a length", "for example mm, cm, m or in") from None


def corners(value: Any) -> Box:
    """Two corners, each three coordinates of the mesh with their units, as the least and the largest [m]."""
    hint = "two corners, for example [[0 mm, 0 mm, 60 mm], [20 mm, 20 mm, 90 mm]]"
    if not isinstance(value, list) or len(value) != 2:
        raise fault("two corners are expected here", hint)
    both = []
    for number, corner in enumerate(value, start=1):
        if not isinstance(corner, list) or len(corner) != 3:
            raise fault(f"corner {number} is not three lengths", hint)
        try:
            x, y, z = (take(item, "length", "20 mm", coordinate=True).value for item in corner)
        except PydanticCustomError as error:
            said = error.context or {}
            raise fault(f"corner {number}: {said.get('message', '')}", said.get("hint", "") or hint) from None
        both.append((x, y, z))
    for axis, a, b in zip("xyz", *both, strict=True):
        if a == b:
            raise fault(f"the box has no extent along {axis}", hint)
    low, high = (tuple(f(a, b) for a, b in zip(*both, strict=True)) for f in (min, max))
    return (low[0], low[1], low[2]), (high[0], high[1], high[2])


class Region(Group):
    """Faces that fulfil every rule given; without a wall or a thickness of its own it has those of its part.

    above, below: heights above the lowest point of the part; from_opening: distance from the edge of an
    opening, which opening numbers; body: a named body of the file; box: in the coordinates of the mesh.
    sealed: it lies under a seal, weighs, and lets nothing through.
    """

    above: Height | None = None
    below: Reach | None = None
    from_opening: Reach | None = None
    opening: Annotated[int, whole(1, 1000)] | None = None
    body: Word | None = None
    box: (
        Annotated[
            Box,
            PlainValidator(corners, json_schema_input_type=table_shape([LENGTH_CELL] * 3, "two corners")),
        ]
        | None
    ) = None
    wall: Word | None = None
    thickness_ratio: Factor | None = None
    thickness: AnyThickness | None = None
    sealed: Flag = False
    example: ClassVar[dict[str, str]] = {
        "above": "60 mm",
        "below": "20 mm",
        "from_opening": "15 mm",
        "opening": "2",
        "body": "handle",
        "box": "[[0 mm, 0 mm, 60 mm], [20 mm, 20 mm, 90 mm]]",
        "wall": "neck",
        "thickness_ratio": "1.4",
        "thickness": "1.2 mm",
        "sealed": "true",
    }


def region(value: Any) -> Region:
    """A region with at least one rule."""
    hint = "a region has one or more of: " + ", ".join(RULE_KEYS)
    if isinstance(value, dict) and not any(key in value for key in RULE_KEYS):
        near = next((k for k in value if did_you_mean(k, RULE_KEYS, "").startswith("did")), None)
        extra = f"; '{near}': {did_you_mean(near, RULE_KEYS)}" if near else ""
        raise fault("does not say which faces of the mesh belong to it", hint + extra)
    made = Region.model_validate(value)
    if made.above and made.below and made.below.value <= made.above.value:
        raise fault(
            f"lies above {made.above.text} and below {made.below.text}, where nothing is",
            "exchange the two",
        )
    if made.opening and not made.from_opening:
        raise fault(f"names opening {made.opening} but no distance from it", "add 'from_opening: 15 mm'")
    if made.sealed and made.wall:
        raise fault("lies under a seal and has a wall of its own", "take 'wall' out: it has that of its part")
    return made
