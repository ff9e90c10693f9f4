"""A terminal page cut at its headings, so that a report can put figures beside each part of it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from optimizer.report.page import Block, Heading, Page, Rows, Verdict
from optimizer.report.spread_bars import MARK


@dataclass(frozen=True)
class Chunk:
    """heading: '' for what stands before the first; blocks: with the heading."""

    heading: str
    blocks: tuple[Block, ...]


def chunks_of(page: Page) -> tuple[Chunk, ...]:
    """The parts of a page, each from one heading to the next; together they are all of it."""
    found: list[tuple[str, list[Block]]] = []
    for block in page.blocks:
        if isinstance(block, Heading):
            found.append((block.text, [block]))
        elif not found:
            found.append(("", [block]))
        else:
            found[-1][1].append(block)
    return tuple(Chunk(heading, tuple(blocks)) for heading, blocks in found)


def starting(chunks: Iterable[Chunk], *words: str) -> list[Chunk]:
    """Those of which the heading starts with one of the words."""
    return [chunk for chunk in chunks if chunk.heading.startswith(words)]


def page_of(chunks: Iterable[Chunk], title: str = "") -> Page | None:
    """One page of the chunks, None of nothing. Left out: a heading that only says the title again, and a
    table of bars made of characters, which a figure shows better."""
    kept = [
        block
        for chunk in chunks
        for block in chunk.blocks
        if not (isinstance(block, Heading) and block.text == title)
        and not (isinstance(block, Rows) and _is_bars(block))
    ]
    return Page(kept) if kept else None


def _is_bars(table: Rows) -> bool:
    return any(set(row[-1].strip()) == {MARK} for row in table.rows if row)


def verdict_of(page: Page) -> Verdict:
    """The answer that the page starts with."""
    return next(block for block in page.blocks if isinstance(block, Verdict))
