"""Walls whose thickness changes from place to place: how thin they get, and what their mean would hide."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from optimizer.report.page import Column, Page, number
from optimizer.report.wording import figure, percent

_COLUMNS = ("mean", "least", "p05", "p95")
#: Spread over the mean below which a measured wall counts as even.
_EVEN = 0.002
#: A mean that hides less than this [%] is not worth a sentence.
_TELLING = 0.05


def uneven_section(
    page: Page, geometry: Iterable[Mapping[str, Any]], title: str = "Wall thickness from place to place, um"
) -> None:
    """A row and a sentence for each part whose local thickness is known; nothing where there is none.

    geometry: rows of the JSON answer, as ``shelflife.predict`` makes them.
    """
    rows = [row for row in geometry if "mean_thickness_um" in row]
    if not rows:
        return
    page.heading(title)
    page.table(
        [Column("part"), number("mean"), number("least"), number("5 %"), number("95 %"), Column("found")],
        [_row(row) for row in rows],
    )
    page.indented("5 %, 95 %: so much of the area is thinner")
    for row in rows:
        if row["p95_thickness_um"] - row["least_thickness_um"] > _EVEN * row["mean_thickness_um"]:
            page.indented(f"{row['part']}: {_hidden(row)}{_worst(row)}.")


def _row(row: Mapping[str, Any]) -> list[str]:
    values = (figure(row[f"{key}_thickness_um"], 4) for key in _COLUMNS)
    estimate = "; first estimate" if row["thickness_estimate"] else ""
    return [str(row["part"]), *values, f"{row['thickness_method']}{estimate}"]


def _hidden(row: Mapping[str, Any]) -> str:
    if row["flattery_pct"] < _TELLING:
        return "an even wall of the mean thickness would let through as much"
    return f"an even wall of the mean thickness would let through {percent(row['flattery_pct'])} less"


def _worst(row: Mapping[str, Any]) -> str:
    share, place = percent(row["worst_tenth_share_pct"]), row["worst_tenth_place"]
    return f"; the thinnest tenth of the area, {place}, lets {share} of it through"
