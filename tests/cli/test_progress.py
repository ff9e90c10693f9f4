"""Progress on standard error: on a terminal after two seconds, wiped at the end; seldom in a log."""

from __future__ import annotations

import os
import re
import select
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from optimizer.cli import progress
from optimizer.cli.progress import Progress
from optimizer.progress import step
from optimizer.report.bar import Waiting

pty = pytest.importorskip("pty", reason="terminals of POSIX")
ROOT = Path(__file__).parents[2]

#: Longest wait for what comes within a second here [s].
_LONG = 120.0
#: A command that works for a while; {before} runs first, {work} within the progress. ``go()`` waits for
#: ``Terminal.go``.
_CODE = """
import sys, time
from optimizer.cli import progress
from optimizer.cli.guard import guarded
{before}
go = sys.stdin.readline
def work():
    with progress.Progress() as say:
        {work}
    print("the answer")
    return 0
sys.exit(guarded(work))
"""
_QUICK = "progress.PATIENCE = 0.2"
_COUNTED = "say.step(0, 30, 'samples'); say.step(20, 30, '20 of 30 samples simulated'); go()"


class Terminal:
    """A process with a terminal as standard error and a pipe as standard output. seen: what came when [s]."""

    def __init__(self, work: str, *, before: str = _QUICK, columns: int = 80, **environment: str) -> None:
        import fcntl
        import struct
        import termios

        self._end, other = pty.openpty()
        fcntl.ioctl(other, termios.TIOCSWINSZ, struct.pack("HHHH", 24, columns, 0, 0))
        kept = {k: v for k, v in os.environ.items() if k not in ("COLUMNS", "LINES", "NO_COLOR", "TERM")}
        self.process = subprocess.Popen(
            [sys.executable, "-c", _CODE.format(before=before, work=work)],
            cwd=ROOT,
            env={**kept, "TERM": "xterm", **environment},
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=other,
            # one in the background of a script would inherit that Ctrl-C is ignored
            preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),
        )
        os.close(other)
        self.seen: list[tuple[float, str]] = []

    def go(self) -> None:
        """Let the work go on after its next ``go()``."""
        assert self.process.stdin is not None
        self.process.stdin.write(b"\n")
        self.process.stdin.flush()

    def read(self, until: str = "") -> str:
        """Everything up to the end, or to what fits a pattern."""
        end = time.monotonic() + _LONG
        while not until or not re.search(until, self.text):
            ready, _, _ = select.select([self._end], [], [], max(0.0, end - time.monotonic()))
            assert ready, f"{until!r} did not come in time: {self.text!r}"
            try:
                data = os.read(self._end, 4096)
            except OSError:  # the other end is closed
                break
            if not data:
                break
            self.seen.append((time.monotonic(), data.decode("utf-8", "replace")))
        return self.text

    @property
    def text(self) -> str:
        return "".join(text for _, text in self.seen)

    def end(self) -> tuple[int, str]:
        """Exit status and standard output."""
        out, _ = self.process.communicate(timeout=_LONG)
        os.close(self._end)
        return self.process.returncode, out.decode()


def screen(text: str) -> list[str]:
    """What is left to see of a stream with the codes that are used here, line by line."""
    lines, row = [""], 0
    for code, char in re.findall(r"\x1b\[([0-9;?]*[A-Za-z])|([^\x1b])", text):
        if code in ("2K", "K"):
            lines[row] = ""
        elif code.endswith("A"):
            row = max(0, row - int(code[:-1] or 1))
        elif char == "\n":
            row += 1
            lines += [""] * (row + 1 - len(lines))
        elif char and char != "\r":
            lines[row] += char
    return [line for line in lines if line.strip()]


def shown_lines(text: str) -> list[str]:
    """Every line that was shown for a time."""
    plain = re.sub(r"\x1b\[[0-9;?]*[A-Za-z]", "\r", text)
    return [line for line in re.split(r"[\r\n]+", plain) if line.strip()]


def test_a_terminal_shows_time_bar_rest_and_text_and_is_wiped_at_the_end() -> None:
    terminal = Terminal(_COUNTED)
    terminal.read(until="left  20 of 30")
    terminal.go()
    text = terminal.read()
    status, out = terminal.end()
    assert (status, out) == (0, "the answer\n")
    lines = shown_lines(text)
    line = r"\d:\d\d  \[#{13}\.{7}\]  about \d:\d\d left  20 of 30 samples simulated"
    assert any(re.match(line, x) for x in lines)
    assert screen(text) == []


def test_nothing_is_shown_of_work_that_is_soon_done() -> None:
    terminal = Terminal("say('looking'); say.step(1, 2, 'half')", before="")
    assert terminal.read() == ""
    assert terminal.end() == (0, "the answer\n")


def test_the_line_goes_on_while_the_work_says_nothing() -> None:
    """A solver is quiet for long, and time must be seen to pass."""
    terminal = Terminal("say('solving'); go()")
    terminal.read(until=r"(?s)(\d:\d\d)  solving.*(?!\1)\d:\d\d  solving")
    terminal.go()
    terminal.read()
    assert terminal.end() == (0, "the answer\n")


def test_a_narrow_terminal_keeps_it_on_one_line() -> None:
    terminal = Terminal(
        _COUNTED.replace("simulated", "simulated of the changed package and more"), columns=40
    )
    terminal.read(until="left  20 of 30")
    terminal.go()
    text = terminal.read()
    terminal.end()
    lines = shown_lines(text)
    assert lines and max(map(len, lines)) < 40
    assert all("[" not in x for x in lines)
    assert screen(text) == []


@pytest.mark.parametrize("environment", [{"NO_COLOR": "1"}, {}], ids=["no colour", "colour"])
def test_the_line_has_no_colour(environment: dict[str, str]) -> None:
    """It says all in words; NO_COLOR (no-color.org, as remembered) then holds by itself."""
    terminal = Terminal("say('solving'); go()", **environment)
    terminal.read(until="solving")
    terminal.go()
    text = terminal.read()
    terminal.end()
    assert not re.search(r"\x1b\[[0-9;]*m", text)


def test_a_dumb_terminal_gets_lines_as_a_log_does() -> None:
    terminal = Terminal("time.sleep(0.3); say('solving')", TERM="dumb")
    assert terminal.read() == "solving\r\n"
    terminal.end()


def test_names_of_users_cannot_send_codes_to_the_terminal() -> None:
    terminal = Terminal(r"say('offer \x1b]0;title\x07 [red]x'); go()")
    terminal.read(until=r"\[red\]x")
    terminal.go()
    text = terminal.read()
    terminal.end()
    assert "\x1b]" not in text and "\x07" not in text


def test_ctrl_c_wipes_the_line_and_says_stopped() -> None:
    terminal = Terminal("say('solving'); go()")
    terminal.read(until="solving")
    terminal.process.send_signal(signal.SIGINT)
    text = terminal.read()
    status, out = terminal.end()
    assert (status, out) == (130, "")
    assert screen(text) == ["Stopped."]


def test_the_line_comes_through_while_a_solver_holds_standard_error() -> None:
    """The line begins just then; kept open by it, the solver's pipe would not end (pyomo waits 100 s)."""
    work = (
        "from pyomo.common.tee import capture_output; capture = capture_output(capture_fd=True); "
        "capture.__enter__(); say('solving'); time.sleep(1.0); capture.__exit__(None, None, None); go()"
    )
    terminal = Terminal(work)
    terminal.read(until="solving")
    terminal.go()
    terminal.read()
    assert terminal.end() == (0, "the answer\n")


def test_an_error_wipes_the_line_before_it_is_told() -> None:
    terminal = Terminal("say('solving'); go(); raise OSError(2, 'No such file', 'x.yaml')")
    terminal.read(until="solving")
    terminal.go()
    text = terminal.read()
    assert terminal.end()[0] == 2
    assert screen(text) == ["x.yaml: no such file"]


@pytest.mark.slow
def test_the_line_comes_after_two_seconds() -> None:
    """The clock starts here before it starts there."""
    terminal = Terminal("say('solving'); go()", before="print('.', file=sys.stderr); sys.stdin.readline()")
    terminal.read(until=r"\.")
    start = time.monotonic()
    terminal.go()
    terminal.read(until="solving")
    first = time.monotonic()
    terminal.go()
    terminal.read()
    terminal.end()
    assert 2.0 <= first - start < 12.0


def test_a_pipe_stays_empty_before_two_seconds_whatever_is_counted(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(progress.time, "monotonic", lambda: 100.0)
    with Progress() as say:
        for done in range(30):
            say.step(done, 30, f"{done} of 30")
    assert capsys.readouterr() == ("", "")


def test_the_rest_is_told_from_the_pace_so_far() -> None:
    """10 of 40 in 5 s leave 30 at 2 a second: 15 s."""
    now = [100.0]
    waiting = Waiting(clock=lambda: now[0])
    waiting.step(0, 40, "counting")
    assert waiting.remaining() is None
    now[0] = 105.0
    waiting.step(10, 40, "counting")
    assert waiting.remaining() == pytest.approx(15.0)
    assert waiting.line(80) == "0:05  [#####...............]  about 0:15 left  counting"
    assert waiting.line(40) == "0:05  about 0:15 left  counting"


def test_a_new_count_starts_its_own_pace() -> None:
    now = [0.0]
    waiting = Waiting(clock=lambda: now[0])
    waiting.step(0, 10, "first package")
    now[0] = 20.0
    waiting.step(10, 10, "first package")
    assert waiting.remaining() is None
    waiting.step(0, 10, "second package")
    now[0] = 22.0
    waiting.step(5, 10, "second package")
    assert waiting.remaining() == pytest.approx(2.0)


def test_without_numbers_only_the_time_is_told() -> None:
    now = [0.0]
    waiting = Waiting(clock=lambda: now[0])
    waiting("solving")
    now[0] = 3723.0
    assert waiting.line(80) == "1:02:03  solving"


def test_a_listener_of_text_alone_gets_the_text() -> None:
    said: list[str] = []
    step(said.append, 3, 10, "3 of 10 samples")
    assert said == ["3 of 10 samples"]


def test_a_listener_with_step_gets_the_numbers() -> None:
    told: list[tuple[int, int, str]] = []

    class Listener:
        def __call__(self, text: str) -> None:
            raise AssertionError("the numbers are known")

        def step(self, done: int, total: int, text: str) -> None:
            told.append((done, total, text))

    step(Listener(), 3, 10, "3 of 10 samples")
    assert told == [(3, 10, "3 of 10 samples")]
