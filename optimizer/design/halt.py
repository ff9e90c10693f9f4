"""When to end a search early: the caller says so, or the memory in use has reached its limit.

The search asks between its steps. Time is kept by the search itself.
"""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

Stop = Callable[[], bool]

INTERRUPT, MEMORY, TIME = "interrupt", "memory", "time"
#: Not ended from outside: the limits, taken anew at each design, kept moving.
UNSETTLED = "unsettled"

#: Least time between two looks at the memory in use [s]; a look costs some microseconds.
_PACE = 0.05


class Halt:
    """Call it: True once the work must end. ``reason`` then says why: 'interrupt' (``stop`` said so) or
    'memory' (more than ``memory_limit`` [bytes] resident)."""

    def __init__(self, stop: Stop | None = None, memory_limit: float | None = None) -> None:
        self._stop = stop or (lambda: False)
        self._limit = memory_limit
        self._looked = float("-inf")
        self.reason: str | None = None

    def __call__(self) -> bool:
        if self.reason is None and self._stop():
            self.reason = INTERRUPT
        if self.reason is None and self._limit is not None and time.monotonic() - self._looked > _PACE:
            self._looked = time.monotonic()
            used = memory_in_use()
            if used is not None and used > self._limit:
                self.reason = MEMORY
        return self.reason is not None


def memory_in_use() -> int | None:
    """Resident memory of this process [bytes] (where only the largest so far is told, that), or None where
    it cannot be measured."""
    with suppress(OSError, ValueError, IndexError, AttributeError):
        pages = Path("/proc/self/statm").read_text(encoding="ascii").split()[1]
        return int(pages) * os.sysconf("SC_PAGE_SIZE")
    with suppress(ImportError):
        import resource

        unit = 1 if sys.platform == "darwin" else 1024
        return int(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss) * unit
    return None
