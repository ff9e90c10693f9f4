"""Which files an answer goes to, as asked for on the command line, and whether they can be written."""

from __future__ import annotations

import os
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from optimizer.errors import InputError, Problem

STDOUT = "-"
#: Endings of the files of an option, and what such a file is; the other options take any name.
_ENDINGS = {"--report": (".html", ".htm"), "--excel": (".xlsx",)}
_KINDS = {"--report": "an HTML file", "--excel": "a workbook"}


@dataclass(frozen=True)
class Outputs:
    """json, report, excel: names of files, None where not asked for; json '-' is standard output. units: si
    or us, of text and report."""

    json: str | None = None
    report: str | None = None
    excel: str | None = None
    units: str = "si"

    def check(self, *inputs: str | Path | None, others: tuple[tuple[str, str | None], ...] = ()) -> None:
        """Refuse files that cannot be written, before any work is done; InputError with all of them.

        inputs: files that are read, which must not be written over: those of the command line at first, those
        of a project once it is loaded. others: further options with a file.
        """
        problems = list(self.problems(*inputs, others=others))
        if problems:
            raise InputError(problems)

    def problems(
        self, *inputs: str | Path | None, others: tuple[tuple[str, str | None], ...] = ()
    ) -> Iterator[Problem]:
        """What ``check`` refuses, one problem for each file."""
        named = [("--json", self.json), ("--report", self.report), ("--excel", self.excel), *others]
        taken: dict[Path, str] = {}
        printed = ""
        for option, target in named:
            if target is None:
                continue
            if target == STDOUT and option not in _ENDINGS:
                if printed:
                    yield Problem(
                        f"only one of {option} and {printed} can go to standard output", field=option
                    )
                printed = option
                continue
            try:
                check_target(target, option)
                _check_ending(target, option)
            except InputError as error:
                yield from error.problems
                continue
            path = Path(target).resolve()
            if any(name is not None and path == Path(name).resolve() for name in inputs):
                yield Problem("would be written over: it is read here", target, field=option)
            elif path in taken and (path.is_file() or not path.exists()):  # a device may take both
                yield Problem(f"{taken[path]} and {option} need different files", target)
            taken.setdefault(path, option)


def check_target(target: str | None, option: str = "--json") -> None:
    """Refuse a file that cannot be written, before any work is done."""
    if target is None or target == STDOUT and option not in _ENDINGS:
        return
    if not target.strip():
        raise InputError(Problem("needs the name of a file", field=option))
    path = Path(target)
    if path.is_dir():
        or_stdout = "" if option in _ENDINGS else ", or - for standard output"
        raise InputError(Problem(f"is a folder; {option} needs the name of a file{or_stdout}", target))
    if not path.parent.is_dir():
        raise InputError(Problem(f"the folder {path.parent} does not exist", target))
    if path.exists() and not path.is_file():  # a device or a pipe, which is written in place
        if not os.access(path, os.W_OK):
            raise InputError(Problem("cannot be written", target))
    elif not os.access(path.parent, os.W_OK):  # a file is written beside its place and moved there
        raise InputError(Problem(f"cannot be written: no file can be made in {path.parent}", target))


def _check_ending(target: str, option: str) -> None:
    endings = _ENDINGS.get(option)
    if endings and not target.lower().endswith(endings):
        message = f"{target!r} is not the name of {_KINDS[option]}"
        raise InputError(Problem(message, field=option, hint=f"end it in {endings[0]}"))
