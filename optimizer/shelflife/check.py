"""A changed package against its baseline: both predicted, what differs, how thin the walls could be.

Point estimates: both packages are predicted with the properties as given, without uncertainty
(``uncertainty.checked`` adds that).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from optimizer.errors import LayerwrightError
from optimizer.results import CheckResult, PredictResult
from optimizer.shelflife.changes import changed_walls, changes, locally_changed
from optimizer.shelflife.nested import surrounded
from optimizer.shelflife.package import Case, Layer, Wall, WallPart
from optimizer.shelflife.predict import predict
from optimizer.shelflife.thicknesses import thickness_of_parts
from optimizer.shelflife.words import listed

#: The lightest scale is found to this relative accuracy, from the side that passes.
SCALE_TOLERANCE = 1e-3
#: Scales outside these are not looked at.
THINNEST, THICKEST = 0.02, 20.0
#: Steps of the search for a bracket.
_STRIDE = 1.5

#: What a check without samples rests on.
POINT_ESTIMATES = "The comparison is of point estimates: properties as given, without their uncertainty."

Progress = Callable[[str], None]


@dataclass(frozen=True)
class Trial:
    """One scale of the changed walls; margin [%] is negative where it fails; result None: no such package."""

    scale: float
    margin: float
    result: PredictResult | None

    @property
    def passes(self) -> bool:
        return self.margin >= 0.0


def check(
    case: Case,
    baseline: Case,
    *,
    version: str = "",
    inputs_sha256: str = "",
    baseline_sha256: str = "",
    designed: Sequence[str] = (),
    progress: Progress | None = None,
) -> CheckResult:
    """Predict both cases and compare them; ``lightest_passing`` scales the walls of ``walls_to_scale``.

    designed: walls that the project lets a design change.
    """
    say = progress or _quiet
    say("predicting the baseline")
    before = predict(baseline, version=version, inputs_sha256=baseline_sha256)
    say("predicting the changed package")
    now = predict(case, version=version, inputs_sha256=inputs_sha256)
    life, target = now.shelf_life_days, now.target_days
    margin = None if life is None or not target else 100.0 * (life / target - 1.0)
    warnings = [*now.warnings, *(f"(baseline) {w}" for w in before.warnings if w not in now.warnings)]
    if before.target_days != target:
        warnings.append("The two projects have different targets; each is held against its own")
    if before.wall_model != now.wall_model:
        warnings.append(
            f"The walls of the changed package are simulated as {now.wall_model} ({now.wall_reason}), those "
            f"of the baseline as {before.wall_model} ({before.wall_reason}); give both the same 'wall' to "
            "compare them"
        )
    return CheckResult(
        title=now.title,
        version=version,
        inputs_sha256=inputs_sha256,
        passes=now.passes,
        confidence=None,
        shelf_life_days={"p05": None, "p50": life, "p95": None},
        margin_pct=margin,
        baseline=before,
        changed=now,
        changes=changes(baseline, case, before, now),
        lightest_passing=lightest_passing(case, baseline, now, say, designed),
        warnings=tuple(warnings),
        assumptions=(*now.assumptions, POINT_ESTIMATES),
        sources=now.sources,
        thickness=thickness_of_parts(baseline, case),
    )


def lightest_passing(
    case: Case,
    baseline: Case,
    now: PredictResult,
    say: Progress | None = None,
    designed: Sequence[str] = (),
) -> Mapping[str, Any] | None:
    """Smallest common factor on the thickness of ``walls_to_scale`` with which the package still passes.

    Found to ``SCALE_TOLERANCE`` by predicting again. None without a target. Keys: scale [-] or None where no
    scale between THINNEST and THICKEST passes, walls {name: [{material, thickness_um}]}, mass_g,
    cost_per_package, currency, shelf_life_days, limited_by, note, confidence (None: with the properties as
    given).
    """
    say = say or _quiet
    if case.target is None:
        return None
    names = walls_to_scale(baseline, case, designed)
    if not names:
        return None
    trial_case = replace(case, horizon=min(case.horizon, case.target))
    known = {1.0: Trial(1.0, _margin(now), now)}

    def at(scale: float) -> Trial:
        if scale not in known:
            say(f"looking for the lightest that passes: {100.0 * scale:.1f} % of the thickness")
            known[scale] = _trial(trial_case, names, scale)
        return known[scale]

    fails, passes, note = _bracket(at)
    if passes is None:
        return no_scale(note)
    if fails is not None:
        passes = _narrow(at, fails, passes)
    # The trials look only as far as the target; the answer tells the whole shelf life.
    return at_scale(case, names, passes.scale, note)


def no_scale(note: str, confidence: float | None = None) -> dict[str, Any]:
    """The answer where no scale passes."""
    return {"scale": None, "walls": {}, "note": note, "confidence": confidence}


def at_scale(
    case: Case, names: tuple[str, ...], scale: float, note: str, confidence: float | None = None
) -> dict[str, Any]:
    """The package with walls ``names`` scaled, as ``lightest_passing`` tells it."""
    thinner = surrounded(scaled(case, names, scale))
    result = predict(thinner)
    return {
        "scale": scale,
        "walls": {name: _layers_um(thinner.package.walls[name]) for name in names},
        "mass_g": result.mass_g,
        "cost_per_package": result.cost_per_package,
        "currency": result.currency,
        "shelf_life_days": result.shelf_life_days,
        "limited_by": result.limited_by,
        "note": " ".join(filter(None, (note, _kept_note(case, names), _gauge_note(thinner, names)))),
        "confidence": confidence,
    }


def walls_to_scale(baseline: Case, case: Case, designed: Sequence[str] = ()) -> tuple[str, ...]:
    """The walls that differ from the baseline, by their layers or by the local thickness of a part.

    Where none does: those of ``designed`` in use, else all. Regions of a mesh and covers of its openings
    (neck finish, cap) are made to fit others: their walls are among these only where their own layers
    differ, or where the package has nothing else.
    """
    layers = changed_walls(baseline, case)
    uneven = [(part.wall, part.fitted) for part in locally_changed(baseline, case)]
    used = [(part.wall, part.fitted) for part in used_parts(case)]
    free = [
        [*layers, *_without_fitted(uneven)],
        [name for name, _ in uneven],
        [name for name, _ in used if name in designed],
        _without_fitted(used),
        [name for name, _ in used],
    ]
    names = next((found for found in free if found), [])
    return tuple(dict.fromkeys(name for name, _ in used if name in names))


def _without_fitted(walls: Sequence[tuple[str, bool]]) -> list[str]:
    return [name for name, fitted in walls if not fitted]


def used_parts(case: Case) -> list[WallPart]:
    """The parts made of a wall, without seals: these have no thickness to choose."""
    return [part for part in case.package.parts if isinstance(part, WallPart) and not part.seal]


def _bracket(at: Callable[[float], Trial]) -> tuple[Trial | None, Trial | None, str]:
    """A failing and a passing trial next to each other, or only one of them and why."""
    here = at(1.0)
    if here.passes:
        passing = here
        while passing.scale > THINNEST:
            trial = at(max(THINNEST, passing.scale / _STRIDE))
            if not trial.passes:
                return trial, passing, ""
            passing = trial
        return (
            None,
            passing,
            f"it passes even at {100.0 * THINNEST:g} % of the thickness: the wall does not decide.",
        )
    failing = here
    while failing.scale < THICKEST:
        trial = at(min(THICKEST, failing.scale * _STRIDE))
        if trial.passes:
            return failing, trial, ""
        if trial.result is None:
            return (
                failing,
                None,
                "no thicker wall fits the package and passes: change the material or other parts.",
            )
        failing = trial
    return (
        failing,
        None,
        f"not even {THICKEST:g} times the thickness passes: other parts or the storage decide.",
    )


def _narrow(at: Callable[[float], Trial], fails: Trial, passes: Trial) -> Trial:
    """The passing end of a bracket in log(scale) narrowed to the tolerance.

    Interpolate, truncate, project: no slower than bisection, and a few steps on a smooth margin (Oliveira and
    Takahashi, ACM Trans. Math. Softw. 47 (2020) 5).
    """
    width0 = abs(math.log(passes.scale / fails.scale))
    half = 0.5 * SCALE_TOLERANCE
    budget = math.ceil(math.log2(max(width0 / SCALE_TOLERANCE, 1.0)))
    for step in range(budget + 2):
        a, b = math.log(fails.scale), math.log(passes.scale)
        width = abs(b - a)
        if width <= SCALE_TOLERANCE * (1.0 + 1e-9):  # rounding must not cost a prediction
            break
        middle = 0.5 * (a + b)
        guess = middle
        if math.isfinite(fails.margin) and math.isfinite(passes.margin) and passes.margin > fails.margin:
            guess = a + (b - a) * -fails.margin / (passes.margin - fails.margin)
        toward = math.copysign(1.0, middle - guess)
        guess = middle if abs(middle - guess) < half else guess + toward * half
        reach = max(0.0, half * 2.0 ** (budget + 1 - step) - 0.5 * width)
        if abs(guess - middle) > reach:
            guess = middle - toward * reach
        trial = at(math.exp(guess))
        fails, passes = (fails, trial) if trial.passes else (trial, passes)
    return passes


def _trial(case: Case, names: tuple[str, ...], scale: float) -> Trial:
    try:
        result = predict(surrounded(scaled(case, names, scale)))
    except LayerwrightError:  # for example a wall thicker than the package is wide
        return Trial(scale, -math.inf, None)
    return Trial(scale, _margin(result), result)


def _margin(result: PredictResult) -> float:
    """Least margin left over all limits [%], with the sign of the verdict; 0 at a limit."""
    margins = [o.margin_pct for o in result.limits if o.margin_pct is not None]
    if len(margins) < len(result.limits) or not margins:
        return math.inf if result.passes else -math.inf
    least = min(margins)
    if result.passes:
        return max(least, 0.0)
    return least if least < 0.0 else -math.inf


def scaled(case: Case, names: tuple[str, ...], scale: float) -> Case:
    """The case with every layer of the walls ``names`` ``scale`` times as thick."""
    walls = {}
    for name in names:
        wall = case.package.walls[name]
        layers = tuple(Layer(layer.material, layer.thickness * scale) for layer in wall.layers)
        walls[name] = Wall(name, layers)
    return replace(case, package=case.package.with_walls(walls))


def _layers_um(wall: Wall) -> list[dict[str, Any]]:
    return [{"material": layer.material.name, "thickness_um": layer.thickness * 1e6} for layer in wall.layers]


def _kept_note(case: Case, names: Sequence[str]) -> str:
    kept = list(dict.fromkeys(part.wall for part in used_parts(case) if part.wall not in names))
    if not kept:
        return ""
    return f"walls {listed(kept)} kept as they are." if len(kept) > 1 else f"wall {kept[0]} kept as it is."


def _gauge_note(case: Case, names: tuple[str, ...]) -> str:
    outside = []
    for name in names:
        for layer in case.package.walls[name].layers:
            least, most = layer.material.gauge
            if not least * (1 - 1e-9) <= layer.thickness <= most * (1 + 1e-9):
                outside.append(layer.material.name)
    if not outside:
        return ""
    return f"outside the gauge given for {', '.join(dict.fromkeys(outside))}."


def _quiet(text: str) -> None:
    pass
