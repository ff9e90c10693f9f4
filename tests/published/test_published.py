"""Every number of the register is met within the tolerance stated beside it."""

from __future__ import annotations

import pytest

from published.registry import KINDS, Check, all_checks

CHECKS = all_checks()
HOLDS = [c for c in CHECKS if c.kind != "disagrees"]
DISAGREES = [c for c in CHECKS if c.kind == "disagrees"]


@pytest.mark.parametrize("check", HOLDS, ids=lambda c: c.id)
def test_ours_is_within_tolerance_of_the_published_number(check: Check) -> None:
    ours = check.compute()
    assert check.holds(ours), (
        f"{check.what}: {ours!r} {check.unit}, {check.source}: {check.published!r}, "
        f"off by {check.difference(ours):.4g}{' %' if check.percent else ''}"
    )


@pytest.mark.parametrize("check", DISAGREES, ids=lambda c: c.id)
def test_a_known_disagreement_is_still_one(check: Check) -> None:
    """When it is mended, the check belongs among those that hold."""
    assert not check.holds(check.compute())


@pytest.mark.parametrize("check", HOLDS, ids=lambda c: c.id)
def test_a_wrong_number_would_be_noticed(check: Check) -> None:
    """Half as much and twice as much fail: no tolerance is so wide that the check cannot fail."""
    low, high = check.published if isinstance(check.published, tuple) else (check.published,) * 2
    assert not check.holds(0.5 * low)
    assert not check.holds(2.0 * high)


def test_at_least_forty_numbers_are_printed_outside_this_project() -> None:
    assert sum(c.kind == "published" for c in CHECKS) >= 40
    assert {c.kind for c in CHECKS} <= set(KINDS)
    assert all(c.source and c.unit for c in CHECKS)
