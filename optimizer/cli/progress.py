"""How far the work is, on standard error, where somebody is likely to be waiting for it."""

from __future__ import annotations

import sys
import time
from types import TracebackType
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from optimizer.report.bar import Delayed, Waiting

#: Nothing is said before the work has taken this long [s].
PATIENCE = 2.0
#: Least time between two lines in a log [s].
PACE = 5.0


class Progress:
    """Call it with a line of text, or its ``step`` with numbers too. On a terminal one line is kept up to
    date, with the time since the start and what remains where that is known; elsewhere lines come seldom."""

    def __init__(self) -> None:
        self._start = time.monotonic()
        self._last = float("-inf")
        self._waiting: Waiting | None = None
        self._delayed: Delayed | None = None

    def __call__(self, text: str) -> None:
        if self._waiting is not None:
            self._waiting(text)
            return
        now = time.monotonic()
        if now - self._start > PATIENCE and now - self._last > PACE:
            self._write(text + "\n")
            self._last = now

    def step(self, done: int, total: int, text: str) -> None:
        """``done`` of ``total`` are done."""
        if self._waiting is not None:
            self._waiting.step(done, total, text)
        else:
            self(text)

    def __enter__(self) -> Progress:
        if sys.stderr.isatty():
            from optimizer.report.bar import Delayed, Waiting, can_show

            if can_show():
                self._waiting = Waiting()
                self._delayed = Delayed(self._waiting, PATIENCE)
                self._delayed.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._delayed is not None:
            self._delayed.stop()
        self._waiting = self._delayed = None

    @staticmethod
    def _write(text: str) -> None:
        try:
            sys.stderr.write(text)
            sys.stderr.flush()
        except OSError:
            pass
