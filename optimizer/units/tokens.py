"""Text of a unit to a list of terms: the trade's notation, nothing about kinds yet.

The rules: ``.`` ``·`` ``*`` ``×`` and a blank multiply; after the first slash everything is in the
denominator, further slashes included, and brackets only group; a bare number is a factor (``100in2``,
``20um``, ``24h``); digits behind a symbol are its power. Columns count from 0 here.
"""

from __future__ import annotations

import difflib
import re
from dataclasses import dataclass, replace

from optimizer.constants import GAS_CONSTANT, STP_MOLES_PER_M3, ZERO_CELSIUS
from optimizer.errors import UnitError
from optimizer.units import table
from optimizer.units.table import VOLUME, Dim, Unit

# One character for one character, so that columns stay those of the text as typed.
_PLAIN = str.maketrans(
    {
        **dict.fromkeys("·⋅∙•×✕∗", "*"),
        **dict.fromkeys("\u2212\u2010\u2011\u2012\u2013\u2014", "-"),
        **dict.fromkeys("\u00a0\u2009\u202f\u2007\u2002\u2003\t", " "),
        **dict.fromkeys("\u2215\u2044", "/"),
        "\u03bc": "µ",
        "º": "°",
        "˚": "°",
        **{chr(0x2080 + i): str(i) for i in range(10)},
    }
)
_RAISED = str.maketrans("⁰¹²³⁴⁵⁶⁷⁸⁹⁺⁻", "0123456789+-")
_SUP = "[⁺⁻]?[⁰¹²³⁴⁵⁶⁷⁸⁹]{1,3}"

#: 10^-18, 10**-18 or 10⁻¹⁸.
POWER_OF_TEN = rf"10(?:\s?(?:\^|\*\*)\s?\(?([+-]?[0-9]{{1,3}})\)?|({_SUP}))"
_NUMBER = re.compile(rf"{POWER_OF_TEN}|([0-9]+(?:\.[0-9]+)?(?:[eE][+-]?[0-9]{{1,5}}(?![0-9]))?)")
_WORD = re.compile(
    r"(?P<rh>%\s?(?:RH|rH|rh|r\.\s?h\.|r\.F\.)(?![A-Za-z]))"
    r"|(?P<share>(?:wt|vol|mol)\.?\s?%|[%‰])"
    r"|(?P<degree>(?:degrees?|deg\.?|°)\s?(?P<scale>[CFcf])(?![A-Za-z])|[℃℉])"
    r"|(?P<mercury>(?P<column>mm|cm|in)\.?\s?Hg(?![A-Za-z]))"
    r"|(?P<joined>(?P<how>sq|square|cu|cubic)\b\.?\s*(?P<of>[A-Za-z]+))"
    r"|(?P<word>[A-Za-zµ]+)"
)
_POWER = re.compile(
    rf"\s?(?:\^|\*\*)\s?[({{]?([+-]?[0-9]{{1,3}})[)}}]?|(-?[0-9]{{1,3}})(?![0-9])|({_SUP})(?![⁰¹²³⁴⁵⁶⁷⁸⁹])"
)
_TAG = re.compile(
    r"\s*\(\s*(STP|stp|s\.t\.p\.|S\.T\.P\.|O2|CO2|N2|H2O)\s*\)|[\s_]*(STP|stp|O2|CO2|N2|H2O)(?![A-Za-z0-9])"
)
_STATE = re.compile(
    r"\s*\(\s*(-?[0-9]+(?:\.[0-9]+)?)\s*(degC|°C|K)\s*[,;]\s*([0-9]+(?:\.[0-9]+)?)\s*(atm|bar|mbar|hPa|kPa|Pa)\s*\)"
)
_SCALES = {"C": "degC", "F": "degF"}
_SHARES = {"wt": "wt%", "vol": "vol%", "mol": "mol%"}
_LARGEST_POWER = 6


def plain(text: str) -> str:
    """The text with typographic variants replaced, character by character."""
    return text.translate(_PLAIN)


@dataclass(frozen=True, slots=True)
class Term:
    """One symbol with its power (negative below the slash).

    state: amount of gas per volume [mol/m3] when the text tags a gas volume, else 0. gas: the substance
    that the text names behind the symbol.
    """

    symbol: str
    factor: float
    dim: Dim
    power: int
    column: int
    offset: float = 0.0
    share: bool = False
    state: float = 0.0
    gas: str = ""


@dataclass(frozen=True, slots=True)
class UnitText:
    """A parsed unit: product of ``factor`` (its bare numbers) and all ``terms``."""

    factor: float
    terms: tuple[Term, ...]
    currency: str = ""


def raised(caret: str | None, superscript: str | None) -> int:
    """The integer of a power written behind ``^`` or as superscripts."""
    return int((caret or superscript or "").translate(_RAISED))


def parse_unit(text: str, *, price: bool) -> UnitText:
    """Terms of a ``plain`` text; with ``price`` three capitals first are a currency. Raises UnitError."""
    return _Parser(text, price).run()


def fail(message: str, column: int, hint: str = "") -> UnitError:
    """A UnitError at a column counted from 0."""
    return UnitError(message, column=column + 1, hint=hint)


class _Parser:
    """One pass; ``last`` is what stood before: start, number, term, times, slash, open or close."""

    def __init__(self, text: str, price: bool) -> None:
        self.text, self.price = text, price
        self.pos = 0
        self.below = False
        self.powered = False
        self.last = "start"
        self.factor = 1.0
        self.terms: list[Term] = []
        self.open: list[tuple[str, int, int, float]] = []  # bracket, column and what was read before it
        self.currency = ""

    def run(self) -> UnitText:
        text, end = self.text, len(self.text)
        while self.pos < end:
            char = text[self.pos]
            if char == " ":
                self.pos += 1
            elif char in "0123456789":
                self.number()
            elif char == "/":
                self.slash(1)
            elif char in "*.":
                self.times(char)
            elif char == "-":
                self.hyphen()
            elif char in "([":
                self.open.append((char, self.pos, len(self.terms), self.factor))
                self.pos += 1
                self.last = "open"
            elif char in ")]":
                self.close(char)
            else:
                self.word()
        self.complete("the unit ends")
        if self.open:
            raise fail("this bracket is not closed", self.open[-1][1])
        return UnitText(self.factor, tuple(self.terms), self.currency)

    def complete(self, what: str) -> None:
        """Refuse an end, a slash or a closing bracket that leaves something hanging."""
        if self.last == "number" and (self.below or self.terms or what == "the unit ends"):
            raise fail(
                f"a number without a unit before {what}", max(self.pos - 1, 0), "a unit must follow it"
            )
        if self.last in ("times", "slash", "open"):
            raise fail(f"{what} where a unit symbol should be", min(self.pos, len(self.text) - 1))

    def number(self) -> None:
        found = _NUMBER.match(self.text, self.pos)
        assert found is not None  # a digit stands here
        if self.last == "number":
            raise fail("two numbers in a row", self.pos, "write one number, without a blank inside")
        if self.text[found.end() : found.end() + 1] == ",":
            raise unexpected(",", found.end())
        value = float(found[3]) if found[3] else 10.0 ** raised(found[1], found[2])
        if not 0.0 < value < float("inf"):
            raise fail(f"{found[0]} cannot be a factor in a unit", self.pos)
        power = -1 if self.below else 1
        try:
            self.factor *= value**power
        except OverflowError:
            raise fail(f"{found[0]} cannot be a factor in a unit", self.pos) from None
        self.pos = found.end()
        self.last = "number"

    def slash(self, width: int) -> None:
        if self.last != "start":
            self.complete("'/'")
        self.pos += width
        self.below = True
        self.last = "slash"

    def times(self, char: str) -> None:
        if (
            char == "."
            and self.text[self.pos + 1 :].lstrip()[:1] in ("", "/", ")", "]")
            and self.last == "term"
        ):
            self.pos += 1  # the dot of an abbreviation, "in." or "hr."
            return
        if self.last in ("start", "times", "slash", "open"):
            raise fail(f"nothing to multiply before '{char}'", self.pos)
        self.pos += 1
        self.last = "times"

    def hyphen(self) -> None:
        after = self.text[self.pos + 1 : self.pos + 2]
        # "in2-24h": behind a power a minus can only join, as it does before a letter in "cc-mil".
        if self.last in ("term", "close") and (after.isalpha() or (self.powered and after.isdigit())):
            self.pos += 1
            self.last = "times"
            return
        raise fail("this '-' is unclear", self.pos, "multiply with *, and write a power as m-2 or m^-2")

    def close(self, char: str) -> None:
        if not self.open or self.open[-1][0] != {")": "(", "]": "["}[char]:
            raise fail(f"'{char}' closes no bracket", self.pos)
        self.complete(f"'{char}'")
        _, start, first, factor = self.open.pop()
        self.pos += 1
        self.last = "close"
        found = _POWER.match(self.text, self.pos)
        if found is None:
            return
        inside = self.terms[first:]
        if (
            raised(found[1] or found[2], found[3]) != -1
            or self.below
            or any(t.state or t.gas for t in inside)
        ):
            raise fail("only (...)-1 is read as a power of a bracket", start, "write the slash instead")
        self.pos = found.end()
        self.terms[first:] = [replace(term, power=-term.power) for term in inside]
        self.factor = factor * factor / self.factor

    def word(self) -> None:
        found = _WORD.match(self.text, self.pos)
        if found is None:
            raise unexpected(self.text[self.pos], self.pos)
        word = found["word"]
        if word == "per":
            self.slash(3)
            return
        if word in ("x", "X"):
            self.times("x")
            return
        start, self.pos = self.pos, found.end()
        if self.price and not self.terms and not self.below and word and re.fullmatch("[A-Z]{3}", word):
            self.currency = word if table.find(word) is None else ""
        if self.currency and not self.terms:
            unit, power = Unit(word, 1.0, table.dim(currency=1)), 1
        else:
            unit, power = self.lookup(found, start)
        power *= self.power(start)
        self.terms.append(self.tagged(unit, -power if self.below else power, start))
        self.last = "term"

    def lookup(self, found: re.Match[str], start: int) -> tuple[Unit, int]:
        if found["rh"]:
            return table.UNITS["%RH"], 1
        if found["share"]:
            return table.UNITS[_SHARES.get(found["share"].rstrip("% .‰"), found["share"])], 1
        if found["degree"]:
            return table.UNITS[_SCALES.get((found["scale"] or "").upper(), found["degree"])], 1
        if found["mercury"]:
            return table.UNITS[found["column"] + "Hg"], 1
        if found["joined"]:
            unit = symbol(found["of"], found.start("of"), self.price)
            if unit.dim != table.dim(length=1):
                raise fail(f"'{found['how']}' belongs before a length, not before '{found['of']}'", start)
            return unit, 3 if found["how"].startswith("cu") else 2
        word = found["word"]
        if word.lower() in table.JOINED:
            base, power = table.JOINED[word.lower()]
            return table.UNITS[base], power
        return symbol(word, start, self.price), 1

    def power(self, start: int) -> int:
        found = _POWER.match(self.text, self.pos)
        self.powered = found is not None
        if found is None:
            return 1
        power = raised(found[1] or found[2], found[3])
        if not 0 < abs(power) <= _LARGEST_POWER:
            raise fail(
                f"'{self.text[start : found.end()]}' has the power {power}", self.pos,
                "put * between a symbol and a number that is a factor",
            )  # fmt: skip
        if power < 0 and self.below:
            raise fail(
                "a negative power after the slash is unclear",
                self.pos,
                "use either the slash or negative powers",
            )
        self.pos = found.end()
        return power

    def tagged(self, unit: Unit, power: int, start: int) -> Term:
        state, gas = 0.0, ""
        while True:
            tag = _TAG.match(self.text, self.pos)
            reference = None if tag else _STATE.match(self.text, self.pos)
            end = tag.end() if tag else self.pos
            if reference is not None:
                end = reference.end()
                temperature = float(reference[1]) + (0.0 if reference[2] == "K" else ZERO_CELSIUS)
                if temperature <= 0.0:
                    raise fail(f"{reference[0].strip()} is below absolute zero", self.pos)
                state = float(reference[3]) * table.UNITS[reference[4]].factor / (GAS_CONSTANT * temperature)
            elif tag is not None:
                name = tag[1] or tag[2]
                if name[0] in "sS":
                    state = STP_MOLES_PER_M3
                else:
                    gas = name
            else:
                break
            if power < 0:
                raise fail(
                    "what is tagged must stand before the slash",
                    self.pos,
                    "as in cm3(STP)/(m2*day) or mg(O2)/L",
                )
            if state and tuple(p * power for p in unit.dim) != VOLUME:
                raise fail("a reference state belongs behind a volume of gas", self.pos, "as in cm3(STP)")
            self.pos = end
        return Term(unit.symbol, unit.factor, unit.dim, power, start, unit.offset, unit.share, state, gas)


def symbol(word: str, column: int, price: bool = False) -> Unit:
    """The unit of a word; UnitError with choices when it is ambiguous, with suggestions when unknown."""
    choices = table.AMBIGUOUS_AS_TYPED.get(word)
    unit = None if choices else table.find(word)
    if unit is not None:
        return unit
    choices = choices or table.AMBIGUOUS.get(word.casefold())
    if choices:
        raise fail(f"'{word}' has several meanings", column, choices)
    near = table.same_but_case(word) or difflib.get_close_matches(word, table.UNITS, n=3, cutoff=0.6)
    near = near or difflib.get_close_matches(word.casefold(), table.UNITS, n=3, cutoff=0.6)
    if price:
        raise fail(
            f"unknown currency or unit '{word}'",
            column,
            "a currency is three capital letters, as in 1.30 EUR/kg",
        )
    raise fail(f"unknown unit '{word}'", column, f"did you mean {' or '.join(near)}?" if near else "")


def unexpected(char: str, column: int) -> UnitError:
    """The refusal of a character that no notation uses, with the reason where it is a known habit."""
    if char == ",":
        return fail("a comma in a number or unit", column, "use a decimal point, and no thousands separator")
    if char in "$€£¥":
        return fail(
            f"'{char}' is not read", column, "write the currency as three capital letters, as in 1.30 EUR/kg"
        )
    if char in "'\"":
        return fail(f"'{char}' is not read", column, "write in, ft or mil for lengths")
    if char == "°":
        return fail("degrees of which scale?", column, "write degC, degF or K")
    return fail(f"unexpected '{char}'" if char.isprintable() else "unexpected character", column)
