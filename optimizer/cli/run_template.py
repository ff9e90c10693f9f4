"""Body of ``layerwright template``: a project file to start from, or a project in the other form."""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from optimizer.cli.guard import DONE
from optimizer.cli.output import put
from optimizer.cli.outputs import STDOUT, Outputs, check_target
from optimizer.errors import InputError, Problem
from optimizer.files import write_atomically

#: Forms of a project that are written.
YAML, BOOK = (".yaml", ".yml"), (".xlsx",)


def run(target: str, source: str | None = None, force: bool = False, json: str | None = None) -> int:
    """Write ``target``, YAML or a workbook by its ending: the starting example, or the project ``source``.

    Raises InputError for an ending that is not written, a file that exists (unless ``force``), and with
    every problem of ``source``.
    """
    path = Path(target)
    ending = path.suffix.lower()
    if ending not in (*YAML, *BOOK):
        hint = "give a name that ends in .yaml or .xlsx"
        raise InputError(Problem("is neither YAML nor a workbook by its name", target, hint=hint))
    if path.is_dir():
        raise InputError(Problem("is a folder", target, hint="give the name of a file"))
    check_target(target, "template")
    if path.exists() and not force:
        raise InputError(
            Problem("exists already", target, hint="give another name, or --force to replace it")
        )
    Outputs(json).check(source, others=(("FILE", target),))
    import optimizer
    from optimizer.report.record import dump

    data, head, files = _contents(source)
    Outputs(json).check(*files, others=(("FILE", target),))
    content = _book(data if source else None) if ending in BOOK else _yaml(data, head)
    write_atomically(path, content)
    record = dump(
        {
            "command": "template",
            "title": data.get("title", ""),
            "version": optimizer.__version__,
            "file": target,
            "from": source,
            "project": data,
        }
    )
    if json == STDOUT:
        put(record)
        return DONE
    if json is not None:
        write_atomically(Path(json), record)
    put(_said(target, source) + _files_to_copy(source, path, files))
    return DONE


def _contents(source: str | None) -> tuple[Mapping[str, Any], str, tuple[Path, ...]]:
    """The plain contents of the project, the remark at the head of a YAML file, and the files it names."""
    if source is None:
        from optimizer.project.starting import HEAD, starting_data

        return starting_data(), HEAD, ()
    from optimizer.project.load import load_project

    project = load_project(source)
    return project.data, "", project.files[1:]


def _book(data: Mapping[str, Any] | None) -> bytes:
    from optimizer.report.excel.template import template_workbook

    return template_workbook(data)


def _yaml(data: Mapping[str, Any], head: str) -> bytes:
    from optimizer.project.yaml_text import yaml_text

    return yaml_text(data, head).encode("utf-8")


def _said(target: str, source: str | None) -> str:
    what = f"The project {source}" if source else "An invented project to start from"
    return f"{what} is in {target}. Next: layerwright predict {target}\n"


def _files_to_copy(source: str | None, path: Path, files: tuple[Path, ...]) -> str:
    """What is said of files that the project names, when it goes to another folder than theirs."""
    if source is None or not files or Path(source).resolve().parent == path.resolve().parent:
        return ""
    folder = Path(source).parent
    names = ", ".join(_from(folder, file) for file in files)
    return f"It names files by their path from its folder; copy them along: {names}\n"


def _from(folder: Path, file: Path) -> str:
    try:
        return os.path.relpath(file, folder)
    except ValueError:  # another drive
        return str(file)
