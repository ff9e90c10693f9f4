"""Numbers that cannot be asked for are refused with a message by every function of the package."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

import optimizer
from optimizer.errors import InputError
from optimizer.uncertainty.asked import Search

PROJECT = Path(__file__).parents[2] / "examples/oat_drink_bottle/project.yaml"
DESIGN: Callable[..., Any] = lambda **asked: optimizer.solve_design(PROJECT, **asked)  # noqa: E731
TRADEOFF: Callable[..., Any] = lambda **asked: optimizer.tradeoff(PROJECT, **asked)  # noqa: E731
COMPARE: Callable[..., Any] = lambda **asked: optimizer.compare(PROJECT, "no.csv", **asked)  # noqa: E731
PREDICT: Callable[..., Any] = lambda **asked: optimizer.predict(PROJECT, **asked)  # noqa: E731
CHECK: Callable[..., Any] = lambda **asked: optimizer.check(PROJECT, PROJECT, **asked)  # noqa: E731


@pytest.mark.parametrize(
    ("call", "asked", "said"),
    [
        (DESIGN, {"confidence": 95}, "--confidence: must lie above 50 % and below 100 %, not at 9500 %"),
        (DESIGN, {"confidence": math.nan}, "--confidence: must lie above 50 %"),
        (DESIGN, {"gap": -1}, "--gap: must lie from 0 % to below 100 %, not at -100 %"),
        (DESIGN, {"gap": math.nan}, "--gap: must lie from 0 %"),
        (DESIGN, {"gap": "1 %"}, "--gap: must lie from 0 % to below 100 %, not at '1 %'"),
        (DESIGN, {"time_limit": -5}, "--time-limit: must be more than 0, not -5"),
        (DESIGN, {"time_limit": True}, "--time-limit: must be more than 0, not True"),
        (DESIGN, {"memory_limit": 0}, "--memory-limit: must be more than 0, not 0"),
        (TRADEOFF, {"points": 2.5}, "--points: must be a whole number, not 2.5"),
        (TRADEOFF, {"points": 1}, "--points: must lie from 2 to"),
        (TRADEOFF, {"gap": 1.0}, "--gap: must lie from 0 % to below 100 %, not at 100 %"),
        (TRADEOFF, {"start": math.nan}, "--from: must be more than 0 and at most 1000 years, not nan"),
        (TRADEOFF, {"end": 1e300}, r"--to: must be more than 0 and at most 1000 years, not 1e\+300"),
        (COMPARE, {"gap": math.inf}, "--gap: must lie from 0 %"),
        (COMPARE, {"volume": -1}, r"--volume: must be more than 0 and at most 1e\+15, not -1"),
        (PREDICT, {"samples": 0}, "--samples: must lie from 16 to 1000000, not 0"),
        (PREDICT, {"samples": 20.5}, "--samples: must lie from 16 to 1000000, not 20.5"),
        (PREDICT, {"seed": -1}, "--seed: must lie from 0 to"),
        (CHECK, {"confidence": "95 %"}, "--confidence: must lie above 50 % and below 100 %, not at '95 %'"),
        (CHECK, {"samples": True}, "--samples: must lie from 16"),
    ],
)
def test_what_cannot_be_asked_for_is_refused(call: Callable[..., Any], asked: Any, said: str) -> None:
    with pytest.raises(InputError, match=said):
        call(**asked)


def test_every_mistake_is_said_at_once() -> None:
    with pytest.raises(InputError) as caught:
        Search(gap=-1, time_limit=0, memory_limit=-1, confidence=2, volume=0).refuse_nonsense()
    assert len(caught.value.problems) == 5


def test_the_ends_of_what_may_be_asked_for_are_let_in() -> None:
    Search(
        gap=0, time_limit=math.inf, memory_limit=1, confidence=0.999, points=2, start=1.0
    ).refuse_nonsense()
