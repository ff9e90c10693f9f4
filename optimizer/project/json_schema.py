"""The project file as JSON Schema, from the models that read it: for editors and for the manual."""

from __future__ import annotations

import re
from collections.abc import Iterator
from functools import cache
from typing import Any

from optimizer.project.json_kinds import FILE, KIND
from optimizer.project.schema import ProjectFile

_TITLE = "Layerwright project file"
#: A link or a mark of Markdown, which editors show as it is.
_LINK = re.compile(r"\[([^\]]*)\]\([^)]*\)")


def json_schema(markdown: bool = False) -> dict[str, Any]:
    """JSON Schema, draft 2020-12, of a project file. Every file that ``load_project`` reads fits it.

    markdown: descriptions keep their marks, for the manual.
    """
    schema = ProjectFile.model_json_schema(by_alias=True, mode="validation")
    plain: dict[str, Any] = _plain(schema, markdown)
    head = {"$schema": "https://json-schema.org/draft/2020-12/schema", "title": _TITLE}
    return {**head, **{key: value for key, value in plain.items() if key != "title"}}


@cache
def file_keys() -> frozenset[str]:
    """The keys whose values name files."""
    return frozenset(_file_keys(ProjectFile.model_json_schema(by_alias=True, mode="validation")))


def _file_keys(node: Any) -> Iterator[str]:
    """Of every group within, the keys that are of the kind ``FILE``, among other kinds perhaps."""
    for value in node.values() if isinstance(node, dict) else node if isinstance(node, list) else ():
        yield from _file_keys(value)
    given = node.get("properties") if isinstance(node, dict) else None
    for key, schema in given.items() if isinstance(given, dict) else ():
        if _names_a_file(schema):
            yield key


def _names_a_file(schema: Any) -> bool:
    if not isinstance(schema, dict):  # of a key that is called 'properties' itself
        return False
    return schema.get(KIND) == FILE or any(map(_names_a_file, schema.get("anyOf", ())))


def _plain(node: Any, markdown: bool, named: bool = False) -> Any:
    """Without the titles that pydantic makes of names; ``named``: the keys are names of the file's own."""
    if isinstance(node, list):
        return [_plain(item, markdown) for item in node]
    if not isinstance(node, dict):
        return node
    kept = {}
    for key, value in node.items():
        if not named and key == "title" and isinstance(value, str):
            continue
        if not named and not markdown and key == "description" and isinstance(value, str):
            value = _LINK.sub(r"\1", value).replace("`", "")
        if not named and key == "default" and not isinstance(value, str | int | float | bool):
            continue
        kept[key] = _plain(value, markdown, named=not named and key in ("properties", "$defs"))
    return kept


def kind_of(schema: dict[str, Any], definitions: dict[str, Any]) -> str:
    """What a key holds, in a word or two: 'length', 'text', 'words', 'group'."""
    if KIND in schema:
        return str(schema[KIND])
    if "enum" in schema or "const" in schema:
        return "word"
    if "$ref" in schema:
        return "group"
    if schema.get("type") == "array":
        items = schema.get("items", {})
        if "prefixItems" in items:
            return "rows"
        inner = kind_of(items, definitions)
        return {"text": "names"}.get(inner, "rows")
    if schema.get("type") == "object":
        extra = schema.get("additionalProperties")
        inner = kind_of(extra, definitions) if isinstance(extra, dict) else "group"
        return f"{inner} by name"
    if "anyOf" in schema:
        kinds = [kind_of(x, definitions) for x in schema["anyOf"] if x.get("type") != "null"]
        return " or ".join(dict.fromkeys(kinds))
    return {"string": "text"}.get(str(schema.get("type")), "value")
