"""Which limits and rules a structure has used up."""

from __future__ import annotations

from optimizer.design.options import DesignOptions
from optimizer.design.problem import Choice
from optimizer.results import PredictResult
from optimizer.shelflife.words import figure, limit_name

#: A limit counts as used up when no more than this share is left beyond the reserve [%], a rule within this
#: share of its value.
_LEFT, _NEAR = 2.0, 0.01


def held_by(options: DesignOptions, choice: Choice, predicted: PredictResult) -> tuple[str, ...]:
    """In words: limits with nothing left but the reserve, and the rules that keep more barrier out."""
    found = [
        f"the limit on {limit_name(x.name)}" + (f" of {x.wall}" if x.wall else "")
        for x in predicted.limits
        if x.margin_pct is not None and x.margin_pct <= 100.0 * options.reserve + _LEFT
    ]
    most = options.total_thickness[1]
    if most is not None and any(sum(t) >= most * (1.0 - _NEAR) for t in choice.thickness):
        found.append(f"total thickness at most {figure(most * 1e6)} um")
    for rule in options.shares:
        if rule.most < 1.0 and any(
            _share(options, rule.family, sequence, thickness) >= rule.most * (1.0 - _NEAR)
            for sequence, thickness in zip(choice.sequences, choice.thickness, strict=True)
        ):
            found.append(f"mass share of {rule.family} at most {figure(100.0 * rule.most)} %")
    if any(len(s) >= options.max_layers for s in choice.sequences):
        found.append(f"at most {options.max_layers} layers")
    layers = [
        (options.candidates[m], t)
        for sequence, thickness in zip(choice.sequences, choice.thickness, strict=True)
        for m, t in zip(sequence, thickness, strict=True)
    ]
    for material in dict.fromkeys(m for m, t in layers if t >= m.gauge[1] * (1.0 - _NEAR)):
        if not material.fixed_gauge:
            found.append(f"largest gauge of {material.name}, {figure(material.gauge[1] * 1e6)} um")
    return tuple(found)


def _share(
    options: DesignOptions, family: str, sequence: tuple[int, ...], thickness: tuple[float, ...]
) -> float:
    """Mass share of a family or material in a wall [-]."""
    masses = [options.candidates[m].density * t for m, t in zip(sequence, thickness, strict=True)]
    own = sum(
        mass
        for m, mass in zip(sequence, masses, strict=True)
        if family in (options.candidates[m].family, options.candidates[m].name)
    )
    return own / sum(masses)
