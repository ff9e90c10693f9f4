"""Small sums and tests for values that are floats (one sample) or arrays (B,)."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import numpy as np

Value = Any

#: Most that Newton's method may change an activity at once.
STRIDE = 0.2


def sum_of(values: Iterable[Value]) -> Value:
    total: Value = 0.0
    for v in values:
        total = total + v
    return total


def limited(step: Value) -> Value:
    if isinstance(step, float):
        return -STRIDE if step < -STRIDE else STRIDE if step > STRIDE else step
    return np.clip(step, -STRIDE, STRIDE)


def most(value: Value) -> float:
    return abs(value) if isinstance(value, float) else float(np.max(np.abs(value)))


def near(a: list[Value], b: list[Value]) -> bool:
    return all(most(x - y) <= 1e-12 * most(x) + 1e-9 for x, y in zip(a, b, strict=True))
