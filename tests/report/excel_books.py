"""Answers made by hand (invented numbers) as workbooks, shared by the tests of these."""

from __future__ import annotations

import io
from dataclasses import replace
from datetime import datetime
from functools import cache

import openpyxl
import pytest

from optimizer.report.excel.results import results_workbook
from optimizer.report.excel.tables import Result
from optimizer.results import StageSpan

from . import samples, stress

CREATED = datetime(2026, 3, 1, 12, 30)
SERIES = {
    "days": (0.0, 1.25, 2.5),
    "oxygen_gain_mg_per_kg": (0.0, 0.123456789012345, 1.1),
    "water_activity": (0.4, 0.41, 0.42),
    "O2_pressure_kPa": (0.2, 0.3, 0.4),
}
STORAGE = (StageSpan("warehouse", 0.0, 121.75, 23.0, 50.0, {"O2": 20.93314322987174, "H2O": 1.405}),)
FULL = replace(stress.PREDICTED, time_series=SERIES, storage=STORAGE, structure=stress.STRUCTURE)
RESULTS: dict[str, Result] = {
    "predict": FULL,
    "predict, plain": samples.PASSING,
    "design": replace(stress.DESIGNED, predicted=FULL),
    "design, infeasible": samples.INFEASIBLE,
    "design, out of time": samples.OUT_OF_TIME,
    "check": replace(stress.CHECKED, changed=FULL),
    "check, plain": samples.CHECKED,
    "compare": replace(stress.comparison("cost"), rates={"USD/EUR": 0.92}),
    "tradeoff": stress.frontier("mass"),
    "geometry": stress.MESH,
}
each = pytest.mark.parametrize("name", RESULTS)


def opened(result: Result) -> openpyxl.Workbook:
    return openpyxl.load_workbook(io.BytesIO(results_workbook(result, CREATED)))


@cache
def data_of(name: str) -> bytes:
    return results_workbook(RESULTS[name], CREATED)


@cache
def book_of(name: str) -> openpyxl.Workbook:
    """Read only: shared by the tests."""
    return openpyxl.load_workbook(io.BytesIO(data_of(name)))
