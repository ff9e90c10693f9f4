"""The search for the lightest package that passes, on margins with a known zero."""

from __future__ import annotations

import math
from collections.abc import Callable

import pytest

from optimizer.shelflife.check import SCALE_TOLERANCE, THICKEST, THINNEST, Trial, _bracket, _narrow


class Margins:
    """margin(scale), counting how often each new scale is asked for."""

    def __init__(self, margin: Callable[[float], float]) -> None:
        self.margin = margin
        self.known: dict[float, Trial] = {}

    def __call__(self, scale: float) -> Trial:
        if scale not in self.known:
            self.known[scale] = Trial(scale, self.margin(scale), object())  # type: ignore[arg-type]
        return self.known[scale]


SHAPES: dict[str, Callable[[float, float], float]] = {
    # uptake proportional to 1/thickness: the margin of one slab, in closed form
    "slab": lambda s, root: 100.0 * (1.0 - root / s),
    # only the verdict is known
    "verdict": lambda s, root: math.inf if s >= root else -math.inf,
    # very flat next to the zero on one side
    "flat": lambda s, root: 1e-4 * (s - root) if s < root else 50.0 * (s - root),
    "jump": lambda s, root: 1.0 if s >= root else -100.0,
}


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("root", [0.031, 0.25, 0.9991, 1.0, 1.0004, 3.7, 19.0])
def test_the_scale_just_passes_and_a_thousandth_less_fails(shape: str, root: float) -> None:
    at = Margins(lambda s: SHAPES[shape](s, root))
    fails, passes, note = _bracket(at)
    assert fails is not None and passes is not None and note == ""
    found = _narrow(at, fails, passes)
    assert root <= found.scale <= root * (1.0 + 1.01 * SCALE_TOLERANCE)


def test_a_smooth_margin_needs_few_predictions() -> None:
    at = Margins(lambda s: SHAPES["slab"](s, 0.8))
    fails, passes, _ = _bracket(at)
    assert fails is not None and passes is not None
    before = len(at.known)
    _narrow(at, fails, passes)
    assert len(at.known) - before <= 6


@pytest.mark.parametrize("shape", SHAPES)
def test_it_never_takes_more_than_one_step_beyond_bisection(shape: str) -> None:
    at = Margins(lambda s: SHAPES[shape](s, 0.8))
    fails, passes, _ = _bracket(at)
    assert fails is not None and passes is not None
    before, bisection = len(at.known), math.ceil(math.log2(math.log(1.5) / SCALE_TOLERANCE))
    _narrow(at, fails, passes)
    assert len(at.known) - before <= bisection + 1


def test_a_wall_that_does_not_matter_is_said_so() -> None:
    fails, passes, note = _bracket(Margins(lambda s: 10.0))
    assert fails is None and passes is not None
    assert passes.scale == THINNEST
    assert "does not decide" in note


def test_a_cap_that_leaks_too_much_is_said_so() -> None:
    fails, passes, note = _bracket(Margins(lambda s: -10.0))
    assert passes is None and fails is not None
    assert fails.scale == THICKEST
    assert "other parts" in note


def test_a_wall_that_no_longer_fits_ends_the_search() -> None:
    def at(scale: float) -> Trial:
        return Trial(scale, -1.0, object()) if scale < 2.0 else Trial(scale, -math.inf, None)  # type: ignore[arg-type]

    fails, passes, note = _bracket(at)
    assert passes is None
    assert "no thicker wall fits" in note
