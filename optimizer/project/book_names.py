"""Names in the tables of a project workbook: which may stand twice, and which have to stand elsewhere too."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from optimizer.project.book_layout import Next, TableSheet
from optimizer.project.source import Mark
from optimizer.project.suggest import did_you_mean


@dataclass
class Names:
    """The names of one table as far as it was read. parts: those of the sheet of parts; None where a part may
    be named here first."""

    sheet: TableSheet
    parts: Sequence[str] | None = None
    _seen: dict[tuple[str, str], tuple[str, Mark]] = field(default_factory=dict)

    @property
    def needs_more(self) -> bool:
        """Whether a row with nothing but a name says too little: materials and parts may be named alone."""
        return self.sheet.base[-1] is Next and not self.sheet.once

    def wrong(self, title: str, name: str, mark: Mark) -> tuple[str, str]:
        """What is wrong with a name in the column ``title``, and what would be right; '' for nothing."""
        before, first = self._seen.setdefault((title, name.casefold()), (name, mark))
        if first != mark and title == self.sheet.once:
            return f"the {title} '{name}' stands already in row {first.line}", "keep one of them"
        if before != name:  # as one wall or part, it would be in two halves
            self._seen[title, name.casefold()] = name, mark  # said once for each change
            said = f"'{name}' and '{before}' in row {first.line} differ in capital letters alone"
            return said, "write the name in one way"
        if first != mark and not self.sheet.twice:
            return f"the {title} '{name}' stands already in row {first.line}", "give each its own name"
        if title == "part" and self.parts is not None and name not in self.parts:
            hint = did_you_mean(name, self.parts, "parts") or "name it there too"
            return f"there is no part '{name}' in the sheet Parts", hint
        return "", ""
