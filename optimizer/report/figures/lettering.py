"""How wide words are, and how to break or shorten them to a width. A drawing is made without the reader's
fonts, so the widths are those of the widest fonts that ``palette.FONT`` names."""

from __future__ import annotations

import unicodedata
from collections.abc import Mapping
from functools import cache

from optimizer.report import svg

#: Size of the words of a figure, and of those beside the matter [px of a figure that is 720 wide].
SIZE = 12.5
SMALL = 11.5
#: A bold word is at most so much wider.
BOLD = 1.16

#: Advance in em: the wider one of DejaVu Sans 2.37 and Liberation Sans 2.1 (their tables hmtx), rounded up.
_WIDTHS: Mapping[float, str] = {
    0.28: "'ijl",
    0.3: "I",
    0.32: " ,.",
    0.34: "/:;\\|",
    0.36: "f",
    0.38: "-",
    0.4: "()[]t",
    0.42: "!r",
    0.46: '"',
    0.5: "*J`",
    0.54: "sz",
    0.56: "?L_c",
    0.58: "k",
    0.6: "vxy",
    0.62: "FTaeo",
    0.64: "$0123456789bdghnpqu{}",
    0.68: "EKPSY",
    0.7: "ABVXZ",
    0.74: "CRU",
    0.76: "HN",
    0.78: "&DG",
    0.8: "OQ",
    0.82: "w",
    0.84: "#+<=>^~",
    0.88: "M",
    0.96: "%",
    0.98: "m",
    1.0: "W",
    1.02: "@",
}
_LETTERS = {letter: width for width, letters in _WIDTHS.items() for letter in letters}


@cache
def _letter(sign: str) -> float:
    """Width of one sign [em]; generous for those that are not in the table."""
    if sign in _LETTERS:
        return _LETTERS[sign]
    if unicodedata.category(sign) in ("Mn", "Me"):
        return 0.0
    if unicodedata.east_asian_width(sign) in "WF":
        return 1.05
    base = unicodedata.normalize("NFD", sign)[0]
    return _LETTERS.get(base, 0.5 if unicodedata.category(sign) == "No" else 0.9)


def width(words: str, size: float = SIZE, bold: bool = False) -> float:
    """At most so wide [px]."""
    return size * sum(map(_letter, words)) * (BOLD if bold else 1.0)


def plain(words: str) -> str:
    """One line: line ends, tabs and runs of blanks become one blank."""
    return " ".join(words.split())


def fitted(words: str, room: float, size: float = SIZE, bold: bool = False) -> str:
    """The words, their middle left out if they are wider than ``room`` [px]; at least one letter stays."""
    words = plain(words)
    most = len(words)
    while most > 4 and width(svg.shortened(words, most), size, bold) > room:
        most = max(4, min(most - 1, int(most * room / width(svg.shortened(words, most), size, bold)) + 2))
    return svg.shortened(words, most)


def wrapped(words: str, room: float, most: int, size: float = SIZE, bold: bool = False) -> list[str]:
    """At most ``most`` lines, each no wider than ``room`` [px]; the middle of the last one is left out where
    they do not fit. No line for no words."""
    words = plain(words)
    lines: list[str] = []
    while words and len(lines) < most - 1 and width(words, size, bold) > room:
        head = _head(words, room, size, bold)
        if not head:
            break
        lines.append(head)
        words = words[len(head) :].lstrip()
    return [*lines, fitted(words, room, size, bold)] if words else lines


def _head(words: str, room: float, size: float, bold: bool) -> str:
    """As many whole words as go into one line, '' for none; a long word breaks after a hyphen or a stroke."""
    best = ""
    for place, sign in enumerate(words):
        if sign in " -/+,":
            head = words[:place] if sign == " " else words[: place + 1]
            if width(head, size, bold) > room:
                break
            best = head
    return best
