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

    def warn(self, text: str) -> None:
        text = text[:1].upper() + text[1:]
        if text not in self.warnings:
            self.warnings.append(text)

    def assume(self, text: str) -> None:
        text = sentence(text)
        if text not in self.assumptions:
            self.assumptions.append(text)
