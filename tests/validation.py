"""Writes docs/validation.md from the register of published numbers: ``python tests/validation.py``."""

from __future__ import annotations

import math
from pathlib import Path

from published.registry import KINDS, Check, all_checks

PAGE = Path(__file__).parents[1] / "docs" / "validation.md"
#: Written by ``tests/benchmarks/bench_transient.py --write``.
COST = Path(__file__).parent / "benchmarks" / "transient_table.md"

HEAD = """\
# Validation: our numbers beside published ones

This page is written by `python tests/validation.py`; a test fails when it is out of date. Everything in the
columns *ours* and *difference* is computed by calling the library. The published numbers stand in
`tests/published/`, where `python -m pytest tests/published` checks them. A tolerance comes from the digits
printed, from how far sources differ among themselves, or from a simplification that the row names. A band is
met by any value inside it; the difference is then 0, otherwise it is the distance from the band.

What a number is:

{kinds}

{count} numbers in all; {published} of them are of the kind *published*, {disagrees} are known to disagree.

Not on this page, because no number is printed anywhere: comparisons with other libraries (saturation
pressure, molar masses, interpolation, quadrature, integration, meshes: in `tests/oracles/` and beside the
tests of each module) and laws that must hold whatever the numbers (`tests/theory/`).
"""


def number(value: float, digits: int = 5) -> str:
    """A number with so many significant digits, as people write it."""
    if value == 0.0:
        return "0"
    size = math.floor(math.log10(abs(value)))
    if -4 < size < 6:
        text = f"{value:.{max(digits - 1 - size, 0)}f}"
        return text.rstrip("0").rstrip(".") if "." in text else text
    mantissa, exponent = f"{value:.{digits - 1}e}".split("e")
    mantissa = mantissa.rstrip("0").rstrip(".") if "." in mantissa else mantissa
    return f"{mantissa}e{int(exponent)}"


def difference(check: Check, ours: float) -> str:
    """Rounded to a hundredth of the tolerance, so that rounding noise is not shown."""
    step = 10.0 ** (math.floor(math.log10(check.tolerance)) - 2)
    value = round(check.difference(ours) / step) * step
    return (
        "0" if abs(value) < 0.5 * step else f"{'+' if value > 0 else ''}{number(value, 4)}{_percent(check)}"
    )


def _percent(check: Check) -> str:
    return " %" if check.percent else ""


def row(check: Check) -> str:
    ours = check.compute()
    published = check.published
    if isinstance(published, tuple):
        printed = " to ".join(number(v, 9) for v in published)
    else:
        printed = number(published, 9)
    cells = (
        check.what,
        check.source,
        check.kind,
        printed,
        number(ours),
        check.unit,
        difference(check, ours),
        f"{number(check.tolerance)}{_percent(check)}",
    )
    return "| " + " | ".join(c.replace("|", "/") for c in cells) + " |"


def page() -> str:
    checks = all_checks()
    parts = [
        HEAD.format(
            kinds="\n".join(f"* **{k}**: {text}." for k, text in KINDS.items()),
            count=len(checks),
            published=sum(c.kind == "published" for c in checks),
            disagrees=sum(c.kind == "disagrees" for c in checks),
        )
    ]
    columns = ("what", "source", "kind", "published", "ours", "unit", "difference", "tolerance")
    for topic in dict.fromkeys(c.topic for c in checks):
        lines = [f"## {topic}", "", "| " + " | ".join(columns) + " |", "|" + " --- |" * len(columns)]
        lines += [row(c) for c in checks if c.topic == topic]
        parts.append("\n".join(lines) + "\n")
    if COST.is_file():
        parts.append(COST.read_text(encoding="utf-8"))
    return "\n".join(parts)


if __name__ == "__main__":
    PAGE.write_text(page(), encoding="utf-8")
    print(PAGE)
