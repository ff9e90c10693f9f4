"""One line on standard error that says how far a long work is; nothing where nobody looks."""

from __future__ import annotations

import io
import os
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager, suppress
from typing import IO, TYPE_CHECKING, Any, cast

if TYPE_CHECKING:
    from rich.text import Text

#: Characters of the bar, and the columns below which there is none.
_BAR, _ROOM = 20, 60
#: Least time that an estimate of what remains rests on [s].
_SEEN = 1.0


class Waiting:
    """What is said while somebody waits: text, time since the start, bar and remaining time where known.

    ``shown`` is the line. clock: seconds that grow."""

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._start = clock()
        self._text = "working"
        self._done = self._total = self._first = 0
        self._since = self._start

    def __call__(self, text: str) -> None:
        self._text = text

    def step(self, done: int, total: int, text: str) -> None:
        """``done`` of ``total``; a new count when there is another total or fewer are done."""
        if total != self._total or done < self._done:
            self._first, self._since = done, self._clock()
        self._done, self._total, self._text = done, total, text

    def remaining(self) -> float | None:
        """Seconds that the rest takes at the pace so far; None where that cannot be told."""
        seconds, count = self._clock() - self._since, self._done - self._first
        if seconds < _SEEN or count <= 0 or self._done >= self._total:
            return None
        return seconds / count * (self._total - self._done)

    def line(self, width: int) -> str:
        """'0:12  [#######.............]  about 0:20 left  64 of 192 samples simulated', as much as fits."""
        left = self.remaining()
        parts = [_clocked(int(self._clock() - self._start))]
        if 0 <= self._done < self._total and width >= _ROOM:
            full = _BAR * self._done // self._total
            parts.append(f"[{'#' * full}{'.' * (_BAR - full)}]")
        if left is not None:
            parts.append(f"about {_clocked(round(left))} left")
        printable = "".join(c if c.isprintable() else " " for c in self._text)
        return "  ".join([*parts, printable])

    def shown(self, width: int) -> Text:
        """The line in at most ``width`` columns."""
        from rich.text import Text

        text = Text(self.line(width), no_wrap=True)
        text.truncate(max(1, width - 1), overflow="ellipsis")
        return text


def _clocked(seconds: int) -> str:
    """'0:07', '12:34', '1:02:03'."""
    minutes, rest = divmod(seconds, 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours}:{minutes:02d}:{rest:02d}" if hours else f"{minutes}:{rest:02d}"


class _Stream(io.TextIOBase):
    """Standard error as it is now, made before the work begins: a solver may put a pipe in its place for a
    moment, and waits for ever where that is kept open here. Nobody is told that it is gone."""

    def __init__(self) -> None:
        self._own: IO[str] | None = None
        with suppress(OSError, ValueError, AttributeError):  # no real file behind standard error
            number = os.dup(sys.stderr.fileno())
            self._own = open(number, "w", encoding=sys.stderr.encoding, errors="replace")  # noqa: SIM115
        self._to: Any = self._own or sys.stderr

    @property
    def encoding(self) -> str:  # type: ignore[override]
        return str(getattr(self._to, "encoding", None) or "utf-8")

    def write(self, text: str) -> int:
        with suppress(OSError, ValueError):
            self._to.write(text)
        return len(text)

    def flush(self) -> None:
        with suppress(OSError, ValueError):
            self._to.flush()

    def close(self) -> None:
        if self._own is not None:
            with suppress(OSError):
                self._own.close()
        super().close()


@contextmanager
def shown(waiting: Waiting, stream: _Stream) -> Iterator[None]:
    """Keep its line at the foot of the terminal, four times a second anew, and wipe it at the end."""
    from rich.console import Console
    from rich.live import Live

    class Foot(Console):
        def show_cursor(self, show: bool = True) -> bool:
            """Never hidden: a process that ends at once could not show it again."""
            return False

    console = Foot(file=cast("IO[str]", stream), force_terminal=True, color_system=None, highlight=False)
    live = Live(
        get_renderable=lambda: waiting.shown(console.width),
        console=console,
        transient=True,
        refresh_per_second=4,
        redirect_stdout=False,
        redirect_stderr=False,
    )
    with live:
        yield


def can_show() -> bool:
    """Whether standard error is a terminal that can go back on its line."""
    return sys.stderr.isatty() and os.environ.get("TERM", "") not in ("dumb", "unknown")


class Delayed:
    """Shows the line only once the work has taken ``patience`` seconds; by a thread of its own, as the work
    may say nothing for long."""

    def __init__(self, waiting: Waiting, patience: float) -> None:
        self._waiting, self._patience = waiting, patience
        self._stream = _Stream()
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._show, daemon=True)

    def start(self) -> None:
        self._thread.start()

    def stop(self) -> None:
        """The line is wiped when this returns."""
        self._over.set()
        self._thread.join()
        self._stream.close()

    def _show(self) -> None:
        if not self._over.wait(self._patience):
            with shown(self._waiting, self._stream):
                self._over.wait()


@contextmanager
def bar(title: str) -> Iterator[Callable[[int, int, str], None]]:
    """Function to call with how many are done, how many there are, and a word on the last one.

    Without a terminal on standard error it shows nothing.
    """
    if not can_show():
        yield lambda done, total, text: None
        return
    waiting = Waiting()
    waiting(title)
    with closing(_Stream()) as stream, shown(waiting, stream):
        yield lambda done, total, text: waiting.step(done, total, f"{title} {done}/{total}  {text}")
