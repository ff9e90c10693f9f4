"""The JSON form: keys of the contract, in its order, finite numbers only."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from optimizer.report.record import COMMON, dump, to_json

from .samples import CHECKED, DESIGNED, INFEASIBLE, PASSING

PREDICT_KEYS = [
    "passes",
    "shelf_life_days",
    "horizon_days",
    "limited_by",
    "limits",
    "transmission",
    "film_transmission",
    "layers",
    "time_series",
    "mass_g",
    "cost_per_package",
    "currency",
]
DESIGN_KEYS = [
    *PREDICT_KEYS,
    "status",
    "objective",
    "lower_bound",
    "gap",
    "structure",
    "binding",
    "alternatives",
]
CHECK_KEYS = ["passes", "confidence", "shelf_life_days", "baseline", "changes", "lightest_passing"]


@pytest.mark.parametrize(
    ("result", "keys"), [(PASSING, PREDICT_KEYS), (DESIGNED, DESIGN_KEYS), (CHECKED, CHECK_KEYS)]
)
def test_every_key_of_the_contract_is_there(result: Any, keys: list[str]) -> None:
    record = json.loads(to_json(result))
    assert set(keys) <= set(record)
    assert list(record)[: len(COMMON)] == list(COMMON)
    assert len(record["inputs_sha256"]) == 64


def test_an_infeasible_design_tells_the_conflict() -> None:
    record = json.loads(to_json(INFEASIBLE))
    assert record["status"] == "infeasible"
    assert len(record["conflict"]) == 2
    assert record["objective"] is None
    assert record["passes"] is False
    assert record["sources"] == []


def test_the_same_answer_is_the_same_text() -> None:
    assert to_json(PASSING) == to_json(replace(PASSING))
    assert to_json(PASSING).endswith("}\n")


def test_a_number_that_is_not_finite_becomes_null() -> None:
    text = to_json(replace(PASSING, mass_g=math.nan, shelf_life_days=math.inf))
    record = json.loads(text, parse_constant=lambda name: pytest.fail(f"{name} in JSON"))
    assert record["mass_g"] is None
    assert record["shelf_life_days"] is None


def test_numpy_numbers_and_arrays_are_written_as_numbers() -> None:
    values = {
        "a": np.float64(0.5),
        "b": np.arange(2),
        "c": np.float64("nan"),
        "d": np.True_,
        "e": np.int64(3),
    }
    assert {k: json.loads(dump(values))[k] for k in values} == {
        "a": 0.5,
        "b": [0, 1],
        "c": None,
        "d": True,
        "e": 3,
    }


def test_text_outside_ascii_stays_readable() -> None:
    assert "Haferdrink, süß" in to_json(replace(PASSING, title="Haferdrink, süß"))
