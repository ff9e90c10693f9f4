"""Plain data to YAML as a person would write it: ``yaml_text`` for a project file, ``flow`` for one line."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Mapping
from typing import Any

#: Longest line.
_WIDTH = 120
_INDENT = "  "
#: Words that YAML, in one version or another, does not take for a text.
_WORDS = frozenset({"true", "false", "null", "yes", "no", "on", "off", "y", "n", "~"})
_NUMBER = re.compile(r"[-+.\d][\d_.,eExXoObBa-fA-F:+-]*|[-+]?\.?(inf|nan)", re.IGNORECASE)
#: Texts that need no quotation marks: they start with a letter or a digit, and hold nothing that YAML reads.
_PLAIN = re.compile(r"[A-Za-z0-9][\w .+*/()%=;'^\-]*", re.ASCII)


def yaml_text(data: Mapping[str, Any], head: str = "") -> str:
    """The YAML text of a project file with the contents ``data``; ``head``: a remark before it.

    Reading it gives the same data. Short groups stand on one line.
    """
    lines = [f"# {line}".rstrip() for line in head.splitlines()]
    for i, (key, value) in enumerate(data.items()):
        if i > 1 and isinstance(value, Mapping | list):
            lines.append("")
        lines += _entry(f"{scalar(key)}:", value, "")
    return "\n".join(lines) + "\n"


def _entry(start: str, value: Any, indent: str) -> list[str]:
    """The lines of ``value`` behind ``start`` ('key:' or '-'), which stands at ``indent``."""
    line = f"{indent}{start} {flow(value)}"
    long = len(line) > _WIDTH or (start != "-" and _is_table(value))
    if not isinstance(value, Mapping | list) or not value or (not long and not _opens(value)):
        return [line]
    if isinstance(value, list):
        items = [_entry("-", item, indent + _INDENT) for item in value]
    else:
        items = [_entry(f"{scalar(key)}:", item, indent + _INDENT) for key, item in value.items()]
    below = [text for item in items for text in item]
    if start == "-":  # the first key stands on the line of the dash
        return [f"{indent}- {below[0].strip()}", *below[1:]]
    return [f"{indent}{start}", *below]


def _is_table(value: Any) -> bool:
    """A list of groups, of which each has its line."""
    return isinstance(value, list) and bool(value) and all(isinstance(item, Mapping) for item in value)


def _opens(value: Any) -> bool:
    """Whether a group holds groups of groups, and so is not for one line."""
    inner = list(value.values()) if isinstance(value, Mapping) else value
    return any(
        isinstance(item, Mapping) and any(isinstance(deep, Mapping | list) for deep in item.values())
        for item in inner
    ) or (isinstance(value, Mapping) and any(_is_table(item) for item in inner))


def flow(value: Any) -> str:
    """``value`` on one line, as YAML: {min: 8 um, max: 300 um}."""
    if isinstance(value, Mapping):
        return "{" + ", ".join(f"{scalar(key)}: {flow(item)}" for key, item in value.items()) + "}"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(flow(item) for item in value) + "]"
    return scalar(value)


def scalar(value: Any) -> str:
    """One value as YAML; texts are quoted where YAML would not take them for texts."""
    if value is None:
        return "null"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float):
        return _float(value)
    if isinstance(value, int):
        return str(value)
    text = str(value)
    plain = _PLAIN.fullmatch(text) and not text.endswith(" ") and text.lower() not in _WORDS
    if plain and not (_NUMBER.fullmatch(text)):
        return text
    return quoted(text)


def quoted(text: str) -> str:
    """The text in quotation marks, with escapes for what cannot be seen."""
    return json.dumps(text, ensure_ascii=not text.isprintable())


def _float(value: float) -> str:
    if math.isnan(value):
        return ".nan"
    if math.isinf(value):
        return ".inf" if value > 0 else "-.inf"
    text = repr(value)
    # YAML wants a point in a number with an exponent
    return text if "e" not in text or "." in text else text.replace("e", ".0e")
