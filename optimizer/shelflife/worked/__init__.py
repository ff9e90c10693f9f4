"""One case worked by hand: which way it goes, and how it compares with the program's own answer."""

from __future__ import annotations

from collections.abc import Mapping

from optimizer.constants import DAY
from optimizer.errors import InputError, Problem
from optimizer.physics.sorption import Isotherm, TableIsotherm
from optimizer.results import PredictResult
from optimizer.results_explain import ExplainResult
from optimizer.shelflife.contents import inside_activity
from optimizer.shelflife.covered import expanded
from optimizer.shelflife.exchange import walls_in_use, with_nitrogen
from optimizer.shelflife.package import LIMIT_GAS, Case, Package
from optimizer.shelflife.predict import TRADE, predict
from optimizer.shelflife.words import listed
from optimizer.shelflife.worked import exact as closed
from optimizer.shelflife.worked import means, share, water
from optimizer.shelflife.worked.areas import GivenShape, work_areas
from optimizer.shelflife.worked.inside import Inside
from optimizer.shelflife.worked.means import MOST_SPANS, Outcome
from optimizer.shelflife.worked.run import Followed, by_name, follow, told
from optimizer.shelflife.worked.sheet import Sheet
from optimizer.shelflife.worked.stages import Stages
from optimizer.shelflife.worked.walls import Ways, conductances

#: The hand calculation, with seven digits, and the simulation agree to within this share; to less where the
#: answer is a small difference of large amounts.
TOLERANCE = 1e-4
#: Share of an oxygen gain that comes from the headspace, from which on the page says so.
_MUCH = 0.1
CLOSED, MEANS = "closed form", "given means"
CHANGING = "the surroundings change too often to write each of them out"


def explain(
    case: Case,
    *,
    limit: str | None = None,
    shapes: Mapping[str, GivenShape] | None = None,
    version: str = "",
    inputs_sha256: str = "",
) -> ExplainResult:
    """The case worked by hand for ``limit`` (the one that ends the shelf life, else the nearest to it).

    shapes: of the parts, as given; without them areas are as found. Raises InputError for a limit that the
    product does not have, or where it has none.
    """
    answer = predict(case, version=version, inputs_sha256=inputs_sha256)
    name = chosen(case, answer, limit)
    case = expanded(case)
    followed = follow(case, name)
    gas = LIMIT_GAS[name]
    package = with_nitrogen(case.package) if "N2" in followed.contents.gases else case.package
    reason = not_exact(followed, package)
    sheet = Sheet()
    outcome = _worked(sheet, followed, package, gas, reason == "", shapes or {})
    factor, unit, _ = TRADE[name]
    compared = followed.end / DAY if outcome.in_days else followed.quantity * factor
    scale = abs(compared) if outcome.in_days else max(abs(followed.limit.value * factor), abs(compared))
    difference = (outcome.value.value - compared) / scale if scale else 0.0
    tolerance = max(TOLERANCE, 1e-6 * outcome.loss)
    return ExplainResult(
        title=answer.title,
        version=version,
        inputs_sha256=inputs_sha256,
        warnings=answer.warnings,
        assumptions=answer.assumptions,
        sources=answer.sources,
        limit_name=name,
        limit=followed.limit.value * factor,
        limit_unit=unit,
        gas=gas,
        method=MEANS if reason else CLOSED,
        method_reason=reason or _why_closed(followed, gas),
        wall_model=answer.wall_model,
        wall_reason=answer.wall_reason,
        answer_unit="days" if outcome.in_days else unit,
        program=_own(answer, name, followed, outcome, compared),
        compared=compared,
        hand=outcome.value.value,
        difference=difference,
        tolerance=tolerance,
        agrees=abs(difference) <= tolerance,
        at_days=followed.end / DAY,
        storage=told(followed),
        taken=_taken(sheet, outcome),
        steps=tuple(sheet.steps),
    )


def chosen(case: Case, answer: PredictResult, limit: str | None) -> str:
    """Name of the limit to work through. Raises InputError where there is none of that name."""
    names = [x.name for x in case.product.limits]
    if not names:
        hint = "give product.limits; transmission limits of a wall are worked out by layerwright predict"
        raise InputError(Problem("no limit of the product to explain", field="product.limits", hint=hint))
    if limit is not None:
        if limit not in names:
            hint = f"limits of this project: {', '.join(names)}"
            raise InputError(Problem(f"{limit!r} is not a limit of this project", field="--limit", hint=hint))
        return limit
    if answer.limited_by is not None:
        return answer.limited_by
    left = {x.name: x.margin_pct for x in answer.limits if x.name in names and x.margin_pct is not None}
    return min(left, key=lambda k: left[k]) if left else names[0]


def not_exact(followed: Followed, package: Package) -> str:
    """Why the balance has no closed form, in words; '' where it has one."""
    product, gas = followed.case.product, LIMIT_GAS[followed.limit.name]
    if len(followed.spans) > MOST_SPANS or followed.case.outer is not None:
        often = len(by_name(followed)) < len(followed.spans) or followed.case.outer is not None
        return CHANGING if often else f"there are more than {MOST_SPANS} stages"
    if gas == "H2O":
        return _water_not_exact(followed, package)
    if not product.headspace.rigid:
        return "the gases are coupled through the volume of the flexible headspace"
    if product.moisture is not None and any(sensitive(package, g) for g in followed.contents.gases):
        return "the conductance changes with the water of the product"
    use = product.oxygen.consumption
    if gas == "O2" and use is not None and use.order != 1:
        return "the use of oxygen is not proportional to its pressure"
    return _tight(followed, package, followed.contents.gases)


def _water_not_exact(followed: Followed, package: Package) -> str:
    moisture = followed.case.product.moisture
    if moisture is None:
        return ""
    if not straight(moisture.isotherm):
        return "the isotherm of the product is curved"
    if sensitive(package, "H2O"):
        return "the water permeability of a wall changes with the humidity"
    return _tight(followed, package, ("H2O",))


def _tight(followed: Followed, package: Package, gases: tuple[str, ...]) -> str:
    """Gases that find no way through, whose time constant would be endless."""
    s, inside = followed.segments, inside_activity(followed.case.product)
    first = (s.temperature[:1], s.humidity[:1], s.pressure[:1])
    shut = [g for g in gases if float(conductances(package, g, inside, first)[0]) == 0.0]
    return f"no part lets {listed(shut)} through" if shut else ""


def straight(isotherm: Isotherm) -> bool:
    """Whether water content goes straight with activity."""
    return isinstance(isotherm, TableIsotherm) and len(isotherm.points) == 2


def sensitive(package: Package, gas: str) -> bool:
    """Whether what the walls let through of ``gas`` depends on humidity."""
    materials = [x.material for w in walls_in_use(package) for x in w.layers]
    if gas == "H2O":
        return any(m.water_law().humidity_sensitive for m in materials)
    return any(m.gas_law(gas).humidity_sensitive for m in materials)


def _why_closed(followed: Followed, gas: str) -> str:
    if gas != "H2O":
        return "every coefficient is constant within a stage, so that pressures relax exponentially"
    if followed.case.product.moisture is None:
        return "the activity inside is fixed, so that the flow is constant within a stage"
    return "isotherm and permeabilities are constant, so that the activity relaxes exponentially"


def _worked(
    sheet: Sheet,
    followed: Followed,
    package: Package,
    gas: str,
    exact: bool,
    shapes: Mapping[str, GivenShape],
) -> Outcome:
    areas = work_areas(sheet, package, shapes)
    sheet.section("At closing")
    inside = Inside(sheet, followed.case.product)
    stages = Stages(sheet, followed, package, Ways(sheet, package, areas), inside)
    name = followed.limit.name
    if gas == "H2O":
        if exact and followed.case.product.moisture is not None:
            return water.straight_isotherm(stages)
        fixed = followed.case.product.moisture is None
        return means.simple(stages, gas, by_hand=fixed, moving=not fixed and sensitive(package, gas))
    closing = inside.closing(followed.contents.gases)
    moving = followed.case.product.moisture is not None and any(
        sensitive(package, g) for g in followed.contents.gases
    )
    if exact:
        if name == "headspace_oxygen":
            return share.headspace_share(stages, closing)
        return closed.gas_limit(stages, closing)
    if name == "headspace_oxygen":
        return means.headspace_share(stages, closing, moving=moving)
    if name == "co2_loss":
        return means.simple(stages, gas, by_hand=False, moving=moving, closing=closing)
    return means.oxygen(stages, closing, moving=moving)


def _own(
    answer: PredictResult, name: str, followed: Followed, outcome: Outcome, compared: float
) -> float | None:
    """What ``predict`` answers, with its own walls, in the unit of the hand calculation."""
    if answer.wall_model == "steady":
        return compared
    own = next(x for x in answer.limits if x.name == name)
    if outcome.in_days:
        return own.reached_after_days
    target = followed.case.target
    return own.at_target if target is not None and followed.end == target else None


def _taken(sheet: Sheet, outcome: Outcome) -> tuple[str, ...]:
    """Steps whose number is from the simulation, by what they are."""
    found: dict[str, list[int]] = {}
    for step in sheet.steps:
        if step.origin in ("simulation", "program"):
            kind = _kind(step.title)
            if kind == _PRESSURE and outcome.from_headspace > _MUCH:
                share = f"{100 * outcome.from_headspace:.0f} % of what the limit allows"
                kind += f": what the headspace lost by it is {share}, and no step checks that"
            if kind == _TIME and not outcome.in_days:
                kind = "the time until then: what is worked out is how much there is after it, not the day"
            found.setdefault(kind, []).append(step.number)
    return tuple(
        f"{kind} (step{'s' if len(numbers) > 1 else ''} {', '.join(map(str, numbers))})"
        for kind, numbers in found.items()
    )


def _kind(title: str) -> str:
    for start, text in _KINDS.items():
        if title.startswith(start):
            return text
    return title


_OUTSIDE = "conditions outside that change within a stage (weather, or the gas in an outer pack), as means"
_TIME = "the time in the last stage, of which the hand calculation gives its own below"
_PRESSURE = "the pressure of oxygen in the headspace at the end"
_KINDS = {
    "Mean pressure of": "mean pressures, because the balance has no closed form here",
    "Mean conductance": "mean conductances, because the surroundings change within the stage",
    "Humidity factor": "humidity factors, from the program's curve through the measured points",
    "Mean H2O permeability": "mean water permeabilities, because they and the humidity depend on each other",
    "Mean water activity": "mean water activities inside, because they move",
    "Area over": "areas as found",
    "Change of the area": "how areas change from the face that was measured to the middle of the wall",
    "Time spent": _TIME,
    "Diameter of": "holes that stand for a distribution of sizes",
    "Number of": "holes that stand for a distribution of sizes",
    "O2 used up by the product": "the oxygen that the product has used up",
    "Temperature": _OUTSIDE,
    "First trial": "a first guess of the day, which the trials correct",
    "Headspace volume at the end": "the volume of the flexible headspace",
    "Pressure of O2 inside": _PRESSURE,
    "Conductance of": "conductances of further pieces, the same calculation",
    "Water content": "contents read from the curve of the isotherm",
    "Water activity outside": _OUTSIDE,
    "Water activity": "activities read from the curve of the isotherm",
    "Total pressure": _OUTSIDE,
    "Share of": _OUTSIDE,
}
