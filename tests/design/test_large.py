"""The largest benchmark instances, proved a second way.

Nobody can list their 10^9 and more sequences. So the table is reduced to the materials of the best designs
and some others, down to a few thousand sequences, every one of which is closed singly: no zoning, no priced
walk takes part. The search must give the same answer on the reduced table, and the full table can only be
better.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
from benchmarks.family import SIZES, family

from optimizer.design.problem import Problem, Share
from optimizer.design.search import Search

GAP = 1e-3
LARGE = [name for name, size in SIZES.items() if size.slots == 9 and size.materials >= 40]


def reduced(problem: Problem, keep: Sequence[int]) -> Problem:
    """The problem with the materials ``keep`` alone."""
    index = list(keep)
    walls = tuple(
        replace(
            w,
            start=w.start[index],
            end=w.end[index],
            touching=w.touching[np.ix_(index, index)],
            least=w.least[index],
            most=w.most[index],
            rate=w.rate[index],
            fixed=None if w.fixed is None else w.fixed[index],
            shares=tuple(
                Share(s.name, tuple(s.content[i] for i in index), s.least, s.most) for s in w.shares
            ),
            keep=tuple(index.index(k) for k in w.keep),
        )
        for w in problem.walls
    )
    return replace(problem, materials=tuple(problem.materials[i] for i in index), walls=walls)


def chosen_materials(search: Search, problem: Problem, most: int) -> list[int]:
    """Materials of the best designs, best first, filled up from the front of the table, while the reduced
    problem keeps few enough sequences to list."""
    order: list[int] = []
    for choice in search.closing.designs():
        order += [m for s in choice.sequences for m in s]
    order += range(len(problem.materials))
    kept: list[int] = []
    for m in dict.fromkeys(order):
        if len(kept) < 14:
            trial = [*kept, m]
            if Search(reduced(problem, trial)).closing.all_sequences(most) is not None:
                kept = trial
    return sorted(kept)


@pytest.mark.slow
@pytest.mark.parametrize("name", LARGE)
def test_on_a_reduced_table_the_search_agrees_with_closing_every_sequence(name: str) -> None:
    problem = family(name, 1)
    whole = Search(problem)
    outcome = whole.run(gap=GAP, time_limit=300.0)
    assert outcome.status == "optimal" and outcome.best is not None
    small = reduced(problem, chosen_materials(whole, problem, 1500))

    listing = Search(small)
    listing.closing.begin(GAP, lambda: False)
    sequences = listing.closing.all_sequences(1500)
    assert sequences is not None and len(sequences) > 50
    bound = listing.closing.close_all(listing._screen_of(sequences))
    best = listing.closing.best

    answer = Search(small).run(gap=GAP, time_limit=300.0)
    assert best is not None and answer.best is not None and answer.status == "optimal"
    assert answer.bound <= best.objective * (1 + 1e-9) and bound <= answer.best.objective * (1 + 1e-9)
    assert outcome.bound <= best.objective * (1 + 1e-9)
    assert outcome.best.objective <= best.objective * (1 + GAP)
