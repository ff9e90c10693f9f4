"""Sentences of a result in the units of a page: JSON keeps the metric ones, so pages are given a copy.

Only the fields listed here hold sentences of the program. What others wrote stays as it is: names, sources,
and values quoted as they were given.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from dataclasses import fields, replace
from typing import Any, TypeVar, cast

from optimizer.units.systems import System

T = TypeVar("T")

#: class of a result, or of a part of it -> its sentences, alone or in tuples.
_SAID: Mapping[str, tuple[str, ...]] = {
    "PredictResult": ("warnings", "assumptions", "cautions", "wall_reason"),
    "LimitOutcome": ("note",),
    "UncertaintyResult": ("notes",),
    "SpreadNote": ("name", "origin"),
    "Influence": ("name",),
    "DesignResult": ("warnings", "assumptions", "conflict", "nearest", "binding_notes"),
    "Binding": ("name", "unit", "tighter", "note"),
    "CheckResult": ("warnings", "assumptions"),
    "Change": ("what", "baseline", "now"),
    "CompareResult": ("warnings", "assumptions", "cautions"),
    "OfferOutcome": ("break_even_note", "conflict", "nearest"),
    "TradeoffResult": (
        *("warnings", "assumptions", "cautions"),
        *("longest_because", "conflict", "nearest"),
    ),
    "Kink": ("change",),
    "ExplainResult": ("warnings", "assumptions", "method_reason", "wall_reason", "taken"),
    "GeometryResult": ("warnings", "assumptions", "up_reason", "repairs"),
    "ThicknessFound": ("method",),
}
#: Likewise of groups without a class: rows of geometry, the lightest that passes, a confidence.
_SAID_IN_GROUPS = frozenset({"thickness_method", "worst_tenth_place", "note", "notes"})
#: Changes of values that are quoted as their source or the project prints them.
_QUOTED = re.compile(r"(?:outer pack, )?(?:material .* permeability|limit \S+ transmission of .*)")

#: Fields and keys that hold names given by the user, in results and in project files.
_NAMES = frozenset(
    {"title", "material", "part", "wall", "stage", "supplier", "grade", "rival", "body", "name", "web"}
)
#: Groups whose keys are such names, in results; in a project file all keys may be.
_NAMED = frozenset({"structure", "before", "after", "walls", "mass_by_material_g"})
#: Fields that hold such a name, or a source as the user calls it, in these classes only.
_NAMES_OF = frozenset({("OfferOutcome", "name"), ("BodyFound", "name"), ("SpreadNote", "source")})


def told(result: T, units: System, names: Collection[str] = ()) -> T:
    """The result with its sentences in the units shown. names: given by the user and not in the result,
    such as those of candidates that were not chosen."""
    if not units.table:
        return result
    own = frozenset((*names, *_named(result)))
    return cast(T, _retold(result, lambda text: units.text(text, own)))


def names_in(data: Any) -> Iterator[str]:
    """Names in the plain contents of a project file: keys, texts in lists, and what stands under a key that
    names a thing."""
    if isinstance(data, Mapping):
        for key, value in data.items():
            yield str(key)
            if key in _NAMES and isinstance(value, str):
                yield value
            yield from names_in(value)
    elif isinstance(data, list | tuple):
        for value in data:
            if isinstance(value, str):
                yield value
            yield from names_in(value)


def _named(value: Any) -> Iterator[str]:
    """Names in a result."""
    for key, item in _items(value):
        if isinstance(item, str):
            if (key in _NAMES and key != "name") or (type(value).__name__, key) in _NAMES_OF:
                yield item
        elif isinstance(item, Mapping) and key in _NAMED:
            yield from item
        if key != "time_series":
            for inner in _within(item):
                yield from _named(inner)


def _items(value: Any) -> Iterable[tuple[str, Any]]:
    if isinstance(value, Mapping):
        return value.items()
    return ((f.name, getattr(value, f.name)) for f in fields(value))


def _within(item: Any) -> Iterator[Any]:
    """The parts with fields or keys of their own."""
    if isinstance(item, tuple | list):
        if item and not isinstance(item[0], str | float | int):
            for inner in item:
                yield from _within(inner)
    elif isinstance(item, Mapping) or hasattr(item, "__dataclass_fields__"):
        yield item


def _retold(value: Any, say: Callable[[str], str]) -> Any:
    if isinstance(value, tuple | list):
        if not value or isinstance(value[0], str | float | int):
            return value
        return type(value)(_retold(item, say) for item in value)
    if isinstance(value, Mapping):
        return {k: _said(v, say) if k in _SAID_IN_GROUPS else _retold(v, say) for k, v in value.items()}
    if not hasattr(value, "__dataclass_fields__"):
        return value
    kind = type(value).__name__
    said = _SAID.get(kind, ())
    if kind == "Change" and _QUOTED.fullmatch(value.what):
        said = ("what",)
    now = {
        name: _said(item, say) if name in said else _retold(item, say)
        for name, item in _items(value)
        if name not in ("sources", "time_series")
    }
    return replace(value, **now)


def _said(item: Any, say: Callable[[str], str]) -> Any:
    if isinstance(item, str):
        return say(item)
    return type(item)(map(say, item)) if isinstance(item, tuple | list) else item
