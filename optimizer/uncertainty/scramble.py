"""Scrambled Sobol points in which every column is known by a name.

A column's dimension of the sequence and its scramble follow from its name and the seed, not from its place in
a list: an input keeps its numbers when another is added, and two packages share the numbers of the inputs
that they share.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Words = NDArray[np.uint64]

#: Bits of a point: the sequence has 30, the rest is random.
_BITS = 32
#: Dimensions to choose from. The first ones of the sequence fit together best, so not many more than needed.
_LEAST_DIMENSIONS = 64
#: Constants of the finaliser of SplitMix64 (Steele, Lea and Flood, OOPSLA 2014).
_FIRST, _SECOND = np.uint64(0xBF58476D1CE4E5B9), np.uint64(0x94D049BB133111EB)


def uniform(columns: Sequence[str], power: int, seed: int, *, replicate: int = 0) -> Array:
    """2**power points (2**power, len(columns)) inside (0, 1): the Sobol sequence under nested uniform
    scrambling (Owen, J. Complexity 14 (1998) 466).

    Replicates have independent scrambles and other dimensions: of any 64 dimensions a few pairs fit together
    badly for a given number of points, and so no two inputs are such a pair throughout."""
    points = np.empty((2**power, len(columns)))
    places = dimensions(columns, replicate)
    plain = _sobol(size_of_table(len(columns)), power)
    for j, name in enumerate(columns):
        words = plain[:, places[name]]
        points[:, j] = (_scrambled(words, _hash(f"{seed}/{replicate}/{name}")) + 0.5) * 0.5**_BITS
    return points


def dimensions(columns: Sequence[str], replicate: int = 0) -> dict[str, int]:
    """Dimension of each column: by a hash of its name, the next free one where an earlier column has it."""
    count = size_of_table(len(columns))
    taken: set[int] = set()
    found = {}
    for name in columns:
        place = _hash(f"{replicate}/{name}") % count
        while place in taken:
            place = (place + 1) % count
        taken.add(place)
        found[name] = place
    return found


def size_of_table(columns: int) -> int:
    """Power of two that is at least twice the number of columns."""
    return max(_LEAST_DIMENSIONS, 1 << (2 * columns - 1).bit_length())


@lru_cache(maxsize=8)
def _sobol(dimensions: int, power: int) -> Words:
    """Unscrambled points as words of ``_BITS`` bits (2**power, dimensions)."""
    from scipy.stats import qmc  # takes a second to import

    points = qmc.Sobol(dimensions, scramble=False, bits=30).random_base2(power)
    words: Words = (points * 2.0**_BITS).astype(np.uint64)
    words.setflags(write=False)
    return words


def _scrambled(words: Words, key: int) -> Words:
    """Each bit is flipped or not as a hash of the bits above it says."""
    out = np.zeros_like(words)
    one = np.uint64(1)
    for k in range(_BITS):
        above = words >> np.uint64(_BITS - k)
        node = above + (one << np.uint64(k))
        flip = _mixed(_mixed(node) ^ np.uint64(key)) & one
        shift = np.uint64(_BITS - 1 - k)
        out |= (((words >> shift) & one) ^ flip) << shift
    return out


def _mixed(words: Words) -> Words:
    words = (words ^ (words >> np.uint64(30))) * _FIRST
    words = (words ^ (words >> np.uint64(27))) * _SECOND
    return words ^ (words >> np.uint64(31))


def _hash(text: str) -> int:
    return int.from_bytes(hashlib.blake2b(text.encode(), digest_size=8).digest(), "little")


def fresh_seed(seed: int) -> int:
    """Another seed that follows from this one, for a sample that nothing was fitted to."""
    return _hash(f"fresh/{seed}") % 2**31
