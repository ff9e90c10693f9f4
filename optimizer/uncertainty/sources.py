"""The uncertain inputs of a case: what they are of, how uncertain, and where the spread is from."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from optimizer.physics.material import Band, Material
from optimizer.results_uncertainty import SpreadNote
from optimizer.shelflife.advice import followed, materials_in_use
from optimizer.shelflife.covered import expanded
from optimizer.shelflife.exchange import walls_in_use
from optimizer.shelflife.package import Case, ClosurePart, Wall, WallPart
from optimizer.shelflife.words import limit_name, listed

#: Relative standard deviation assumed of a permeability that nothing is said about. A WVTR study of films and
#: blisters by four laboratories has coefficients of variation of 2 to 5 % between them, and 17 % near the
#: limit of detection. The same figure as in ``design.spread``.
BETWEEN_LABORATORIES = 0.05

#: Kinds of inputs: the fields of ``Variation`` that they go into. Their order is that in which inputs take
#: their dimension of the draw: what a user adds last stands last, so that it moves nothing else.
KINDS = (
    "permeability",
    "transmission",
    "diffusivity",
    "thickness",
    "part_thickness",
    "layer_thickness",
    "temperature",
    "humidity",
    "limit",
    "consumption",
    "isotherm",
    "headspace_oxygen",
    "duration",
)
#: Kinds that are offsets and not factors.
OFFSETS = frozenset({"temperature", "humidity"})

GIVEN = "given in the project"
ASSUMED = "assumed: laboratories differ by this much on one film"

Target = str | tuple[str, str]


@dataclass(frozen=True)
class Input:
    """One uncertain input of a case.

    kind: one of ``KINDS``; of: what it is of, for example ``EVOH 32/O2``, empty where there is only one;
    targets: keys of the mapping of ``Variation`` that take its factor, empty for a field without keys;
    size: relative standard deviation [-], of an offset the standard deviation [K, or water activity];
    unit: in which a reader sees the size: %, K or %RH; origin: where the size is from; source: key shared
    with inputs that it is correlated with, empty for none; name: in plain words.
    """

    kind: str
    of: str
    targets: tuple[Target, ...]
    size: float
    unit: str
    origin: str
    source: str
    name: str

    @property
    def key(self) -> str:
        """Identity across cases: inputs of the same key take the same numbers of a draw."""
        return f"{self.kind}: {self.of}"

    def note(self) -> SpreadNote:
        factor = 1.0 if self.unit == "K" else 100.0
        return SpreadNote(self.name, factor * self.size, self.unit, self.origin, self.source)


def inputs_of(case: Case) -> tuple[Input, ...]:
    """Uncertain inputs of what the case uses, in the order of ``KINDS``, without those of no spread.

    Nitrogen that is taken as a share of oxygen goes with the oxygen (see ``shelflife.varied``)."""
    found = [*_properties(case), *_closures(case), *_thicknesses(case), *_contents(case), *_storage(case)]
    kept = {x.key: x for x in found if x.size > 0.0}
    return tuple(sorted(kept.values(), key=lambda x: (KINDS.index(x.kind), x.of)))


def notes_of(case: Case) -> tuple[str, ...]:
    """What the inputs leave out, in words."""
    gases = set(followed(case))
    given = case.uncertainty.transmission
    exact = [
        part.name
        for part in case.package.parts
        if isinstance(part, ClosurePart)
        and any(g in gases and (part.name, g) not in given for g in part.transmission)
    ]
    if not exact:
        return ()
    return (f"No spread is given for the transmission of {listed(exact)}; it is taken as exact",)


def _properties(case: Case) -> Iterator[Input]:
    case = expanded(case)  # labels have properties too
    gases = followed(case)
    for m, names in _webs(materials_in_use(case)):
        for gas in gases:
            law = m.water if gas == "H2O" else m.gases.get(gas)
            if law is not None and not law.blocks:
                size, origin, source = _spread(case, m.bands.get(gas))
                targets = tuple((name, gas) for name in names)
                what = f"{gas} permeability of {m.web or m.name}"
                yield Input("permeability", _of(m, gas), targets, size, "%", origin, source, what)
            band = m.bands.get(f"{gas} diffusivity")
            if band is not None and gas in m.diffusivity:
                targets = tuple((name, gas) for name in names)
                what = f"{gas} diffusivity of {m.web or m.name}"
                yield Input(
                    "diffusivity", _of(m, gas), targets, band.spread, "%", band.origin, band.source, what
                )


def _webs(materials: Sequence[Material]) -> Iterator[tuple[Material, list[str]]]:
    """Each material with the names it goes by: gauges of one web are the same stuff."""
    seen: dict[str, tuple[Material, list[str]]] = {}
    for m in materials:
        seen.setdefault(m.web or m.name, (m, []))[1].append(m.name)
    yield from seen.values()


def _of(material: Material, gas: str) -> str:
    return f"{material.web or material.name}/{gas}"


def _spread(case: Case, band: Band | None) -> tuple[float, str, str]:
    if band is not None:
        return band.spread, band.origin, band.source
    given = case.uncertainty.properties
    return (BETWEEN_LABORATORIES, ASSUMED, "") if given is None else (given, GIVEN, "")


def _closures(case: Case) -> Iterator[Input]:
    gases = followed(case)
    for part in case.package.parts:
        if not isinstance(part, ClosurePart):
            continue
        for gas in gases:
            size = case.uncertainty.transmission.get((part.name, gas), 0.0)
            if gas not in part.transmission:
                continue
            of, name = f"{part.name}/{gas}", f"{gas} transmission of {part.name!r}"
            yield Input("transmission", of, ((part.name, gas),), size, "%", GIVEN, "", name)


def _thicknesses(case: Case) -> Iterator[Input]:
    walls = {w.name: w for w in walls_in_use(case.package)}
    parts = {p.name for p in case.package.parts if isinstance(p, WallPart)}
    for name, size in case.uncertainty.thickness.items():
        if name in walls:
            yield Input("thickness", name, (name,), size, "%", GIVEN, "", f"thickness of wall {name!r}")
        elif name in parts:
            what = f"thickness of part {name!r} within its wall"
            yield Input("part_thickness", name, (name,), size, "%", GIVEN, "", what)
    for (wall, material), size in case.uncertainty.layers.items():
        targets = _layer_targets(walls.get(wall), material)
        if targets:
            what = f"thickness of {material} in wall {wall!r}"
            yield Input("layer_thickness", f"{wall}/{material}", targets, size, "%", GIVEN, "", what)


def _layer_targets(wall: Wall | None, material: str) -> tuple[Target, ...]:
    if wall is None:
        return ()
    names = dict.fromkeys(x.material.name for x in wall.layers if x.material.known_as(material))
    return tuple((wall.name, name) for name in names)


def _contents(case: Case) -> Iterator[Input]:
    product, given = case.product, case.uncertainty
    for limit in product.limits:
        size, what = given.limits.get(limit.name, 0.0), f"limit on {limit_name(limit.name)}"
        yield Input("limit", limit.name, (limit.name,), size, "%", GIVEN, "", what)
    gases = followed(case)
    if product.oxygen.consumption is not None and "O2" in gases:
        what = "rate at which the product uses oxygen"
        yield Input("consumption", "", (), given.consumption, "%", GIVEN, "", what)
    if product.moisture is not None:
        what = "water that the product holds at a humidity"
        yield Input("isotherm", "", (), given.isotherm, "%", GIVEN, "", what)
    if "O2" in gases:
        yield Input("headspace_oxygen", "", (), given.headspace_oxygen, "%", GIVEN, "", "oxygen at closing")


def _storage(case: Case) -> Iterator[Input]:
    given = case.uncertainty
    yield Input("temperature", "", (), given.temperature, "K", GIVEN, "", "temperature of storage")
    yield Input("humidity", "", (), given.humidity, "%RH", GIVEN, "", "humidity of storage")
    for name in dict.fromkeys(s.name for s in case.storage):
        size, what = given.durations.get(name, 0.0), f"duration of stage {name!r}"
        yield Input("duration", name, (name,), size, "%", GIVEN, "", what)
