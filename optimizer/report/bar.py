"""A bar that fills while many things are done, on standard error; nothing where nobody looks."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager


@contextmanager
def bar(title: str) -> Iterator[Callable[[int, int, str], None]]:
    """Function to call with how many are done, how many there are, and a word on the last one.

    Without a terminal on standard error it shows nothing.
    """
    if not sys.stderr.isatty():
        yield lambda done, total, text: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn
    from rich.text import Text

    console = Console(stderr=True)
    columns = (
        TextColumn("{task.description}", markup=False),
        BarColumn(bar_width=24),
        MofNCompleteColumn(),
        TimeRemainingColumn(),
        TextColumn("{task.fields[last]}", markup=False),
    )
    with Progress(*columns, console=console, transient=True) as shown:
        task = shown.add_task(title, total=None, last="")

        def advance(done: int, total: int, text: str) -> None:
            last = Text(text)
            last.truncate(max(10, console.width - len(title) - 50), overflow="ellipsis")
            shown.update(task, completed=done, total=total, last=last.plain)

        yield advance
