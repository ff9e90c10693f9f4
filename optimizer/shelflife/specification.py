"""A buyer's transmission limits, judged at their own test condition."""

from __future__ import annotations

import re
from collections.abc import Mapping

import numpy as np
from numpy.typing import ArrayLike, NDArray

from optimizer.constants import ATMOSPHERE, DAY, MOLAR_MASS, STP_MOLAR_VOLUME
from optimizer.errors import InputError, Problem
from optimizer.geometry.surface import Patch
from optimizer.results import LimitOutcome
from optimizer.shelflife.exchange import part_exchange
from optimizer.shelflife.package import Package, TransmissionLimit, WallPart

Array = NDArray[np.float64]

#: mol/(s Pa) -> cm3(STP)/(day atm)
GAS_TRADE = STP_MOLAR_VOLUME * 1e6 * DAY * ATMOSPHERE
#: mol/s of water -> g/day
WATER_TRADE = MOLAR_MASS["H2O"] * 1e3 * DAY


def specification_values(
    package: Package, limit: TransmissionLimit, thickness: Mapping[str, ArrayLike] | None = None
) -> Array:
    """What the limit is about, in its SI unit, (B,): permeance or conductance for a gas, [kg/(m2 s)] or
    [kg/s] for H2O.

    A gas is tested with ``humidity`` on both faces. H2O is tested with the wet side outside and with it
    inside;
    the larger of the two counts. thickness: wall name -> (B, n) [m] for a batch.
    """
    if limit.wall is not None:
        if limit.wall not in package.walls:
            raise InputError(
                Problem(f"transmission limit names the unknown wall {limit.wall!r}", field="target")
            )
        package = Package((WallPart("film", limit.wall, (Patch(1.0),)),), package.walls)
    if limit.gas != "H2O":
        inside = outside = np.array([limit.humidity])
    else:
        inside = np.array([limit.humidity_far, limit.humidity])
        outside = inside[::-1]
    count = len(inside)
    conditions = (np.full(count, limit.temperature), outside, np.full(count, ATMOSPHERE))
    gases = () if limit.gas == "H2O" else (limit.gas,)
    parts = part_exchange(
        package, inside, conditions, gases, water=limit.gas == "H2O", thickness=thickness, pairwise=True
    )
    total = sum((values[limit.gas] for values in parts.values()), start=np.zeros((1, count, 1)))
    if limit.gas == "H2O":
        water: Array = np.abs(total).max(axis=(1, 2)) * MOLAR_MASS["H2O"]
        return water
    value: Array = total[:, 0, 0]
    return value


def judge(package: Package, limit: TransmissionLimit) -> LimitOutcome:
    """The limit and the package's value in trade units; a value up to one part in 1e9 above it still
    passes."""
    value = float(specification_values(package, limit)[0])
    place = "package" if limit.wall is None else "m2"
    if limit.gas == "H2O":
        factor, unit = 1e3 * DAY, f"g/({place}*day)"
    else:
        factor, unit = GAS_TRADE, f"cm3(STP)/({place}*day*atm)"
    passes = value <= limit.maximum * (1 + 1e-9)
    margin = 100.0 * (1.0 - value / limit.maximum) if limit.maximum > 0 else None
    condition = f"{limit.temperature - 273.15:.4g} degC, {100 * limit.humidity:.4g} %RH"
    if limit.gas == "H2O":
        condition += f" against {100 * limit.humidity_far:.4g} %RH, the worse side wet"
    else:
        condition += " on both faces"
    return LimitOutcome(
        name=f"transmission {limit.gas}",
        limit=limit.maximum * factor,
        unit=unit,
        at_target=value * factor,
        reached_after_days=None,
        status="met" if passes else "exceeded",
        passes=passes,
        margin_pct=margin,
        wall=limit.wall,
        note=f"at {condition}" + _written(limit.text, limit.maximum * factor),
    )


def _written(text: str, shown: float) -> str:
    """'; written as ...' where the limit was given as another number than the one shown."""
    number = re.match(r"\s*([0-9.]+(?:[eE][+-]?[0-9]+)?)", text)
    same = number is not None and abs(float(number[1]) - shown) <= 1e-6 * abs(shown)
    return "" if same or not text else f"; written as {text}"
