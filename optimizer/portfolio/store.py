"""Saved answers: one JSON file for each project, complete or absent, and whether one still holds."""

from __future__ import annotations

import json
import os
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from optimizer.errors import InputError, Problem
from optimizer.portfolio.collect import digest


class Store:
    """The folder of answers to ``command`` with ``options`` by this ``version`` of the program."""

    def __init__(self, folder: Path, command: str, options: Mapping[str, Any], version: str) -> None:
        self.folder, self.command, self.options, self.version = folder, command, dict(options), version

    def prepare(self) -> None:
        """Make the folder. Raises InputError when nothing can be written in it."""
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            problem = f"this folder for the answers cannot be made: {error.strerror}"
            raise InputError(Problem(problem, str(self.folder), hint="name another with --results")) from None
        if not os.access(self.folder, os.W_OK | os.X_OK):
            hint = "name another with --results"
            raise InputError(Problem("no answers can be written here", str(self.folder), hint=hint))

    def path(self, name: str) -> Path:
        """Where the answer for the project ``name`` (relative to the folder of projects) is kept."""
        return self.folder / f"{name.removesuffix('.yaml')}.{self.command}.json"

    def save(self, name: str, text: str) -> None:
        """Keep an answer: whoever looks finds the whole of it or none."""
        path = self.path(name)
        path.parent.mkdir(parents=True, exist_ok=True)
        part = path.with_name(f".{path.name}.{os.getpid()}.part")
        try:
            part.write_text(text, encoding="utf-8", newline="\n")
            os.replace(part, path)
        except BaseException:
            part.unlink(missing_ok=True)
            raise

    def kept(self, name: str, project: Path) -> dict[str, Any] | None:
        """The saved answer when it is one, and still of these files, this command, options and version."""
        try:
            record = json.loads(self.path(name).read_text(encoding="utf-8"))
            about = record["portfolio"]
            same = (
                not about["status"]
                and (record["command"], record["version"]) == (self.command, self.version)
                and (about["project"], about["options"]) == (name, self.options)
                and bool(about["files"])
                and all(
                    digest((project.parent / file).read_bytes()) == wanted
                    for file, wanted in about["files"].items()
                )
            )
        except (OSError, ValueError, KeyError, TypeError, AttributeError):
            return None
        return record if same else None
