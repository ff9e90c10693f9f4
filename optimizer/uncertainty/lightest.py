"""The lightest wall that passes with the confidence asked for."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from optimizer.errors import LayerwrightError
from optimizer.shelflife.package import Case
from optimizer.uncertainty.run import Passing, Simulator, probability_of_passing
from optimizer.uncertainty.scramble import fresh_seed

#: The scale is found to this relative accuracy, from the side that passes.
SCALE_TOLERANCE = 1e-3
#: Scales outside these are not looked at.
THINNEST, THICKEST = 0.02, 20.0
#: Steps of the search for a bracket.
_STRIDE = 1.5


@dataclass(frozen=True)
class Lightest:
    """scale: least factor on the thickness that passes, None where none between THINNEST and THICKEST does;
    passing: there, on the numbers of the search; fresh: on numbers that the search did not see; note: why
    there is none, or why the wall does not decide, else empty."""

    scale: float | None
    passing: Passing | None
    fresh: Passing | None
    note: str = ""


def lightest(
    case_at_scale: Callable[[float], Case],
    confidence: float,
    *,
    samples: int | None = None,
    seed: int | None = None,
    wall: str | None = None,
    simulate: Simulator | None = None,
    say: Callable[[str], None] | None = None,
) -> Lightest:
    """Bisection in ln(scale), every scale on the same numbers, so that the answer moves one way only.

    case_at_scale(s): the case with the thickness s times as given; it may raise LayerwrightError where there
    is no such package. confidence [-]. say: told of every trial."""
    if seed is None:
        seed = case_at_scale(1.0).uncertainty.seed
    known: dict[float, Passing | None] = {}

    def trial(scale: float, seed: int) -> Passing | None:
        try:
            case = case_at_scale(scale)
            return probability_of_passing(
                case,
                samples=samples,
                seed=seed,
                wall=wall,
                simulate=simulate,
                confidence=confidence,
            )
        except LayerwrightError:  # for example a wall thicker than the package is wide
            return None

    def at(scale: float) -> Passing | None:
        if scale not in known:
            if say is not None:
                say(f"looking for the lightest at {_percent(confidence)}: {_percent(scale)} of the thickness")
            known[scale] = trial(scale, seed)
        return known[scale]

    def passes(scale: float) -> bool:
        found = at(scale)
        return found is not None and found.probability >= confidence

    failing, good, note = _bracket(passes, lambda scale: at(scale) is not None, confidence)
    if good is None:
        return Lightest(None, None, None, note)
    if failing is not None:
        good = _narrow(passes, failing, good)
    return Lightest(good, at(good), trial(good, fresh_seed(seed)), note)


def _bracket(
    passes: Callable[[float], bool], exists: Callable[[float], bool], confidence: float
) -> tuple[float | None, float | None, str]:
    """A failing and a passing scale next to each other, or only one of them and why."""
    scale = 1.0
    if passes(scale):
        while scale > THINNEST:
            thinner = max(THINNEST, scale / _STRIDE)
            if not passes(thinner):
                return thinner, scale, ""
            scale = thinner
        return (
            None,
            scale,
            f"it passes even at {_percent(THINNEST)} of the thickness: the wall does not decide.",
        )
    while scale < THICKEST:
        thicker = min(THICKEST, scale * _STRIDE)
        if passes(thicker):
            return scale, thicker, ""
        if not exists(thicker):
            why = f"no thicker wall fits the package and passes with {_percent(confidence)}"
            return scale, None, f"{why}: change the material or other parts."
        scale = thicker
    why = f"not even {THICKEST:g} times the thickness passes with {_percent(confidence)}"
    return scale, None, f"{why}: other parts, the storage or the spreads decide."


def _narrow(passes: Callable[[float], bool], failing: float, good: float) -> float:
    low, high = math.log(failing), math.log(good)
    while high - low > SCALE_TOLERANCE:
        middle = 0.5 * (low + high)
        if passes(math.exp(middle)):
            high = middle
        else:
            low = middle
    return good if high == math.log(good) else math.exp(high)


def _percent(share: float) -> str:
    return f"{100.0 * share:.4g} %"
