"""Colours, dashes, marks and hatches of every report and workbook, so that a drawing and its twin look alike.

Series colours: Okabe and Ito, Color Universal Design, 2008; the light ones are darkened until a mark has 3:1
on white (WCAG 2.2, 1.4.11) and text in ``SERIES_TEXT`` has 4.5:1 (WCAG 2.2, 1.4.3). Nothing is told by
colour alone: series also differ by dash and mark, parts of bars and layers by hatch, passing and failing by
words.
"""

from __future__ import annotations

SERIES = ("#0072b2", "#d55e00", "#009e73", "#c372a0", "#8a6d00", "#4796c1", "#ba8100", "#555555")
#: The same order, for words in the colour of a series.
SERIES_TEXT = ("#0072b2", "#b45000", "#007d5b", "#985a7c", "#866900", "#377394", "#926500", "#555555")

PAPER = "#ffffff"
INK = "#1f2a33"
#: Words beside the matter, such as units and remarks.
SOFT = "#4f5d69"
ACCENT = "#0b5d66"
GOOD = "#00695c"
BAD = "#b23a0e"
#: Grounds under words in INK: 'Passes', 'Fails', and neither.
GOOD_TINT = "#e3f1ee"
BAD_TINT = "#faeae3"
PLAIN_TINT = "#eef2f4"
#: Lines under the rows of a table and beside facts.
LINE = "#cfd7dc"
#: In workbooks: ground of cells to fill in, lines between rows, quiet words; darker than those of a page, for
#: spreadsheet programs draw them thin.
SHEET_PALE, SHEET_LINE, SHEET_SOFT = "#e6f0f1", "#b8c6c9", "#5a6a73"
#: Lines of the axes, of the grid, and two grounds that take turns under named bands.
AXIS = "#75828d"
GRID = "#dfe5e9"
BANDS = ("#eff3f5", "#fbfcfc")

#: Fonts that the reader's machine has; nothing is fetched.
FONT = "system-ui,sans-serif"

#: Dash of each series as SVG writes it, in px; '' is a whole line.
DASHES = ("", "9 4", "2.5 3", "9 3 2 3", "14 4", "5 3", "14 3 2 3 2 3", "1.5 5")
#: Dash of bounds, baselines and other things beside the answer.
BESIDE = "6 4"
#: Dashes of several such lines in one chart, by the number of the series.
BESIDES = (BESIDE, "2.5 3", "10 3 2.5 3")
#: Dash of a rule: limit, target, note.
RULES = {"limit": "", "target": "8 3", "note": "2 3"}
RULE_COLOURS = {"limit": BAD, "target": ACCENT, "note": SOFT}

#: Mark of each series; the names are those of plotly, and of ``figures.marks``.
MARKS = ("circle", "square", "diamond", "triangle-up", "x", "triangle-down", "cross", "star")
#: Hatch of each part of a bar; '' is plain. The names are those of plotly, and of ``figures.hatch``.
HATCHES = ("", "/", "x", "\\", ".", "-", "+", "|")


#: Colours of the page by the name that its style sheet has for them.
PAGE = {
    "paper": PAPER,
    "ink": INK,
    "soft": SOFT,
    "accent": ACCENT,
    "good": GOOD,
    "bad": BAD,
    "good-tint": GOOD_TINT,
    "bad-tint": BAD_TINT,
    "plain-tint": PLAIN_TINT,
    "line": LINE,
}


def custom_properties() -> str:
    """The colours of the page for the head of its style sheet."""
    return ":root { " + " ".join(f"--{name}: {colour};" for name, colour in PAGE.items()) + " }"


def opaque(colour: str) -> str:
    """'#0b5d66' as spreadsheets have it, 'FF0B5D66'."""
    return "FF" + colour.removeprefix("#").upper()


def series(number: int) -> str:
    """Colour of the series with that number, from 0; they start again after the last."""
    return SERIES[number % len(SERIES)]


def series_text(number: int) -> str:
    """The colour of its words."""
    return SERIES_TEXT[number % len(SERIES_TEXT)]


def dash(number: int) -> str:
    """Its dash; the second round starts one further on, so that colour and dash together stay unlike."""
    return DASHES[(number + number // len(SERIES)) % len(DASHES)]


def mark(number: int) -> str:
    """Its mark, shifted in the second round as dashes are."""
    return MARKS[(number + number // len(SERIES)) % len(MARKS)]


def hatch(number: int) -> str:
    """Its hatch, shifted in the second round as dashes are."""
    return HATCHES[(number + number // len(SERIES)) % len(HATCHES)]
