"""How those who do long work tell those who wait for it how far they are.

A listener is called with one line of text. One that also has ``step(done, total, text)`` is told numbers
where the producer knows them, so that it can say what remains.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

Listener = Callable[[str], Any]


def step(listener: Listener, done: int, total: int, text: str) -> None:
    """``done`` of ``total`` are done; ``text`` for a listener that takes nothing else."""
    tell = getattr(listener, "step", None)
    if tell is None:
        listener(text)
    else:
        tell(done, total, text)
