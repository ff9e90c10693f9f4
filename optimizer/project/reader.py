"""What the builders share: the source with its marks, and what was found so far."""

from __future__ import annotations

from dataclasses import dataclass, field

from optimizer.errors import Problem
from optimizer.project.source import Location, Source
from optimizer.shelflife.words import sentence


@dataclass
class Reader:
    """Collects. ``refuse`` notes a problem and lets the reading go on, so that all problems come at once."""

    source: Source
    problems: list[Problem] = field(default_factory=list)
    warnings: list[str] = field(default_factory=list)
    assumptions: list[str] = field(default_factory=list)

    def refuse(self, place: Location, message: str, hint: str = "", *, key: bool = False) -> None:
        if self.source.shorten(place) in self.source.broken:
            return
        problem = self.source.problem(place, message, hint, key=key)
        if problem not in self.problems:
            self.problems.append(problem)

    def within(self, old: Location, new: Location, name: str) -> Reader:
        """A reader for what stands at ``new`` and is built as if it stood at ``old``; it collects into this
        one, with ``name`` before warnings and assumptions."""
        return _Within(self.source, self.problems, self.warnings, self.assumptions, (old, new), name)

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
