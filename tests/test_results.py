"""Answers in Python: frozen, as plain dicts, as tables of pandas, and in a notebook."""

from __future__ import annotations

import dataclasses
import json
from typing import Any

import lxml.html
import pytest

import optimizer
from optimizer.report.record import to_json
from optimizer.results import PredictResult
from optimizer.results_answer import Answer
from tests.report.samples import CHECKED, DESIGNED, PASSING

BOTTLE = "examples/oat_drink_bottle/project.yaml"


@pytest.fixture(scope="module")
def predicted() -> PredictResult:
    return optimizer.predict(BOTTLE)


@pytest.mark.parametrize("result", [PASSING, DESIGNED, CHECKED], ids=lambda r: r.command)
def test_an_answer_cannot_be_changed(result: Any) -> None:
    with pytest.raises(dataclasses.FrozenInstanceError):
        result.title = "other"


@pytest.mark.parametrize("result", [PASSING, DESIGNED, CHECKED], ids=lambda r: r.command)
def test_the_dict_is_what_json_writes(result: Answer) -> None:
    assert json.loads(to_json(result)) == json.loads(json.dumps(result.to_dict()))  # type: ignore[arg-type]


def test_the_time_series_is_a_table_with_a_row_for_each_time(predicted: PredictResult) -> None:
    frame = predicted.to_dataframe("time_series")
    assert list(frame.columns) == list(predicted.time_series)
    assert frame["days"].tolist() == list(predicted.time_series["days"])
    assert frame["oxygen_gain_mg_per_kg"].is_monotonic_increasing


def test_groups_in_a_row_become_columns(predicted: PredictResult) -> None:
    frame = predicted.to_dataframe("layers")
    first = predicted.layers[0]
    assert frame.loc[0, "resistance_share_pct_O2"] == first.resistance_share_pct["O2"]
    assert frame.groupby("stage")["resistance_share_pct_O2"].sum().tolist() == pytest.approx([100.0] * 3)


def test_layers_by_wall_are_rows_with_the_name_of_the_wall(predicted: PredictResult) -> None:
    frame = predicted.to_dataframe("structure")
    assert frame[["wall", "material"]].to_numpy().tolist() == [
        ["bottle", layer.material] for layer in predicted.structure["bottle"]
    ]


def test_without_a_name_the_main_table_is_given() -> None:
    assert PASSING.to_dataframe()["name"].tolist() == [limit.name for limit in PASSING.limits]
    assert DESIGNED.to_dataframe()["material"].tolist() == [
        layer.material for layers in DESIGNED.structure.values() for layer in layers
    ]


def test_every_table_can_be_had_and_another_is_refused_with_their_names(predicted: PredictResult) -> None:
    for name in predicted.tables():
        assert len(predicted.to_dataframe(name)) > 0, name
    with pytest.raises(ValueError, match="no table 'layer'.*there are: .*layers"):
        predicted.to_dataframe("layer")


def test_a_check_has_the_tables_of_both_packages() -> None:
    assert {"changed.limits", "baseline.limits"} <= set(CHECKED.tables())
    assert CHECKED.to_dataframe("baseline.limits")["name"].tolist() == [
        limit.name for limit in CHECKED.baseline.limits
    ]


@pytest.mark.parametrize("result", [PASSING, DESIGNED, CHECKED], ids=lambda r: r.command)
def test_a_notebook_shows_the_title_the_key_numbers_and_the_main_table(result: Answer) -> None:
    page = lxml.html.fromstring(result._repr_html_())
    assert page.findtext(".//b") == result.to_dict()["title"]
    heads = [cell.text for cell in page.iterfind(".//th")]
    assert result.shown[0] in heads
    assert len(page.findall(".//tbody/tr")) == len(result.to_dataframe())


def test_a_notebook_shows_text_of_the_user_as_text() -> None:
    hostile = dataclasses.replace(PASSING, title="<script>alert(1)</script> & 'x'")
    page = lxml.html.fromstring(hostile._repr_html_())
    assert page.find(".//script") is None
    assert page.findtext(".//b") == hostile.title


@pytest.mark.parametrize("result", [PASSING, DESIGNED, CHECKED], ids=lambda r: r.command)
def test_a_terminal_shows_a_few_lines_and_not_every_number(result: Answer) -> None:
    shown: list[str] = []

    class Printer:
        text = staticmethod(shown.append)

    result._repr_pretty_(Printer(), False)
    told = "".join(shown)
    assert told == str(result)
    assert told.startswith(f"{type(result).__name__}: {result.to_dict()['title']}")
    assert len(told.splitlines()) < 15 and len(told) < 0.2 * len(repr(result))
    assert f"tables: {', '.join(result.tables())}" in told


def test_symbols_of_a_step_are_one_column_and_not_one_for_each() -> None:
    answer = optimizer.explain(BOTTLE)
    frame = answer.to_dataframe()
    assert len(frame) == len(answer.steps) and not [c for c in frame.columns if c.startswith("symbols_")]
    step = next(s for s in answer.steps if s.title.startswith("Resistance of layer"))
    told = ", ".join(f"{name} {number}" for name, number in step.symbols.items())
    assert frame["symbols"][step.number - 1] == told
