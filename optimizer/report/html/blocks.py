"""Blocks of a page as HTML has them: items become lists, raw lines one text, tables get captions."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from optimizer.report.page import Block, Column, Heading, Indented, Item, Line, Raw, Rows, Verdict

Kind = Literal["line", "bold", "note", "verdict", "heading", "raw", "bullets", "sources", "marked", "table"]
_SOURCE = re.compile(r"\[\d+\]")


@dataclass(frozen=True)
class Part:
    """What the template asks for by ``kind``. text: of all but lists and tables; of a table, its caption.
    items: mark and text of a list; spoken: the caption repeats the heading above, so it is for screen readers
    only; good: of a verdict."""

    kind: Kind
    text: str = ""
    items: tuple[tuple[str, str], ...] = ()
    columns: tuple[Column, ...] = ()
    rows: tuple[tuple[str, ...], ...] = ()
    good: bool = False


def parts_of(blocks: Iterable[Block], title: str) -> tuple[Part, ...]:
    """Empty lines are left out. title: what a table shows that has no heading above it."""
    parts: list[Part] = []
    caption = title
    for block in blocks:
        part = _part(block, caption)
        if part is None:
            continue
        if part.kind == "heading":
            caption = part.text
        before = parts[-1] if parts else None
        if before is not None and before.kind == part.kind and part.items:
            parts[-1] = Part(part.kind, items=(*before.items, *part.items))
        elif before is not None and before.kind == part.kind == "raw":
            parts[-1] = Part("raw", f"{before.text}\n{part.text}")
        else:
            parts.append(part)
    return tuple(parts)


def _part(block: Block, caption: str) -> Part | None:
    match block:
        case Line(text, style):
            return Part("bold" if style == "bold" else "line", text) if text.strip() else None
        case Verdict(text, good):
            return Part("verdict", text, good=good)
        case Heading(text):
            return Part("heading", text)
        case Indented(text):
            return Part("note", text) if text.strip() else None
        case Raw(text):
            return Part("raw", text)
        case Item(mark, text):
            kind: Kind = "bullets" if mark == "-" else "sources" if _SOURCE.fullmatch(mark) else "marked"
            return Part(kind, items=((mark, text),))
        case Rows(columns, rows):
            return Part("table", caption, columns=columns, rows=rows) if columns else None
