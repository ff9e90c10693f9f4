"""Lines of a project file that describe a mesh, ready to paste."""

from __future__ import annotations

import json
import re

from optimizer.geometry.mesh.model import Mesh, Upright

#: Words that YAML readers take for something else than text.
_RESERVED = {"true", "false", "null", "yes", "no", "on", "off", "y", "n"}


def part_name(file: str) -> str:
    """'my_bottle' from 'My bottle.stl'."""
    name = re.sub(r"[^a-z0-9]+", "_", file.rpartition(".")[0].lower()).strip("_")
    return "body" if not name or name[0].isdigit() or name in _RESERVED else name


def project_lines(
    mesh: Mesh, upright: Upright, *, path: str, unit: str, inner: str | None, given_up: bool
) -> str:
    """YAML of the mesh as a part and of a lid for each opening that no body of it covers.

    path, inner: as the user wrote them; given_up: whether the user said which way is up.
    """
    name = part_name(mesh.name)
    lines = ["package:", "  parts:", f"    {name}:"]
    keys = [f"mesh: {_plain(path)}", f"unit: {_plain(unit)}", f"wall: {name}"]
    if inner is not None:
        keys.append(f"inner: {_plain(inner)}")
    elif mesh.kind == "walls":
        keys += ["shows: both faces  # of the wall, or one face", "thickness: between faces"]
    else:
        keys.append("shows: one face  # of the wall, or both faces")
        keys.append("dimensions: outside  # or inside, middle: the face that the mesh shows")
    if given_up:
        keys.append(f"up: {'' if upright.sign > 0 else '-'}{'xyz'[upright.axis]}")
    lines += [f"      {key}" for key in keys]
    free = [x for x in mesh.openings if not x.covered_by]
    alone = len(free) == 1
    for opening in free:
        cover = "cover" if alone else f"cover_{opening.number}"
        cover += "_of_mesh" if cover == name else ""
        lines.append(f"    {cover}: {{opening_of: {name}, opening: {opening.number}, wall: cover}}")
    return "\n".join(lines) + "\n"


def _plain(text: str) -> str:
    """A word as YAML, in double quotes unless it surely needs none."""
    safe = re.fullmatch(r"[A-Za-z][\w./ -]*\w|[A-Za-z]", text, re.ASCII) and text.lower() not in _RESERVED
    return text if safe else json.dumps(text, ensure_ascii=False)
