"""Which families of material hold when they touch in one wall."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from optimizer.catalog.records import BondRecord


def _pair(a: str, b: str) -> tuple[str, str]:
    return (a, b) if a <= b else (b, a)


@dataclass(frozen=True)
class BondingTable:
    """Pairs of families. The order of a pair does not matter; a pair that is not listed does not hold."""

    pairs: Mapping[tuple[str, str], BondRecord] = field(repr=False)

    @classmethod
    def of(cls, records: Iterable[BondRecord]) -> BondingTable:
        return cls({_pair(r.family_a, r.family_b): r for r in records})

    def entry(self, family_a: str, family_b: str) -> BondRecord | None:
        """The line of the table for this pair, None when it is not listed."""
        return self.pairs.get(_pair(family_a, family_b))

    def may_touch(self, family_a: str, family_b: str) -> bool:
        """True when the two families hold without anything between them."""
        entry = self.entry(family_a, family_b)
        return entry is not None and entry.bonds == "yes"

    def tie(self, family_a: str, family_b: str) -> str | None:
        """Family of the tie or adhesive that joins the two; None when none is needed or none is known.

        Two families that both hold to the adhesive are joined by it when the table names nothing better.
        """
        entry = self.entry(family_a, family_b)
        if entry is not None and entry.bonds == "tie":
            return entry.by
        if entry is not None and entry.bonds == "yes":
            return None
        middle = [f for f in ("tie PE", "tie PP", "adhesive") if f not in (family_a, family_b)]
        return next((f for f in middle if self.may_touch(family_a, f) and self.may_touch(f, family_b)), None)

    @property
    def families(self) -> frozenset[str]:
        """Every family that the table names."""
        return frozenset(name for pair in self.pairs for name in pair)
