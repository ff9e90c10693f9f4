"""Offers in a project: which candidate each replaces, at which price in the project's currency."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from optimizer.catalog.names import key_of
from optimizer.catalog.offered import offered_material
from optimizer.catalog.offers import Offer, offers_and_problems
from optimizer.catalog.sheet import SheetRow
from optimizer.design.contender import Contender, PriceTag, exchanged
from optimizer.design.options import DesignOptions
from optimizer.errors import InputError, MaterialError, Problem
from optimizer.physics.material import Material
from optimizer.project.load import Project
from optimizer.project.reader import Contents
from optimizer.shelflife.words import listed
from optimizer.uncertainty.sources import BETWEEN_LABORATORIES

#: What the project as it is is called among the offers.
AS_IT_IS = "project as it is"
_RATE = re.compile(r"\s*([A-Z]{3})\s*=\s*(\d+(?:\.\d*)?|\.\d+)\s*([A-Z]{3})\s*")
#: No currency costs more of another than this; its order of size is common practice, no source.
_DEAREST = 1e9


@dataclass(frozen=True)
class Offers:
    """contenders: the project as it is, then every offer. rates: 'USD/EUR' -> EUR for one USD, those that
    were given. sha256: of the project and the sheet. warnings: about the offers as a whole."""

    contenders: tuple[Contender, ...]
    rates: Mapping[str, float]
    sha256: str
    warnings: tuple[str, ...] = ()


def load_offers(project: Project, path: str | Path, rates: Sequence[str] = ()) -> Offers:
    """Read the sheet at ``path`` (CSV or .xlsx) for a project with a ``design`` section.

    rates: exchange rates as 'USD=0.92 EUR'. Raises InputError with every problem of the sheet.
    """
    if project.design is None:
        hint = "add design: {walls: [...], minimise: cost, choose_from: [...]}"
        raise InputError(Problem("the project has no design section", str(project.path), hint=hint))
    path = Path(path)
    known = read_rates(rates)
    contents = Contents()
    offers, unread, problems = offers_and_problems(path, contents.read)
    binder = _Binder(project, project.design, known, offers)
    contenders = [binder.contender(offer) for offer in offers]
    for broken in unread:
        binder.indices(broken.material, broken.row)
    problems += binder.problems
    if problems:
        raise InputError(list(dict.fromkeys(problems)))
    made = tuple(c for c in contenders if c is not None)
    digest = hashlib.sha256(project.sha256.encode() + contents.read(path)).hexdigest()
    return Offers(
        (binder.baseline(made), *made), {f"{a}/{b}": rate for (a, b), rate in known.items()}, digest
    )


def read_rates(texts: Iterable[str]) -> dict[tuple[str, str], float]:
    """'USD=0.92 EUR' -> {('USD', 'EUR'): 0.92}. Raises InputError."""
    found: dict[tuple[str, str], float] = {}
    problems = []
    for text in texts:
        match = _RATE.fullmatch(text)
        if match is None or not 0.0 < float(match[2]) <= _DEAREST or match[1] == match[3]:
            hint = "write what one unit costs, such as 'USD=0.92 EUR'"
            problems.append(Problem(f"{text!r} is no exchange rate", field="--rate", hint=hint))
            continue
        key = match[1], match[3]
        if key in found or (key[1], key[0]) in found:
            problems.append(
                Problem(f"two rates between {key[0]} and {key[1]}", field="--rate", hint="keep one")
            )
        found[key] = float(match[2])
    if problems:
        raise InputError(problems)
    return found


class _Binder:
    def __init__(
        self,
        project: Project,
        options: DesignOptions,
        rates: Mapping[tuple[str, str], float],
        offers: Sequence[Offer],
    ) -> None:
        self.project, self.options, self.rates, self.offers = project, options, rates, offers
        self.problems: list[Problem] = []
        priced = (m.currency for m in options.candidates if m.price is not None)
        offered = (o.facts.price.currency for o in offers if o.facts.price)
        self.currency = next(priced, "") or next(offered, "")

    def baseline(self, others: Sequence[Contender]) -> Contender:
        """The project as it is; its material is that of the offers, where they all replace the same."""
        replaced = {c.replaced for c in others}
        material, tag = "", None
        indices: tuple[int, ...] = ()
        if len(replaced) == 1:
            indices, material = others[0].replaced, others[0].material
            price = self.options.candidates[indices[0]].price
            tag = None if price is None else PriceTag(price, f"{self.currency}/kg", 1.0)
        case = self.project.case
        return Contender(AS_IT_IS, AS_IT_IS, material, "", indices, case, self.options, tag, {}, True)

    def contender(self, offer: Offer) -> Contender | None:
        before = len(self.problems)
        indices = self.indices(offer.material, offer.row)
        if not indices:
            return None
        bases = {i: self.options.candidates[i] for i in indices}
        self._check_gauge(offer, list(bases.values()))
        if len(self.problems) > before:
            return None
        made = {i: self._material(offer, base) for i, base in bases.items()}
        tag = self._price(offer, list(made.values()))
        self._check_roles(offer, made)
        if len(self.problems) > before:
            return None
        if tag is not None:
            made = {i: replace(m, price=tag.per_kg, currency=self.currency) for i, m in made.items()}
        candidates = tuple(made.get(i, m) for i, m in enumerate(self.options.candidates))
        options = replace(
            self.options, candidates=candidates, touching=self._touching(offer, candidates, indices)
        )
        case = self.project.case
        named = {m.name: m for m in made.values()}
        for wall in case.package.walls.values():
            for layer in wall.layers:  # a web that is a candidate in some of its gauges only
                base = layer.material
                if base.name not in named and (base.web or base.name) in {m.web for m in bases.values()} - {
                    ""
                }:
                    other = self._material(offer, base)
                    named[base.name] = (
                        replace(other, price=tag.per_kg, currency=self.currency) if tag else other
                    )
        material = bases[indices[0]].web or bases[indices[0]].name
        return Contender(
            name=self._name(offer),
            supplier=offer.supplier,
            material=material,
            grade=offer.grade,
            replaced=indices,
            case=replace(case, package=exchanged(case.package, named)),
            options=options,
            price=tag,
            stated={
                r.gas: offer.spread.get(r.gas, offer.spread.get("", BETWEEN_LABORATORIES))
                for _, r in offer.permeability
            },
            unpriced=offer.facts.price is None and tag is not None,
        )

    def _material(self, offer: Offer, base: Material) -> Material:
        return offered_material(self.project.catalog, base, offer)

    def _name(self, offer: Offer) -> str:
        """Supplier, with as much more as tells it from the others."""
        name = f"{offer.supplier} {offer.grade}".strip()
        same = [o for o in self.offers if key_of(f"{o.supplier} {o.grade}") == key_of(name)]
        return f"{name} for {offer.material}" if len(same) > 1 else name

    # -- what it replaces ------------------------------------------------------------------------------------

    def indices(self, material: str, row: SheetRow) -> tuple[int, ...]:
        """Candidates that an offer for ``material`` replaces: those of the name, in every gauge."""
        candidates = self.options.candidates
        wanted = {key_of(material)}
        try:
            wanted.add(key_of(self.project.catalog.resolve(material)))
            unknown = None
        except MaterialError as error:
            unknown = error
        found = tuple(i for i, m in enumerate(candidates) if {key_of(m.name), key_of(m.web)} & wanted)
        if found:
            return found
        if unknown is not None:
            self.problems.append(row.problem("material", unknown.message, hint=unknown.hint))
        else:
            names = listed(list(dict.fromkeys(m.web or m.name for m in candidates)))
            message = f"'{material}' is not among the materials to choose from"
            self.problems.append(row.problem("material", message, hint=f"design.choose_from has {names}"))
        return ()

    def _check_gauge(self, offer: Offer, bases: Sequence[Material]) -> None:
        given = [name for name in ("gauge_min", "gauge_max") if name in offer.stated]
        if given and (len(bases) > 1 or bases[0].gauges):
            hint = "leave the gauges of the offer empty; those of the project hold"
            self.problems.append(self._at(offer, given[0], "this material is bought in several gauges", hint))
        low = offer.facts.gauge_min or bases[0].gauge[0]
        if offer.facts.gauge_max is not None and offer.facts.gauge_max < low:
            message = f"is below the least gauge of the project, {low * 1e6:g} um"
            self.problems.append(self._at(offer, "gauge_max", message, "give min_gauge as well"))

    def _check_roles(self, offer: Offer, made: Mapping[int, Material]) -> None:
        if "roles" not in offer.stated:
            return
        candidates = [made.get(i, m) for i, m in enumerate(self.options.candidates)]
        for role in (self.options.inside_role, self.options.outside_role):
            if role is not None and not any(role in m.roles for m in candidates):
                message = f"with these roles no material to choose from is a '{role}' layer"
                self.problems.append(
                    self._at(offer, "roles", message, f"add {role}, or leave the cell empty")
                )

    def _touching(
        self, offer: Offer, candidates: Sequence[Material], indices: Sequence[int]
    ) -> frozenset[tuple[str, str]] | None:
        """Who may touch whom; asked anew where the offer is of another family."""
        kept = self.options.touching
        if kept is None or "family" not in offer.stated:
            return kept
        names = {candidates[i].name for i in indices}
        bonding = self.project.catalog.bonding
        anew = {
            (a.name, b.name)
            for a in candidates
            for b in candidates
            if {a.name, b.name} & names and bonding.may_touch(a.family, b.family)
        }
        return frozenset({pair for pair in kept if not names & set(pair)} | anew)

    # -- what it costs ---------------------------------------------------------------------------------------

    def _price(self, offer: Offer, made: Sequence[Material]) -> PriceTag | None:
        """The price per kg in the project's currency. Where none is offered and the cost is minimised, that
        of the material replaced: the search for the price to tie starts there."""
        price = offer.facts.price
        if price is None:
            start = made[0].price if self.options.minimise == "cost" else None
            return None if start is None else PriceTag(start, f"{self.currency}/kg", 1.0)
        rate = self._rate(price.currency)
        if rate is None:
            hint = f"add --rate '{price.currency}=... {self.currency}' with the rate of the day"
            message = f"the price is in {price.currency}, the project in {self.currency}"
            self.problems.append(self._at(offer, "price", message, hint))
            return None
        factor = price.value / price.number if price.number else 1.0
        if price.kind == "price per area":
            gauge = made[0].gauge
            if len(made) > 1 or gauge[0] != gauge[1]:
                hint = "give it per kg, or the same min_gauge and max_gauge"
                self.problems.append(self._at(offer, "price", "a price per m2 needs one fixed gauge", hint))
                return None
            factor /= made[0].density * gauge[0]
        return PriceTag(price.number, price.unit, factor * rate)

    def _rate(self, currency: str) -> float | None:
        if currency == self.currency:
            return 1.0
        if (currency, self.currency) in self.rates:
            return self.rates[currency, self.currency]
        if (self.currency, currency) in self.rates:
            return 1.0 / self.rates[self.currency, currency]
        return None

    def _at(self, offer: Offer, name: str, message: str, hint: str) -> Problem:
        return offer.facts_row.problem(name, message, hint=hint)
