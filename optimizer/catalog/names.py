"""How names are compared."""

from __future__ import annotations


def key_of(name: str) -> str:
    """Names are compared without case and with single blanks."""
    return " ".join(name.casefold().split())
