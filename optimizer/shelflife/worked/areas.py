"""Areas of the parts by hand: the formula of a shape with its dimensions, else the area as found."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from optimizer.geometry.shapes import SHAPES
from optimizer.shelflife.package import Package, Wall, WallPart
from optimizer.shelflife.worked.sheet import Ref, Sheet

#: A formula that misses the program's area by more than this share is not shown.
_SAME = 1e-6
#: Rows of a profile that are still written out.
_MOST_ROWS = 12


@dataclass(frozen=True)
class GivenShape:
    """A part's shape as given: name, sizes [m] by parameter (see ``geometry.shapes``), and where they were
    measured."""

    shape: str
    sizes: Mapping[str, Any]
    dimensions: str = "outside"


def work_areas(sheet: Sheet, package: Package, shapes: Mapping[str, GivenShape]) -> dict[str, Ref]:
    """Area over thickness ratio [m2] of every part made of a wall, by name: conductance per permeance."""
    sheet.section("Areas of the parts, in the middle of the wall")
    thickness = {
        wall.name: _thickness(sheet, wall)
        for wall in package.walls.values()
        if any(
            isinstance(p, WallPart) and p.wall == wall.name and _by_formula(p, wall, shapes)
            for p in package.parts
        )
    }
    found = {}
    for part in package.parts:
        if isinstance(part, WallPart) and worth_showing(package, part):
            wall = package.walls[part.wall]
            shape = shapes.get(part.name)
            if shape is not None and part.wall in thickness and _by_formula(part, wall, shapes):
                found[part.name] = _shaped(sheet, part, wall, shape, thickness[part.wall])
            else:
                found[part.name] = _as_found(sheet, part, wall)
    return found


def worth_showing(package: Package, part: WallPart) -> bool:
    """Whether a part is worked out: of pieces under one name, only the largest is."""
    if not part.group:
        return True
    group = [p for p in package.parts if isinstance(p, WallPart) and p.group == part.group]
    return len(group) == 1 or part is max(group, key=lambda p: p.area(0.0))


def _thickness(sheet: Sheet, wall: Wall) -> Ref:
    layers = [layer_thickness(sheet, wall, i) for i in range(len(wall.layers))]
    return sheet.total(f"Thickness of wall {wall.name}", "l", layers, "m")


def layer_thickness(sheet: Sheet, wall: Wall, index: int) -> Ref:
    """Nominal thickness of a layer [m]."""
    layer = wall.layers[index]
    title = f"Thickness of layer {index + 1} of {wall.name}, {layer.material.name}"
    return sheet.give(title, layer.thickness, "m", "input", f"{layer.thickness * 1e6:.6g} um")


def _by_formula(part: WallPart, wall: Wall, shapes: Mapping[str, GivenShape]) -> bool:
    """Whether the formula of the part's shape gives the area that the program uses."""
    shape = shapes.get(part.name)
    if shape is None or len({p.ratio for p in part.patches}) != 1:
        return False
    trial = Sheet()
    try:
        ref = _shaped(trial, part, wall, shape, trial.give("t", wall.thickness, "m", "input"))
    except (KeyError, ValueError):
        return False
    return math.isclose(ref.value, part.permeation_area(wall.thickness), rel_tol=_SAME)


def _as_found(sheet: Sheet, part: WallPart, wall: Wall) -> Ref:
    value = part.permeation_area(wall.thickness)
    area, ratio = part.area(wall.thickness), part.mean_ratio(wall.thickness)
    if part.seal:
        remark = (
            f"{part.seal}: a flat layer with the conductance and the volume of the body (docs/closures.md)"
        )
    elif len(part.patches) > 1:
        remark = (
            f"sum of A/q over {len(part.patches)} patches, q the local thickness over the nominal one; "
            f"the area is {area * 1e4:.6g} cm2, the mean of q is {ratio:.4g}"
        )
    else:
        remark = f"area {area * 1e4:.6g} cm2, thickness ratio {ratio:.4g}, as found by the program"
    return sheet.give(f"Area over thickness ratio of {part.name}", value, "m2", "program", remark)


def _shaped(sheet: Sheet, part: WallPart, wall: Wall, given: GivenShape, nominal: Ref) -> Ref:
    """Area over ratio by the formula of the shape. KeyError where the shape has none here."""
    ratio = part.patches[0].ratio
    sizes = {
        name: sheet.give(f"{name.capitalize().replace('_', ' ')} of {part.name}", value, "m", "input")
        for name, value in given.sizes.items()
        if SHAPES[given.shape].parameters[name].kind == "length"
    }
    if ratio == 1.0:
        q, local = None, nominal
    else:
        q = sheet.give(f"Thickness ratio of {part.name}", ratio, "", "input")
        local = sheet.work(f"Thickness of {part.name}", "t = q * l", "m", q=q, l=nominal)
    sign = {"outside": " - t", "inside": " + t", "middle": ""}[given.dimensions]
    area = _area(sheet, part, given, sizes, local, sign)
    if q is None:
        return area
    title = f"Area over thickness ratio of {part.name}"
    return sheet.work(title, "A_e = A / q", "m2", "a thicker part lets through less", A=area, q=q)


#: Shapes whose middle face has the formula of the shape itself; d, h, ... move by the thickness ({t}).
_PLAIN = {
    "cylinder": "A = pi * (d{t}) * h",
    "tube": "A = pi * (d{t}) * h",
    "disc": "A = pi / 4 * (d{t}) ** 2",
    "sphere": "A = pi * (d{t}) ** 2",
    "hemisphere": "A = pi / 2 * (d{t}) ** 2",
    "box": "A = 2 * ((a{t}) * (b{t}) + (a{t}) * (h{t}) + (b{t}) * (h{t}))",
}


def _area(
    sheet: Sheet, part: WallPart, given: GivenShape, sizes: Mapping[str, Ref], t: Ref, sign: str
) -> Ref:
    title, shape = f"Area of {part.name}, {given.shape}", given.shape
    if shape in _PLAIN:
        named = {"d": "diameter", "b": "width"}
        named |= {"h": "length" if shape == "tube" else "height"}
        named |= {"a": "length"} if shape == "box" else {}
        symbols = {s: sizes[n] for s, n in named.items() if n in sizes}
        equation = _PLAIN[shape].format(t=sign)
        if not sign:
            equation = re.sub(r"\((\w)\)", r"\1", equation)
        remark = "dimensions are moved to the middle of the wall" if sign else ""
        return sheet.work(title, equation, "m2", remark, pi=sheet.constant("pi"), t=t, **symbols)
    if shape == "area":
        return sheet.give(f"Area of {part.name}", float(given.sizes["area"]), "m2", "input")
    if shape == "pouch":
        return _pouch(sheet, title, sizes)
    face = _face(sheet, part, given, sizes)
    if not sign:
        return face
    slope = sum(p.slope for p in part.patches) or 0.0
    bend = sum(p.curvature for p in part.patches) or 0.0
    why = "Steiner's formula of a parallel face, from the shape (docs/method.md, 7)"
    s = sheet.give(f"Change of the area of {part.name} per thickness", slope, "m", "program", why)
    c = sheet.give(f"Change of the area of {part.name} per thickness squared", bend, "", "program", why)
    return sheet.work(
        title, "A = A_f + s * t + c * t ** 2", "m2", "in the middle of the wall", A_f=face, s=s, c=c, t=t
    )


def _pouch(sheet: Sheet, title: str, sizes: Mapping[str, Ref]) -> Ref:
    seal = sizes.get("seal_width")
    inner = "b" if seal is None or seal.value == 0.0 else "(b - 2 * s)"
    tall = inner.replace("b", "h")
    equation = f"A = 2 * {inner} * {tall}"
    symbols = {"b": sizes["width"], "h": sizes["height"]} | ({} if seal is None else {"s": seal})
    if "gusset" in sizes and sizes["gusset"].value:
        equation += f" + g * {inner}"
        symbols["g"] = sizes["gusset"]
    return sheet.work(title, equation, "m2", "both panels, inside the seals", **symbols)


def _face(sheet: Sheet, part: WallPart, given: GivenShape, sizes: Mapping[str, Ref]) -> Ref:
    """Area of the face that was measured."""
    title = f"Given face of {part.name}, {given.shape}"
    if given.shape == "tray":
        return _tray(sheet, title, sizes)
    if given.shape == "cone":
        top = sizes.get("diameter_top") or sheet.give(f"Diameter top of {part.name}", 0.0, "m", "input")
        return sheet.work(
            title,
            "A_f = pi / 2 * (d + e) * sqrt(h ** 2 + (d / 2 - e / 2) ** 2)",
            "m2",
            pi=sheet.constant("pi"),
            d=sizes["diameter"],
            e=top,
            h=sizes["height"],
        )
    if given.shape != "profile" or len(given.sizes["points"]) > _MOST_ROWS:
        raise KeyError(given.shape)
    return _profile(sheet, title, part.name, given.sizes)


def _profile(sheet: Sheet, title: str, name: str, given: Mapping[str, Any]) -> Ref:
    rows = list(given["points"])
    symbols = {"pi": sheet.constant("pi")}
    for i, (height, radius) in enumerate(rows, start=1):
        symbols[f"h{i}"] = sheet.give(f"Height {i} of {name}", float(height), "m", "input")
        symbols[f"r{i}"] = sheet.give(f"Radius {i} of {name}", float(radius), "m", "input")
    terms = [
        f"(r{i} + r{j}) * sqrt((r{j} - r{i}) ** 2 + (h{j} - h{i}) ** 2)"
        for i, j in pairwise(range(1, len(rows) + 1))
    ]
    if given.get("closed_bottom") and rows[0][1] > 0:
        terms.append("r1 ** 2")
    if given.get("closed_top") and rows[-1][1] > 0:
        terms.append(f"r{len(rows)} ** 2")
    equation = f"A_f = pi * ({' + '.join(terms)})"
    return sheet.work(title, equation, "m2", "frusta between the rows of the profile", **symbols)


def _tray(sheet: Sheet, title: str, sizes: Mapping[str, Ref]) -> Ref:
    a, b = sizes["length"], sizes["width"]
    top_a, top_b = sizes.get("top_length", a), sizes.get("top_width", b)
    equation = (
        "A_f = a * b + (a + c) * sqrt(h ** 2 + ((e - b) / 2) ** 2)"
        " + (b + e) * sqrt(h ** 2 + ((c - a) / 2) ** 2)"
    )
    remark = "base and four leaning walls"
    return sheet.work(title, equation, "m2", remark, a=a, b=b, c=top_a, e=top_b, h=sizes["depth"])
