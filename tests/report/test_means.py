"""What is said below profiles of stages whose conditions change (all projects are invented)."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import optimizer
from optimizer.report.figures.means import means_note
from optimizer.report.figures.through import humidity_charts, pressure_charts
from optimizer.report.html.predict import profile_note
from optimizer.results import OuterPackAnswer

OAT = Path(__file__).parents[2] / "examples/oat_drink_bottle/project.yaml"
PROJECT = optimizer.load_project(OAT)
#: Three constant stages, as in the project; and its first with a second temperature, as weather has.
RESULT = optimizer.predict(PROJECT)
FIRST = PROJECT.case.storage[0]
WEATHER = replace(
    PROJECT,
    case=replace(
        PROJECT.case,
        storage=(FIRST, replace(FIRST, temperature=FIRST.temperature + 9.0), *PROJECT.case.storage),
    ),
)
OUTER = OuterPackAnswer(12, 500.0, "film", 30.0, 2.5, None, None, "EUR", 180.0, 1.0, 50.0)


def test_below_profiles_of_constant_stages_nothing_is_said() -> None:
    assert means_note(PROJECT, RESULT) == profile_note(None, RESULT) == ""


def test_below_profiles_of_weather_stands_that_the_mean_is_drawn() -> None:
    note = profile_note(WEATHER, RESULT)
    assert note.startswith(f"The conditions of {FIRST.name} change with time") and "mean" in note
    charts = (*humidity_charts(RESULT, note=note), *pressure_charts(RESULT, note=note))
    assert len(charts) > 2 and {chart.note for chart in charts} == {note}


def test_in_an_outer_pack_every_stage_is_said_to_be_drawn_at_its_mean() -> None:
    assert "outer pack" in means_note(PROJECT, replace(RESULT, outer_pack=OUTER))
