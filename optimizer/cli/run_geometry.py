"""Body of ``layerwright geometry``."""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import TYPE_CHECKING, cast

from optimizer.cli.answered import answer
from optimizer.cli.guard import DONE
from optimizer.cli.outputs import Outputs, check_target
from optimizer.errors import GeometryError, InputError, Problem, UnitError
from optimizer.files import write_atomically

if TYPE_CHECKING:
    from optimizer.geometry.mesh.model import Mesh
    from optimizer.geometry.mesh.solids import Shows
    from optimizer.geometry.pieces import LocalThickness

#: Units that are tried for a user who named none.
_OFFERED = ("mm", "cm", "m", "in")
_SHOWS = ("one face", "both faces")
_WAYS = ("x", "y", "z", "-x", "-y", "-z")


def run(
    file: str,
    unit: str | None,
    inner: str | None,
    shows: str | None,
    up: str | None,
    picture: str | None,
    no_picture: bool,
    outputs: Outputs,
) -> int:
    """Measure, draw, print."""
    drawn_elsewhere = outputs.report is not None and picture is None
    target = None if no_picture or drawn_elsewhere else picture or f"{Path(file).stem}-geometry.svg"
    metres = _checked(file, unit, inner, shows, up, target, outputs, picture is not None and no_picture)
    import optimizer
    from optimizer.geometry.mesh import load
    from optimizer.geometry.mesh.pieces import upright as upright_of
    from optimizer.geometry.survey import survey
    from optimizer.report.answers import Behind
    from optimizer.report.snippet import project_lines

    said = None if shows is None else cast("Shows", shows)
    mesh = load(Path(file), metres, said)
    other = None if inner is None else load(Path(inner), metres, said)
    upright = upright_of(mesh, up)
    local, warnings = _thickness(mesh, other)
    lines = project_lines(mesh, upright, path=file, unit=str(unit), inner=inner, given_up=up is not None)
    result = survey(
        mesh,
        upright,
        local,
        unit=str(unit),
        project=lines,
        shown=shows is not None,
        room=None if other is None else other.volume,
        warnings=warnings,
        picture=target,
        version=optimizer.__version__,
        inputs_sha256=_digest(file, inner),
    )
    if target is not None:
        from optimizer.report.colours import plain_colours, thickness_colours
        from optimizer.report.picture import picture as drawn

        colours = plain_colours(len(mesh.faces)) if local is None else thickness_colours(local.thickness)
        write_atomically(Path(target), drawn(mesh, upright, colours))
    answer(result, outputs, Behind(mesh=mesh, upright=upright, local=local))
    return DONE


def _thickness(mesh: Mesh, inner: Mesh | None) -> tuple[LocalThickness | None, tuple[str, ...]]:
    """Between the faces where the mesh has both, or to the inner face that was given."""
    if inner is None and mesh.kind != "walls":
        return None, ()
    from optimizer.geometry.mesh.rays import between_faces

    try:
        return between_faces(mesh, inner), ()
    except GeometryError as error:
        if inner is not None:
            raise
        return None, (f"the wall thickness could not be found: {error}",)


def _checked(
    file: str,
    unit: str | None,
    inner: str | None,
    shows: str | None,
    up: str | None,
    target: str | None,
    outputs: Outputs,
    asked: bool,
) -> float:
    """One unit of the file [m], or one error with everything that is wrong with the call."""
    problems: list[Problem] = []
    inputs = [file] if inner is None else [file, inner]
    for given in inputs:
        if not Path(given).is_file():
            problems.append(
                Problem("is a folder" if Path(given).is_dir() else "there is no such file", given)
            )
    drawn = _picture_problems(target, inputs)
    others = () if drawn else (("--picture", target),)
    problems += drawn
    problems += outputs.problems(*inputs, others=others)
    if asked:
        problems.append(Problem("only one of --picture and --no-picture can be given", field="--picture"))
    if up is not None and up not in _WAYS:
        problems.append(Problem(f"{up!r} is no direction", field="--up", hint=f"write {', '.join(_WAYS)}"))
    if shows is not None and shows not in _SHOWS:
        hint = f"write {' or '.join(repr(word) for word in _SHOWS)}"
        problems.append(Problem(f"{shows!r} is not known here", field="--shows", hint=hint))
    if inner is not None and Path(inner).resolve() == Path(file).resolve():
        problems.append(Problem("is the same file as the mesh", inner, field="--inner"))
    metres = 0.0
    try:
        metres = _metres(file, unit, readable=not problems)
    except InputError as error:
        problems += error.problems
    if problems:
        raise InputError(problems)
    return metres


def _picture_problems(name: str | None, inputs: list[str]) -> list[Problem]:
    if name is None:
        return []
    if Path(name).suffix.lower() != ".svg":
        hint = "end it in .svg"
        return [Problem(f"{name!r} is not the name of an SVG file", field="--picture", hint=hint)]
    if any(Path(name).resolve() == Path(x).resolve() for x in inputs):
        return [Problem("would be written over: it is read here", name, field="--picture")]
    try:
        check_target(name, "--picture")
    except InputError as error:
        hint = "name another with --picture, or leave it out with --no-picture"
        return [Problem(x.message, x.file, field="--picture", hint=hint) for x in error.problems]
    return []


def _metres(file: str, unit: str | None, readable: bool) -> float:
    """One unit of the file [m]."""
    if unit is None:
        would = _would_be(Path(file)) if readable else ""
        raise InputError(
            Problem(
                f"--unit is missing: a mesh does not say how long one unit is{would}",
                file,
                hint="for example --unit mm",
            )
        )
    from optimizer.units import read

    hint = "for example mm, cm, m or in"
    if any(c.isdigit() for c in unit):
        raise InputError(Problem(f"{unit!r} is not the unit of a length", field="--unit", hint=hint))
    try:
        return read(f"1 {unit}", "length").value
    except UnitError:
        raise InputError(
            Problem(f"{unit!r} is not the unit of a length", field="--unit", hint=hint)
        ) from None


def _would_be(file: Path) -> str:
    """The size of the mesh in the units that are usual, for a user who named none."""
    import numpy as np

    from optimizer.geometry.mesh.files import read as read_mesh
    from optimizer.report.wording import figure
    from optimizer.units import read

    raw = read_mesh(file)
    points = np.concatenate([body.vertices[body.faces.reshape(-1)] for body in raw.bodies])
    size = np.ptp(points, axis=0)
    sizes = []
    for unit in _OFFERED:
        metres = size * read(f"1 {unit}", "length").value
        shown, factor = ("mm", 1e3) if metres.max() < 10.0 else ("m", 1.0)
        sizes.append(f"{unit} for {' x '.join(figure(x * factor, 3) for x in metres.tolist())} {shown}")
    stated = raw.stated_unit
    said = "" if stated is None else f"; the file itself says that its unit is {figure(stated * 1e3, 4)} mm"
    return f"; write {', '.join(sizes)}{said}"


def _digest(*files: str | None) -> str:
    total = hashlib.sha256()
    for name in files:
        if name is not None:
            with open(name, "rb") as stream:
                total.update(hashlib.file_digest(stream, "sha256").digest())
    return total.hexdigest()
