"""Answer of ``explain``: one case worked by hand, step by step, beside the program's own answer."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import ClassVar

from optimizer.results import StageSpan
from optimizer.results_answer import Answer


@dataclass(frozen=True)
class ExplainStep:
    """One line of the calculation.

    equation: 'K = 1 / R', in symbols; substituted: '1 / 3.2e+12', its right side with the numbers put in:
    plain arithmetic of + - * / **, brackets, exp, ln and sqrt. Both are empty where a number is put in as it
    is: origin says from where (input: the project or the property table; constant; table: a steam table;
    program: worked out by the program, not written out here; simulation: from the run over time), and is
    'worked' otherwise. value is rounded as
    ``printed``; the next steps go on with that. symbols: symbol of the equation -> number of the step that it
    is from; uses: the same numbers. section: heading under which it stands.
    """

    number: int
    title: str
    equation: str
    substituted: str
    value: float
    printed: str
    unit: str
    uses: tuple[int, ...]
    remark: str
    origin: str
    section: str
    symbols: Mapping[str, int] = field(default_factory=dict)


@dataclass(frozen=True)
class ExplainResult(Answer):
    """method: 'closed form' (the hand calculation stands on its own) or 'given means' (mean pressures are
    taken from the simulation); method_reason: why. limit in limit_unit.

    program, compared, hand: what the program answers, what the hand calculation is compared with (the same,
    but with steady walls), and what comes out by hand, in answer_unit: days until the limit is reached, or
    the quantity of the limit after at_days. program is None where the limit is not reached with the
    program's own walls. difference: (hand - compared) / compared, or over the limit for a quantity; agrees:
    within tolerance. taken: what is from the simulation, and why.
    """

    title: str
    version: str
    inputs_sha256: str
    warnings: tuple[str, ...]
    assumptions: tuple[str, ...]
    sources: tuple[Mapping[str, str], ...]
    limit_name: str
    limit: float
    limit_unit: str
    gas: str
    method: str
    method_reason: str
    wall_model: str
    wall_reason: str
    answer_unit: str
    program: float | None
    compared: float
    hand: float
    difference: float
    tolerance: float
    agrees: bool
    at_days: float
    storage: tuple[StageSpan, ...]
    taken: tuple[str, ...]
    steps: tuple[ExplainStep, ...]
    command: str = "explain"

    main_table: ClassVar[str] = "steps"
    shown: ClassVar[tuple[str, ...]] = (
        "limit_name",
        "method",
        "answer_unit",
        "program",
        "hand",
        "difference",
    )
