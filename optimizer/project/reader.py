"""What the builders share: the source with its marks, and what was found so far."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path

from optimizer.errors import InputError, Problem
from optimizer.project.source import Location, Source
from optimizer.shelflife.words import sentence


@dataclass
class Contents:
    """Files as they were read, each once: a file saved meanwhile does not come into the checksum."""

    known: dict[Path, bytes] = field(default_factory=dict)

    def read(self, path: Path) -> bytes:
        """The bytes of the file. Raises OSError."""
        if path not in self.known:
            self.known[path] = path.read_bytes()
        return self.known[path]

    def digest(self, files: Iterable[Path]) -> str:
        """SHA-256 over the contents of the files, each preceded by its length. Raises InputError."""
        total = hashlib.sha256()
        for file in files:
            try:
                content = self.read(file)
            except OSError as error:
                raise InputError(Problem(f"cannot be read: {error.strerror}", str(file))) from None
            total.update(f"{len(content)}\n".encode())
            total.update(content)
        return total.hexdigest()


@dataclass
class Reader:
    """Collects. ``refuse`` notes a problem and lets the reading go on, so that all problems come at once."""

    source: Source
    problems: list[Problem] = field(default_factory=list)
    warnings: list[str] = field(default_factory=list)
    assumptions: list[str] = field(default_factory=list)
    contents: Contents = field(default_factory=Contents)

    def refuse(self, place: Location, message: str, hint: str = "", *, key: bool = False) -> None:
        if self.source.shorten(place) in self.source.broken:
            return
        problem = self.source.problem(place, message, hint, key=key)
        if problem not in self.problems:
            self.problems.append(problem)

    def within(self, old: Location, new: Location, name: str) -> Reader:
        """A reader for what stands at ``new`` and is built as if it stood at ``old``; it collects into this
        one, with ``name`` before warnings and assumptions."""
        return _Within(
            self.source, self.problems, self.warnings, self.assumptions, self.contents, (old, new), name
        )

    def warn(self, text: str) -> None:
        text = text[:1].upper() + text[1:]
        if text not in self.warnings:
            self.warnings.append(text)

    def assume(self, text: str) -> None:
        text = sentence(text)
        if text not in self.assumptions:
            self.assumptions.append(text)


@dataclass
class _Within(Reader):
    moved: tuple[Location, Location] = ((), ())
    name: str = ""

    def refuse(self, place: Location, message: str, hint: str = "", *, key: bool = False) -> None:
        old, new = self.moved
        if place[: len(old)] == old:
            place = (*new, *place[len(old) :])
        super().refuse(place, message, hint, key=key)

    def warn(self, text: str) -> None:
        super().warn(self.name + text)

    def assume(self, text: str) -> None:
        super().assume(self.name + text)
