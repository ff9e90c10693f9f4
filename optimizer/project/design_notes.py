"""What an answer of ``design`` must say about the rules it was found under."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from optimizer.catalog.bonding import BondingTable
from optimizer.design.options import DesignOptions
from optimizer.design.rules import layer_rules_of
from optimizer.physics.material import Material


def notes_on(options: DesignOptions, bonding: BondingTable) -> tuple[str, ...]:
    """Assumptions and cautions, one sentence or two for each rule that needs them."""
    rows: list[str] = []
    if options.minimise == "cost":
        rows += _cost(options)
    for name in options.inner_only:
        base = name.removesuffix(" regrind")
        rows.append(
            f"{name} has the permeability and density of {base} and counts as {base}: what barrier and tie "
            "resin it holds is left out, which is on the safe side for permeation."
        )
    if any(rule.counts == "recycled" for rule in options.shares):
        rows.append(
            "Recycled content is the share stated for each material. Regrind of the own line does not count "
            "(ISO 14021). Recycled plastic that touches food is under a law of its own."
        )
    for rule in options.shares:
        if rule.counts == "polymer":
            rows.append(
                f"For the mono-material rule everything of mostly {rule.of} counts: its tie resins, and "
                "coated webs with their coating. Whether a recycler takes the wall, its guideline decides."
            )
    if options.foil_free and not options.metal_free:
        rows.append("Metallised webs count as foil-free; 'metal_free' would leave them out too.")
    if options.food_contact:
        rows.append(
            "Food contact: the innermost layer is marked as listed. A grade needs its supplier's declaration "
            "of compliance for the food and its use, and local law decides."
        )
    if options.changes is not None:
        rows.append(
            "Layers exchanged, added or left out count as changed; another thickness does not, but another "
            "gauge of a web does."
        )
    if options.max_resins is not None:
        rows.append("Every different material of a wall counts as a resin with an extruder of its own.")
    unused = unusable(replace(options, foil_free=False, metal_free=False, halogen_free=False))
    if unused:
        rows.append(_no_place(options, unused, bonding))
    return tuple(rows)


def _cost(options: DesignOptions) -> list[str]:
    rows = []
    charged = list(dict.fromkeys(m.web or m.name for m in options.candidates if m.pass_cost))
    if charged:
        rows.append(f"The cost counts one pass for each layer of {', '.join(charged)}.")
    if options.scrap:
        rows.append(
            f"The objective counts {100 * options.scrap:g} % scrap: materials and passes cost "
            f"{1 / (1 - options.scrap):.4g} times as much. The cost of the prediction is without scrap."
        )
    return rows


def unusable(options: DesignOptions) -> list[Material]:
    """Candidates that no wall can hold, because nothing that they may lie beside leads to both surfaces."""
    rules = layer_rules_of(options)
    start = np.logical_and.reduce([r.start for r in rules])
    end = np.logical_and.reduce([r.end for r in rules])
    touching = np.logical_and.reduce([r.touching for r in rules])
    inner, outer = start.copy(), end.copy()
    for _ in range(options.max_layers - 1):
        inner |= touching[inner].any(axis=0)
        outer |= touching[:, outer].any(axis=1)
    usable = inner & outer
    names = {m.name for m, good in zip(options.candidates, usable, strict=True) if good}
    return [m for m in options.candidates if m.name not in names]


def _no_place(options: DesignOptions, unused: list[Material], bonding: BondingTable) -> str:
    names = list(dict.fromkeys(m.web or m.name for m in unused))
    text = f"In no wall of these candidates and rules: {', '.join(names)}."
    present = {m.family for m in options.candidates}
    ties: dict[str, None] = {}
    if options.touching is not None:
        for m in unused:
            for other in options.candidates:
                tie = bonding.tie(m.family, other.family)
                if tie is not None and tie not in present and other.family != m.family:
                    ties.setdefault(f"{m.web or m.name} holds to {other.name} through {tie}")
    return text + (f" {'; '.join(list(ties)[:3])}." if ties else "")
