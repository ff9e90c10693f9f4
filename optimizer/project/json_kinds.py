"""What a key of the project file may hold, as JSON Schema: for editors and for the tables of the manual.

The validators say what is right in words; these shapes only help while typing, and never refuse what the
validators take. Source of the format: JSON Schema, draft 2020-12.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated, Any

from pydantic import WithJsonSchema

#: Key of a schema under which the manual finds what kind of value it is.
KIND = "x-kind"
#: That kind of a key which names a file.
FILE = "file name"

#: A number, then a unit or the percent sign; units themselves are read elsewhere.
_QUANTITY = r"^\s*[+-]?(\d|\.\d).*[^\d.\s+eE-]"

#: A text that is a number, with space around it.
_NUMBER = r"^\s*[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?\s*$"


def _shape(schema: dict[str, Any]) -> Any:
    return Annotated[Any, WithJsonSchema(schema)]


def quantity_shape(kinds: str | Sequence[str], example: str, limits: str = "") -> Any:
    """A text with a unit."""
    names = [kinds] if isinstance(kinds, str) else list(dict.fromkeys(kinds))
    kind = " or ".join("share" if name == "fraction" else name for name in names)
    schema = {"type": "string", "pattern": _QUANTITY, "examples": [example], KIND: kind}
    return _shape(schema | ({"x-limits": limits} if limits else {}))


def number_shape(example: str, limits: str = "") -> Any:
    """A bare number, or a text that is one."""
    schema = {"type": ["number", "string"], "pattern": _NUMBER, "examples": [float(example)], KIND: "number"}
    return _shape(schema | ({"x-limits": limits} if limits else {}))


def whole_shape(least: int, most: int) -> Any:
    bounds = {"minimum": least, "maximum": most}
    return _shape({"type": ["integer", "string"], "pattern": _NUMBER, **bounds, KIND: "whole number"})


def ratio_shape(example: str = "1.4") -> Any:
    """A bare number, or a share in per cent."""
    return _shape({"type": ["number", "string"], "examples": [float(example)], KIND: "number or share"})


def word_shape() -> Any:
    return _shape({"type": ["string", "number"], KIND: "text"})


def text_shape() -> Any:
    """A text that is never a bare number."""
    return _shape({"type": "string", KIND: "text"})


def file_shape(number: bool = True) -> Any:
    """The name of a file, relative to the project file; see ``file_keys``. number: it may be a bare one."""
    return _shape({"type": ["string", "number"] if number else "string", KIND: FILE})


def choice_shape(words: Sequence[Any]) -> Any:
    return _shape({"enum": list(words), KIND: "word"})


def any_case_shape(words: Sequence[Any]) -> Any:
    return _shape(any_case(words) | {KIND: "word"})


def any_case(words: Sequence[Any]) -> dict[str, Any]:
    """One of ``words``, which an editor offers; in capital or small letters, or with space around it, it is
    taken too. A number among them may be a text."""
    spelt = "|".join("".join(_either(letter) for letter in str(word)) for word in words)
    return {"anyOf": [{"enum": list(words)}, {"type": "string", "pattern": rf"^\s*({spelt})\s*$"}]}


def _either(letter: str) -> str:
    return f"[{letter.lower()}{letter.upper()}]" if letter.isalpha() else letter


def flag_shape() -> Any:
    return _shape({"type": "boolean", KIND: "true or false"})


def table_shape(columns: Sequence[Any], kind: str, least: int = 2) -> Any:
    """Rows of as many cells as there are ``columns``, each the schema of a cell."""
    row = {"type": "array", "prefixItems": list(columns), "minItems": len(columns), "maxItems": len(columns)}
    return _shape({"type": "array", "items": row, "minItems": least, KIND: kind})


def any_of(*schemas: dict[str, Any], kind: str) -> Any:
    return _shape({"anyOf": list(schemas), KIND: kind})


#: Cells of tables.
LENGTH_CELL = {"type": "string", "pattern": _QUANTITY, "examples": ["20 mm"]}
NUMBER_CELL = {"type": ["number", "string"]}
QUANTITY_CELL = {"type": "string", "pattern": _QUANTITY}
