"""How uncertain the properties of a material are: the spread of its own row, else the band of the table.

The band of ``defaults.csv`` counts as the central 95 % of a lognormal: its standard deviation in ln is
s = ln(high / low) / (2 * 1.96), and the relative standard deviation sqrt(exp(s^2) - 1).
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from optimizer.catalog.choose import EVALUATED, Candidate, Selection
from optimizer.catalog.records import DefaultRecord, DiffusivityRecord
from optimizer.physics.material import Band

#: Half-width of the central 95 % of a normal distribution in standard deviations.
Z95 = 1.959964


def permeability_band(selection: Selection) -> Band | None:
    """Spread of the rows used for one material and gas. Of several the largest counts: one factor moves them
    all. None where neither they nor the table say anything."""
    stated = [c.record.spread for c in selection.chosen if c.record.spread is not None]
    source = _source(selection.chosen)
    if stated:
        return Band(max(stated), source, _stated(stated))
    if selection.default is None or selection.default.band is None:
        return None
    return Band(spread_of(*selection.default.band), source, _in_words(selection.default))


def diffusivity_band(record: DiffusivityRecord, source: str, rank: int) -> Band | None:
    """Spread of a diffusivity, where its row states one; ``source``, ``rank`` as of the catalogue's rows."""
    if record.spread is None:
        return None
    return Band(record.spread, record.source if rank else source, _stated([record.spread]))


def spread_of(low: float, high: float) -> float:
    """Relative standard deviation of the lognormal whose central 95 % is low to high."""
    deviation = math.log(high / low) / (2.0 * Z95)
    return math.sqrt(math.expm1(deviation**2))


def _source(chosen: Sequence[Candidate]) -> str:
    """What the properties of one measurement share: the key of the published source, or what the user calls
    his; empty where nothing is shared."""
    first = chosen[0]
    if first.rank:
        return first.record.source
    return "" if first.source == EVALUATED else first.source


def _stated(spreads: Sequence[float]) -> str:
    several = "the largest " if len(set(spreads)) > 1 else ""
    return f"{several}stated with the value"


def _in_words(default: DefaultRecord) -> str:
    of = f" of {default.thickness}" if default.thickness else ""
    return f"band of the table, {default.low} to {default.high} {default.unit}{of}"
