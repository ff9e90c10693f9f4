"""Paths of keys as they stand in a workbook: ``product.oxygen.consumption.rate``, ``storage[1].start``.

A step with a point, a bracket or a blank at its ends is written ``["a.b"]``. In a list a step that is a name
means the entry of that name: ``materials.HDPE.note``.
"""

from __future__ import annotations

import json
import re

from optimizer.catalog.workbook import ESCAPE
from optimizer.project.source import Location, Step

_PLAIN = re.compile(r'[^\s.\[\]"](?:[^.\[\]"\x00-\x1f]*[^\s.\[\]"\x00-\x1f])?')
_STEP = re.compile(
    rf'\[(?P<index>\d{{1,6}})\]|\[(?P<quoted>"(?:[^"\\]|\\.)*")\]|\.?(?P<plain>{_PLAIN.pattern})'
)


def path_text(path: Location) -> str:
    """The path as text, which ``read_path`` reads."""
    text = ""
    for step in path:
        if isinstance(step, int):
            text += f"[{step}]"
        elif (
            _PLAIN.fullmatch(step)
            and not ESCAPE.search(step)
            and " ".join(step.split()) == step
            and step.isprintable()
        ):
            text += f".{step}" if text else step
        else:
            text += "[" + ESCAPE.sub(r"\\u005f", json.dumps(step)) + "]"
    return text


def read_path(text: str) -> Location | None:
    """The steps of a path; None for a text that is none."""
    steps: list[Step] = []
    position = 0
    while position < len(text):
        found = _STEP.match(text, position)
        if found is None or (found["plain"] and found[0].startswith(".") != bool(steps)):
            return None
        if found["index"]:
            steps.append(int(found["index"]))
        elif found["quoted"]:
            try:
                steps.append(str(json.loads(found["quoted"])))
            except ValueError:
                return None
        else:
            steps.append(found["plain"])
        position = found.end()
    return tuple(steps) or None
