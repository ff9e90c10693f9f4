"""The price at which an offer ties, on the cost that is optimised anew at every price.

A structure with k kg of the material costs  a + k p  at the price p. The least cost over all structures is
the lower envelope C(p) of such lines: concave, piecewise linear and, as k >= 0, nowhere falling. The
break-even price is where C reaches the cost T of the rival: the least p with C(p) >= T. Newton's step from p
leads to the root of the line that is best there. Lines lie on or above C, so no step from below passes the
root, the steps rise, and each ends on another piece: finitely many, two or three in practice. From above one
step leads below.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

#: Steps taken at most; more pieces than that do not occur between two offers.
_MOST = 40
#: Share of the present price that stands for a price of nothing: without cost there is nothing to optimise.
_NOTHING = 1e-9
#: Relative accuracy on the cost within which two are the same.
TIE = 1e-7


@dataclass(frozen=True)
class Line:
    """Cost of one structure over the price of the offered material: ``other`` [currency] and ``kg``."""

    other: float
    kg: float

    def cost(self, price: float) -> float:
        return self.other + self.kg * price

    def root(self, target: float) -> float:
        return (target - self.other) / self.kg


@dataclass(frozen=True)
class BreakEven:
    """price [currency/kg] or None, and then why; kg: of the material at that price; solved: how often the
    package was optimised."""

    price: float | None
    why: str = ""
    kg: float = 0.0
    solved: int = 0


def break_even(solve: Callable[[float], Line | None], price: float, target: float) -> BreakEven:
    """Least price at which the optimised cost reaches ``target``, started at ``price``.

    solve: the best structure at a price as its line, or None when there was no time to find one.
    """
    lines: list[Line] = []
    least = _NOTHING * (price or 1.0)

    def best(at: float) -> Line | None:
        line = solve(at)
        if line is not None:
            lines.append(line)
        return line and min(lines, key=lambda x: (x.cost(at), x.kg))

    line = best(price)
    if line is None:
        return BreakEven(None, "not worked out in the time given", solved=len(lines))
    margin = TIE * abs(target)
    if line.kg > 0.0 and abs(line.cost(price) - target) <= margin:
        return BreakEven(price, "", line.kg, len(lines))
    if line.cost(price) >= target - margin:  # too dear, or not used: go below the root
        price = max(least, line.root(target)) if line.kg > 0.0 else least
        line = best(price)
    for _ in range(_MOST):
        if line is None:
            return BreakEven(None, "not worked out in the time given", solved=len(lines))
        cost = line.cost(price)
        if cost > target + margin:  # only at the least price: no step leads below the root
            return BreakEven(None, "it would not tie even if the material cost nothing", line.kg, len(lines))
        if cost >= target - margin:
            return BreakEven(price, "", line.kg, len(lines))
        if line.kg <= 0.0:
            why = (
                "it stays ahead at any price: from some price on, the material is no longer in the best wall"
            )
            return BreakEven(None, why, 0.0, len(lines))
        price = line.root(target)
        line = best(price)
    return BreakEven(None, "not found in the steps allowed", solved=len(lines))
