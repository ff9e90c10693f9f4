"""Nearest known words, for 'did you mean'."""

from __future__ import annotations

from collections.abc import Iterable
from difflib import get_close_matches


def nearest(word: str, known: Iterable[str], most: int = 3) -> list[str]:
    """Known words that look like ``word``, best first; case, spaces, - and _ do not count."""
    by_form: dict[str, str] = {}
    for name in known:
        by_form.setdefault(_form(name), name)
    return [by_form[f] for f in get_close_matches(_form(word), list(by_form), n=most, cutoff=0.6)]


def did_you_mean(word: str, known: Iterable[str], otherwise: str = "known") -> str:
    """'did you mean 'HDPE'?' or, when nothing is near, the list of known words (at most 12)."""
    words = list(dict.fromkeys(known))
    near = nearest(word, words)
    if near:
        return "did you mean " + " or ".join(f"'{n}'" for n in near[:2]) + "?"
    if not words:
        return ""
    more = f" and {len(words) - 12} more" if len(words) > 12 else ""
    return f"{otherwise}: " + ", ".join(words[:12]) + more


def _form(word: str) -> str:
    return "".join(c for c in word.lower() if c not in " -_")
