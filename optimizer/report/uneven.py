"""Walls whose thickness changes from place to place: how thin they get, and what their mean would hide."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from optimizer.report.page import Column, Page, number
from optimizer.report.wording import in_units, percent
from optimizer.units.systems import SI, System

_COLUMNS = ("mean", "least", "p05", "p95")
#: Spread over the mean below which a measured wall counts as even.
_EVEN = 0.002
#: A mean that hides less than this [%] is not worth a sentence.
_TELLING = 0.05


def uneven_section(
    page: Page,
    geometry: Iterable[Mapping[str, Any]],
    title: str = "Wall thickness from place to place",
    units: System = SI,
) -> None:
    """A row and a sentence for each part whose local thickness is known; nothing where there is none.

    geometry: rows of the JSON answer, as ``shelflife.predict`` makes them.
    """
    rows = [row for row in geometry if "mean_thickness_um" in row]
    if not rows:
        return
    page.heading(f"{title}, {units.unit('um')}")
    page.table(
        [Column("part"), number("mean"), number("least"), number("5 %"), number("95 %"), Column("found")],
        [_row(row, units) for row in rows],
    )
    page.indented("5 %, 95 %: so much of the area is thinner")
    for row in rows:
        if row["p95_thickness_um"] - row["least_thickness_um"] > _EVEN * row["mean_thickness_um"]:
            page.indented(f"{row['part']}: {_hidden(row)}{_worst(row)}.")


def _row(row: Mapping[str, Any], units: System) -> list[str]:
    values = (in_units(row[f"{key}_thickness_um"], "um", units, 4) for key in _COLUMNS)
    estimate = "; first estimate" if row["thickness_estimate"] else ""
    return [str(row["part"]), *values, f"{row['thickness_method']}{estimate}"]


def _hidden(row: Mapping[str, Any]) -> str:
    if row["flattery_pct"] < _TELLING:
        return "an even wall of the mean thickness would let through as much"
    return f"an even wall of the mean thickness would let through {percent(row['flattery_pct'])} less"


def _worst(row: Mapping[str, Any]) -> str:
    share, place = percent(row["worst_tenth_share_pct"]), row["worst_tenth_place"]
    return f"; the thinnest tenth of the area, {place}, lets {share} of it through"
