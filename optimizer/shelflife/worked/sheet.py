"""A sheet of numbered steps: each equation is written once and gives the text with numbers and the value."""

from __future__ import annotations

import ast
import math
import operator
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from optimizer.constants import (
    ATMOSPHERE,
    DAY,
    GAS_CONSTANT,
    MOLAR_MASS,
    STP_MOLAR_VOLUME,
    ZERO_CELSIUS,
)
from optimizer.results_explain import ExplainStep

#: Significant digits of every number that is printed and carried on.
DIGITS = 7
_TOKEN = re.compile(r"\d+\.?\d*(?:[eE][+-]?\d+)?|[A-Za-z_]\w*")
_FUNCTIONS: dict[str, Callable[[float], float]] = {"exp": math.exp, "ln": math.log, "sqrt": math.sqrt}
_OPERATIONS: dict[type, Callable[[float, float], float]] = {
    ast.Add: operator.add,
    ast.Sub: operator.sub,
    ast.Mult: operator.mul,
    ast.Div: operator.truediv,
    ast.Pow: operator.pow,
}


@dataclass(frozen=True)
class Ref:
    """A value on the sheet, as printed, with the number of its step."""

    number: int
    value: float
    text: str


def evaluate(text: str) -> float:
    """Value of plain arithmetic: + - * / **, brackets, exp, ln, sqrt. Raises ValueError for anything else."""
    return _value(ast.parse(text, mode="eval").body)


def _value(node: ast.expr) -> float:
    if isinstance(node, ast.Constant) and isinstance(node.value, int | float):
        return float(node.value)
    if isinstance(node, ast.BinOp) and type(node.op) in _OPERATIONS:
        return float(_OPERATIONS[type(node.op)](_value(node.left), _value(node.right)))
    if isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.USub):
        return -_value(node.operand)
    if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and len(node.args) == 1:
        function = _FUNCTIONS.get(node.func.id)
        if function is not None:
            return function(_value(node.args[0]))
    raise ValueError(f"not plain arithmetic: {ast.unparse(node)}")


def printed(value: float, digits: int = DIGITS) -> str:
    """A number with so many significant digits, as Python reads it back."""
    return f"{value:.{digits}g}"


class Sheet:
    """Steps in order. ``give`` puts a number in, ``work`` computes one from numbers that are there."""

    def __init__(self) -> None:
        self.steps: list[ExplainStep] = []
        self._section = ""
        self._given: dict[tuple[str, str, str], Ref] = {}
        self._worked: dict[tuple[str, str, tuple[tuple[str, int], ...]], Ref] = {}

    def section(self, title: str) -> None:
        """Heading of the steps that follow."""
        self._section = title

    def give(
        self, title: str, value: float, unit: str, origin: str, remark: str = "", digits: int = DIGITS
    ) -> Ref:
        """A number from outside the calculation; the same one again is the same step."""
        text = printed(value, digits)
        key = (title, text, unit)
        if key not in self._given:
            self._given[key] = self._add(title, "", "", text, unit, {}, remark, origin)
        return self._given[key]

    def work(self, title: str, equation: str, unit: str, remark: str = "", /, **symbols: Ref) -> Ref:
        """A step: 'K = 1 / R' with R=... of the sheet; the same one again is the same step. Numbers in the
        equation stay as they stand."""
        right = equation.partition(" = ")[2]
        used = {name: symbols[name] for name in _TOKEN.findall(right) if name in symbols}
        substituted = _TOKEN.sub(lambda m: _text(symbols[m[0]]) if m[0] in symbols else m[0], right)
        text = printed(evaluate(substituted))
        numbers = {name: ref.number for name, ref in used.items()}
        key = (title, equation, tuple(numbers.items()))
        if key not in self._worked:
            self._worked[key] = self._add(title, equation, substituted, text, unit, numbers, remark, "worked")
        return self._worked[key]

    def total(self, title: str, symbol: str, parts: list[Ref], unit: str, remark: str = "") -> Ref:
        """The sum of ``parts``; of one part that part itself."""
        if len(parts) == 1:
            return parts[0]
        names = {f"{symbol}_{i}": part for i, part in enumerate(parts, start=1)}
        return self.work(title, f"{symbol} = " + " + ".join(names), unit, remark, **names)

    def constant(self, name: str) -> Ref:
        """One of the constants below."""
        title, value, unit, remark = CONSTANTS[name]
        return self.give(title, value, unit, "constant", remark)

    def _add(
        self,
        title: str,
        equation: str,
        substituted: str,
        text: str,
        unit: str,
        symbols: Mapping[str, int],
        remark: str,
        origin: str,
    ) -> Ref:
        number = len(self.steps) + 1
        uses = tuple(dict.fromkeys(symbols.values()))
        self.steps.append(
            ExplainStep(
                number,
                title,
                equation,
                substituted,
                float(text),
                text,
                unit,
                uses,
                remark,
                origin,
                self._section,
                symbols,
            )
        )
        return Ref(number, float(text), text)


def _text(ref: Ref) -> str:
    return f"({ref.text})" if ref.value < 0 else ref.text


#: Named constants: title, value, unit, where from.
CONSTANTS: dict[str, tuple[str, float, str, str]] = {
    "R": ("Gas constant", GAS_CONSTANT, "J/(mol K)", "SI, exact"),
    "pi": ("pi", math.pi, "", ""),
    "day": ("Seconds in a day", DAY, "s", ""),
    "atm": ("Standard atmosphere", ATMOSPHERE, "Pa", "exact"),
    "stp": ("Volume of a mole at STP", STP_MOLAR_VOLUME * 1e6, "cm3/mol", "at 0 degC and 1 atm"),
    "ice": ("0 degC", ZERO_CELSIUS, "K", "exact"),
} | {
    f"M_{gas}": (f"Molar mass of {gas}", mass, "kg/mol", "IUPAC 2021, abridged")
    for gas, mass in MOLAR_MASS.items()
}
