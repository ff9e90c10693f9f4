"""What a report takes over from the terminal page of its answer, so that both say the same."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence

from optimizer.report.html.chunks import Chunk, starting
from optimizer.report.html.model import Basis
from optimizer.report.page import Indented, Item, Line, Page, Verdict


def lines_after_verdict(page: Page) -> tuple[str, ...]:
    """Paragraphs between the verdict and the first heading, without the notes to them."""
    found: list[str] = []
    after = False
    for block in page.blocks:
        if isinstance(block, Verdict):
            after = True
        elif after and isinstance(block, Line):
            found += [block.text.strip()] if block.text.strip() else []
        elif after and not isinstance(block, Indented):
            break
    return tuple(found)


def listed_under(chunks: Iterable[Chunk], *words: str) -> tuple[str, ...]:
    """Items and notes below the headings that start with one of the words."""
    return tuple(
        block.text
        for chunk in starting(chunks, *words)
        for block in chunk.blocks
        if isinstance(block, Item | Indented)
    )


def basis_on_page(
    chunks: Sequence[Chunk], sources: Iterable[Mapping[str, str]] = (), gases: Collection[str] = ()
) -> Basis:
    """Warnings, assumptions and cautions as the page has them; sources in full."""
    return Basis(
        listed_under(chunks, "Warnings"),
        listed_under(chunks, "Assumptions", "Notes"),
        listed_under(chunks, "Cautions"),
        tuple(sources),
        tuple(gases),
    )
