"""Body of ``layerwright schema``."""

from __future__ import annotations

from pathlib import Path

from optimizer.cli.guard import DONE
from optimizer.cli.output import put
from optimizer.cli.outputs import STDOUT, check_target
from optimizer.files import write_atomically


def run(json: str | None) -> int:
    """Write the schema to the file, or print it."""
    check_target(json)
    from json import dumps

    from optimizer.project.json_schema import json_schema

    text = dumps(json_schema(), indent=2, ensure_ascii=False) + "\n"
    if json in (None, STDOUT):
        put(text)
    else:
        write_atomically(Path(str(json)), text)
    return DONE
