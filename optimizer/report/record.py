"""Results as JSON text, keys in the order of the project-file contract."""

from __future__ import annotations

import json
import math
from typing import Any, Protocol

#: Keys that every answer starts with.
COMMON: dict[str, Any] = {
    "command": "",
    "title": "",
    "version": "",
    "inputs_sha256": "",
    "warnings": [],
    "assumptions": [],
    "sources": [],
}


class HasDict(Protocol):
    def as_dict(self) -> dict[str, Any]: ...


def to_json(result: HasDict) -> str:
    """JSON text of a result, ending in a newline. A number that is not finite is written as null."""
    return dump(result.as_dict())


def dump(record: dict[str, Any]) -> str:
    """JSON text of a record: the common keys first, the others in their own order."""
    ordered = {**COMMON, **record}
    solver = ordered.get("solver")
    if isinstance(solver, dict) and "seconds" in solver:  # the only thing that differs from run to run
        rest = {key: value for key, value in solver.items() if key != "seconds"}
        ordered["solver"] = {**rest, "seconds": solver["seconds"]}
    return json.dumps(_finite(ordered), indent=2, ensure_ascii=False, allow_nan=False) + "\n"


def _finite(value: Any) -> Any:
    if isinstance(value, dict):
        return {str(key): _finite(item) for key, item in value.items()}
    if isinstance(value, list | tuple | set | frozenset):
        return [_finite(item) for item in value]
    if isinstance(value, bool | str) or value is None:
        return value
    if isinstance(value, int):
        return int(value)
    if isinstance(value, float):
        return float(value) if math.isfinite(value) else None
    if hasattr(value, "tolist"):  # numpy scalars and arrays
        return _finite(value.tolist())
    return str(value)
