"""Writes the tables of keys in docs/project-file.md anew from the JSON Schema: ``python tests/reference.py``.

A table stands between ``<!-- keys: NAME -->`` and ``<!-- /keys -->``. NAME is a group of the schema (several
with a comma share a table), ``ProjectFile`` for the whole file, ``Shapes`` for the shapes, or ``Material``
and the groups in it, as ``Material.permeability``.
"""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

from optimizer.geometry.shapes import SHAPES
from optimizer.project.json_schema import json_schema, kind_of

PAGE = Path(__file__).parents[1] / "docs" / "project-file.md"
_TABLE = re.compile(r"(<!-- keys: ([\w., ]+) -->\n).*?(<!-- /keys -->)", re.DOTALL)


def refreshed(text: str) -> str:
    """The page with every table written anew."""
    schema = json_schema(markdown=True)
    return _TABLE.sub(lambda found: found[1] + table(found[2], schema) + found[3], text)


def names(text: str) -> list[str]:
    """Groups that have a table on the page."""
    return [name.strip() for found in _TABLE.finditer(text) for name in found[2].split(",")]


def table(name: str, schema: dict[str, Any]) -> str:
    if name == "Shapes":
        return _shapes()
    rows = [row for each in name.split(",") for row in _rows(_group(each.strip(), schema), schema["$defs"])]
    return "\n".join(["| key | what it holds | meaning |", "|---|---|---|", *rows, ""])


def _group(name: str, schema: dict[str, Any]) -> dict[str, Any]:
    if name == "ProjectFile":
        return schema
    if name == "ShapePart":
        disc = schema["$defs"]["Shape_disc"]
        kept = {key: value for key, value in disc["properties"].items() if key != "diameter"}
        kept["shape"] = {**kept["shape"], "enum": []}
        return {**disc, "properties": kept}
    if not name.startswith("Material"):
        return dict(schema["$defs"][name])
    node = schema["properties"]["materials"]["items"]["anyOf"][1]
    for key in name.split(".")[1:]:
        node = node["properties"][key]
        node = node.get("items", node)
    return dict(node)


def _rows(group: dict[str, Any], definitions: dict[str, Any]) -> list[str]:
    rows = []
    for key, entry in group["properties"].items():
        needed = ", needed" if key in group.get("required", []) else ""
        kind = kind_of(entry, definitions)
        words = _words(entry)
        kind = kind.replace("word", " \\| ".join(f"`{word}`" for word in words), 1) if words else kind
        meaning = entry.get("description", "")
        default = entry.get("default")
        if isinstance(default, str | int | float) and default != "":
            meaning += f"; `{_plain(default)}` when absent"
        rows.append(f"| `{key}` | {kind}{needed} | {_with_example(meaning, entry)} |")
    return rows


def _words(entry: dict[str, Any]) -> list[Any]:
    for each in (entry, *entry.get("anyOf", ())):
        if "enum" in each:
            return list(each["enum"])
        if "const" in each:
            return [each["const"]]
    return []


def _with_example(meaning: str, entry: dict[str, Any]) -> str:
    """An example where the words have none."""
    options = [entry, *entry.get("anyOf", ())]
    examples = [x["examples"][0] for x in options if x.get("examples")]
    if "`" in meaning or not examples:
        return meaning
    example = examples[0]
    shown = f"[{', '.join(map(str, example))}]" if isinstance(example, list) else _plain(example)
    return f"{meaning}: `{shown}`" if meaning else f"`{shown}`"


def _plain(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    return f"{value:g}" if isinstance(value, float) else str(value)


def _shapes() -> str:
    rows = ["| shape | keys | what it is |", "|---|---|---|"]
    for name, spec in SHAPES.items():
        needed = ", ".join(f"`{key}`" for key in spec.required)
        other = {meant: alias for alias, meant in spec.aliases.items()}
        optional = [f"`{key}`" + (f" or `{other[key]}`" if key in other else "") for key in spec.optional]
        rows.append(
            f"| `{name}` | {'; '.join(filter(None, (needed, ', '.join(optional))))} | {spec.description} |"
        )
    return "\n".join([*rows, ""])


if __name__ == "__main__":
    PAGE.write_text(refreshed(PAGE.read_text(encoding="utf-8")), encoding="utf-8")
