"""Ctrl-C in two steps: the first ends the work in an orderly way, the second at once.

The signals are read by a thread of their own, so that they count also while the solver is busy and the main
thread cannot be reached.
"""

from __future__ import annotations

import os
import signal
import socket
import sys
import threading
from contextlib import suppress
from types import FrameType, TracebackType
from typing import Any

from optimizer.cli.guard import INTERRUPTED

_FIRST = "Interrupted: finishing with the best so far. Ctrl-C again to stop at once.\n"
_SECOND = "Stopped.\n"


class Interrupt:
    """Within ``with``, the first Ctrl-C makes ``asked()`` true, and the second ends the process with status
    130. Outside the main thread, where no signal arrives, it does nothing."""

    def __init__(self) -> None:
        self._asked = threading.Event()
        self._before: Any = None
        self._wakeup = -1
        self._ends: tuple[socket.socket, socket.socket] | None = None
        self._thread: threading.Thread | None = None
        self._error = -1

    def asked(self) -> bool:
        return self._asked.is_set()

    def __enter__(self) -> Interrupt:
        if threading.current_thread() is not threading.main_thread():
            return self
        reader, writer = socket.socketpair()
        writer.setblocking(False)
        self._ends = reader, writer
        with suppress(OSError, ValueError, AttributeError):  # no real file behind standard error
            self._error = os.dup(sys.stderr.fileno())
        self._thread = threading.Thread(target=self._listen, args=(reader,), daemon=True)
        self._thread.start()
        self._wakeup = signal.set_wakeup_fd(writer.fileno(), warn_on_full_buffer=False)
        self._before = signal.signal(signal.SIGINT, _nothing)
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._ends is None or self._thread is None:
            return
        signal.signal(signal.SIGINT, self._before)
        signal.set_wakeup_fd(self._wakeup)
        reader, writer = self._ends
        writer.close()  # the thread reads the end of it
        self._thread.join()
        reader.close()
        if self._error >= 0:
            os.close(self._error)

    def _listen(self, reader: socket.socket) -> None:
        while data := reader.recv(64):
            for number in data:
                if number != signal.SIGINT:
                    continue
                if self._asked.is_set():
                    self._say(_SECOND)
                    os._exit(INTERRUPTED)
                self._asked.set()
                self._say(_FIRST)

    def _say(self, text: str) -> None:
        """Past whatever the solver has put in the place of standard error."""
        with suppress(OSError):
            start = b"\r\x1b[2K" if os.isatty(self._error) else b"\n"  # over the line of progress
            os.write(self._error, start + text.encode())


def _nothing(number: int, frame: FrameType | None) -> None:
    """The handler in Python: the thread does the work."""
