"""Labels and sleeves: part of a wall with more layers on its outside.

A package carries its labels as ``covers`` on its own walls, so that a wall can be changed or designed as it
is. The simulators see the expanded package, in which every covered piece is a part with a wall of its own:
wall and label in series, the pieces in parallel.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from optimizer.geometry.surface import Patch
from optimizer.shelflife.package import Case, Cover, Layer, Package, Part, Wall, WallPart
from optimizer.shelflife.variation import Array, Variation

#: A share of a part below this is nothing.
_NOTHING = 1e-12


@dataclass(frozen=True)
class _Piece:
    """A covered piece of the part ``of``, as a part with its wall."""

    part: WallPart
    wall: Wall
    of: WallPart


def expanded(case: Case) -> Case:
    """The case with the covers of its package turned into parts; itself where there are none."""
    return replace(case, package=expand(case.package)) if case.package.covers else case


def expand(package: Package) -> Package:
    """Every covered part split into what is bare and what lies under each cover.

    Patches of different thickness ratio each get a wall of their own: the label's layers do not scale with
    the ratio. Names are those of the part and the cover. Areas and the volume of the part's own wall are kept
    at every thickness; a label counts with the mid-wall area under it.
    """
    if not package.covers:
        return package
    pieces = list(_pieces(package))
    parts: list[Part] = []
    for part in package.parts:
        covers = [c for c in package.covers if c.part == part.name]
        if not (covers and isinstance(part, WallPart)):
            parts.append(part)
            continue
        bare = 1.0 - sum(c.share for c in covers)
        if bare > _NOTHING or part.sealed:  # what lies under a seal is not covered, and weighs
            parts.append(replace(part, patches=tuple(_scaled(p, max(bare, 0.0)) for p in part.patches)))
        parts += [piece.part for piece in pieces if piece.of is part]
    walls = {**package.walls, **{piece.wall.name: piece.wall for piece in pieces}}
    return replace(package, parts=tuple(parts), walls=walls, covers=())


def labels_alone(package: Package) -> Package:
    """The labels of a package as parts without the walls under them, for their mass and cost."""
    parts = {part.name: part for part in package.parts if isinstance(part, WallPart)}
    alone: list[Part] = []
    walls: dict[str, Wall] = {}
    for cover in package.covers:
        part = parts[cover.part]
        nominal = package.walls[part.wall].thickness
        area = cover.share * part.area(nominal)
        name = f"label {cover.name}"
        walls[name] = Wall(name, cover.layers)
        alone.append(WallPart(name, name, (Patch(area),)))
    return Package(tuple(alone), walls)


def expanded_variation(package: Package, variation: Variation) -> Variation:
    """The variation of a package for its expanded form: what varies in a wall and in a part varies under the
    labels too. A label's own layers are exact, unless the wall has a layer of the same material."""
    layers = dict(variation.layer_thickness)
    for piece in _pieces(package):
        base = package.walls[piece.of.wall]
        for material in dict.fromkeys(layer.material.name for layer in base.layers):
            factors = (
                variation.thickness.get(base.name),
                variation.part_thickness.get(piece.of.name),
                variation.layer_thickness.get((base.name, material)),
            )
            found: Array | None = None
            for factor in factors:
                if factor is not None:
                    found = factor if found is None else found * factor
            if found is not None:
                layers[piece.wall.name, material] = found
    return replace(variation, layer_thickness=layers)


def piece_name(part: str, cover: str) -> str:
    """Name of the piece of ``part`` that lies under ``cover``."""
    return f"{part} under {cover}"


def _pieces(package: Package) -> Iterator[_Piece]:
    """One piece for each cover and each thickness ratio under it."""
    parts = {part.name: part for part in package.parts if isinstance(part, WallPart)}
    for cover in package.covers:
        part = parts[cover.part]
        ratios = list(dict.fromkeys(p.ratio for p in part.patches))
        for ratio in ratios:
            group = piece_name(part.name, cover.name)
            name = group + (f", {ratio:.4g} thick" if len(ratios) > 1 else "")
            wall = _wall(name, package.walls[part.wall], ratio, cover)
            label = sum(layer.thickness for layer in cover.layers)
            patches = tuple(_under(p, cover.share, label) for p in part.patches if p.ratio == ratio)
            yield _Piece(WallPart(name, name, patches, group=group, base=part.wall), wall, part)


def _wall(name: str, base: Wall, ratio: float, cover: Cover) -> Wall:
    own = tuple(Layer(layer.material, layer.thickness * ratio) for layer in base.layers)
    return Wall(name, own + cover.layers)


def _scaled(patch: Patch, share: float) -> Patch:
    return replace(
        patch, area=patch.area * share, slope=patch.slope * share, curvature=patch.curvature * share
    )


def _under(patch: Patch, share: float, label: float) -> Patch:
    """A share of a patch at ratio 1 of a wall that is ``label`` [m] thicker: its area at a thickness t of
    that wall is the patch's own at t - label."""
    a, s, c = patch.area, patch.slope, patch.curvature
    return Patch(
        area=share * (a - s * label + c * label * label),
        slope=share * (s - 2.0 * c * label),
        curvature=share * c,
    )
