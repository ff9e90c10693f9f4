"""Samples of the uncertain inputs of a case.

A factor is lognormal with median 1: with a relative standard deviation s it is exp(sigma z),
sigma = sqrt(ln(1 + s^2)), z standard normal. An offset is normal. Inputs of one source share a part rho of
the variance of z: z = sqrt(rho) z_source + sqrt(1 - rho) z_own.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from optimizer.shelflife.variation import Variation
from optimizer.uncertainty.scramble import uniform
from optimizer.uncertainty.sources import KINDS, OFFSETS, Input

Array = NDArray[np.float64]

#: Independent scrambles that a draw consists of: their scatter tells the error of what is computed from it.
REPLICATES = 8
#: A draw has at least this many samples.
LEAST_SAMPLES = 64
_SHARED = "shared: "


def rounded(samples: int) -> int:
    """Power of two that is not below ``samples``, nor below ``LEAST_SAMPLES``."""
    return 1 << (max(samples, LEAST_SAMPLES) - 1).bit_length()


def columns_of(*lists: Sequence[Input]) -> tuple[str, ...]:
    """Names of the independent normals behind the inputs of several cases together, each once: one of each
    input, then one of each source."""
    inputs = {x.key: x for inputs in lists for x in inputs}
    ordered = sorted(inputs.values(), key=lambda x: (KINDS.index(x.kind), x.of))
    sources = sorted({x.source for inputs in lists for x in inputs if x.source})
    return (*(x.key for x in ordered), *(shared(s) for s in sources))


def shared(source: str) -> str:
    """Name of the normal that the inputs of a source have in common."""
    return f"{_SHARED}{source}"


def normals(
    columns: Sequence[str], samples: int, seed: int, *, replicates: int = REPLICATES
) -> dict[str, Array]:
    """Standard normals (samples,) by column; the replicates stand one after the other.

    samples: a power of two, at least ``replicates``, which is one too."""
    from scipy.special import ndtri

    power = (samples // replicates).bit_length() - 1
    if replicates * 2**power != samples:
        raise ValueError(f"{samples} samples are not {replicates} times a power of two")
    points = np.concatenate([uniform(columns, power, seed, replicate=r) for r in range(replicates)])
    return dict(zip(columns, np.ascontiguousarray(ndtri(points).T), strict=True))


def variation_of(
    inputs: Sequence[Input], z: Mapping[str, Array], samples: int, correlation: float
) -> Variation:
    """Factors and offsets of the inputs from their normals."""
    fields: dict[str, Any] = {}
    for item in inputs:
        value = z[item.key]
        if item.source:
            own, common = math.sqrt(1.0 - correlation), math.sqrt(correlation)
            value = own * value + common * z[shared(item.source)]
        if item.kind in OFFSETS:
            value = item.size * value
        else:
            value = np.exp(math.sqrt(math.log1p(item.size**2)) * value)
        if item.targets:
            fields.setdefault(item.kind, {}).update(dict.fromkeys(item.targets, value))
        else:
            fields[item.kind] = value
    return Variation(samples, **fields)


def draw(
    inputs: Sequence[Input],
    samples: int,
    seed: int,
    *,
    correlation: float = 0.5,
    common: Sequence[Input] = (),
) -> Variation:
    """``rounded(samples)`` samples of the inputs in ``REPLICATES`` independent scrambles.

    common: inputs of the case that this one is compared with. Two draws, each with the other's inputs as
    ``common``, share the numbers of every input that both have."""
    count = rounded(samples)
    z = normals(columns_of(inputs, common), count, seed)
    return variation_of(inputs, z, count, correlation)
