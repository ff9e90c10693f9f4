"""What a list of materials says of one: facts and prices, not permeabilities."""

from __future__ import annotations

import re
from typing import Literal

from pydantic import BaseModel, ConfigDict

from optimizer.catalog.cells import (
    AreaPrice,
    Contents,
    Density,
    Fraction,
    Grammage,
    Length,
    Lengths,
    Name,
    Names,
    Price,
    Roles,
    Temperature,
)
from optimizer.catalog.tables import Row
from optimizer.errors import Problem

#: What says yes or no by itself; any other text has to name the rule or the declaration that a yes rests on.
_WORDS = {"yes": True, "true": True, "no": False, "false": False}
#: Words of denial and of waiting: a text that holds one is no yes, whatever it names beside it.
_DENYING = """
    no not non none never without n/a na nor neither except excluding lacks lacking missing
    refused rejected denied failed fails forbidden prohibited unlisted unapproved noncompliant unsuitable
    pending awaiting awaited waiting review request requested confirm confirmed confirmation silent expected
    planned draft open unknown unclear tbc tbd tba expired withdrawn revoked suspended
"""
DENIALS = frozenset(_DENYING.split())
_SINGLE = re.compile(r"n/a|[^\W\d_]+")
_PLAIN_NUMBER = re.compile(r"[-+]?[\d.,]+\s*%?")

#: Columns that say how thick one layer is; a nearer row that gives one of them replaces the others.
THICKNESS_COLUMNS = frozenset({"gauge_min", "gauge_max", "gauges", "coat_weight"})


def may_touch_food(text: str) -> bool | None:
    """What a user's text on contact with food says; None where it says neither, and must not count as yes.

    A text is a yes only if it holds a digit, as the number of a rule or a declaration does ('EU 10/2011'),
    and no word of denial or waiting; a number alone is none.
    """
    plain = text.strip().lower().replace("\N{RIGHT SINGLE QUOTATION MARK}", "'")
    if plain in _WORDS:
        return _WORDS[plain]
    numbered = any(c.isdigit() for c in plain) and not _PLAIN_NUMBER.fullmatch(plain)
    denied = "n't" in plain or not DENIALS.isdisjoint(_SINGLE.findall(plain))
    return True if numbered and not denied else None


class Record(BaseModel):
    """Base of the rows. Unknown columns are errors; nothing changes after reading."""

    model_config = ConfigDict(
        frozen=True, extra="forbid", validate_default=True, arbitrary_types_allowed=True
    )


class PolymerRecord(Record):
    """A material's name, family, density [kg/m3], gauge [m], roles, glass transition [K], price per mass or
    per area, and the facts that rules of a design ask for.

    gauges [m]: those in which a web is bought. coat_weight [kg/m2]: of an adhesive or a coating, instead of a
    gauge. pass_cost: per area of each layer. recycled_content [-]. contains: of foil, metallising, halogen;
    None if nothing is said. contact_layer: whether rules list the generic polymer for direct food contact;
    food_contact: their names, or the user's own word (see ``may_touch_food``). carrier: families that a
    coating lies on.
    """

    name: Name
    aliases: Names = ()
    family: str = ""
    density: Density = None
    density_low: Density = None
    density_high: Density = None
    density_source: str = ""
    gauge_min: Length = None
    gauge_max: Length = None
    gauge_source: str = ""
    gauges: Lengths = ()
    coat_weight: Grammage = None
    roles: Roles = frozenset()
    carrier: Names = ()
    glass_transition: Temperature = None
    recycling_family: str = ""
    contains: Contents = None
    contact_layer: Literal["", "yes", "no"] = ""
    food_contact: str = ""
    recycled_content: Fraction = None
    price: Price = None
    pass_cost: AreaPrice = None
    note: str = ""

    def problems(self, row: Row) -> list[Problem]:
        """What is wrong between the cells of the row."""
        found = []
        if self.density is not None and not 100.0 <= self.density <= 20000.0:
            found.append(
                row.problem("density", "no packaging material has such a density", hint="e.g. 0.92 g/cm3")
            )
        for column, price in (("price", self.price), ("pass_cost", self.pass_cost)):
            if price is not None and price.value < 0:
                found.append(row.problem(column, "a price must not be negative"))
        return found + self._thickness_problems(row) + self._other_problems(row)

    def _thickness_problems(self, row: Row) -> list[Problem]:
        found = []
        if self.gauge_min is not None and self.gauge_min <= 0:
            found.append(row.problem("gauge_min", "a gauge must be positive"))
        if self.gauge_min is not None and self.gauge_max is not None and self.gauge_min > self.gauge_max:
            found.append(row.problem("gauge_max", "the largest gauge is below the smallest"))
        if any(gauge <= 0 for gauge in self.gauges):
            found.append(row.problem("gauges", "a gauge must be positive"))
        if len(set(self.gauges)) < len(self.gauges):
            found.append(row.problem("gauges", "a gauge stands there twice"))
        if self.coat_weight is not None and self.coat_weight <= 0:
            found.append(row.problem("coat_weight", "a coat weight must be positive"))
        ranged = self.gauge_min is not None or self.gauge_max is not None
        given = {"gauge": ranged, "gauges": bool(self.gauges), "coat_weight": self.coat_weight is not None}
        named = [name for name, present in given.items() if present]
        if len(named) > 1:
            found.append(
                row.problem(named[-1], f"cannot stand beside {named[0]}", hint="keep one: it sets the other")
            )
        return found

    def _other_problems(self, row: Row) -> list[Problem]:
        found = []
        if self.recycled_content is not None and not 0.0 <= self.recycled_content <= 1.0:
            found.append(row.problem("recycled_content", "is out of range", hint="from 0 % to 100 %"))
        if self.food_contact and may_touch_food(self.food_contact) is None:
            found.append(
                row.problem(
                    "food_contact",
                    f"{self.food_contact!r} does not say whether the grade may touch food",
                    hint="write true or false, or the number of the rule or declaration that a yes rests on, "
                    "such as 'EU 10/2011'; a restriction goes into the note",
                )
            )
        if self.carrier and self.roles and "coating" not in self.roles:
            found.append(
                row.problem("carrier", "only a coating lies on a carrier", hint="add 'coating' to its roles")
            )
        prices = [p for p in (self.price, self.pass_cost) if p is not None]
        if len({p.currency for p in prices}) > 1:
            found.append(
                row.problem(
                    "pass_cost",
                    "is in another currency than the price",
                    hint=f"give it in {prices[0].currency}",
                )
            )
        return found
