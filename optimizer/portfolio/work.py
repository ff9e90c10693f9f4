"""What a worker does with one project: lay out its files, run the command, give back the answer as JSON.

Whatever goes wrong with the project becomes part of the answer. Only a dying process is left to the cluster.
"""

from __future__ import annotations

import json
import os
import tempfile
import threading
import time
import traceback
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path, PurePath
from typing import Any

from optimizer.errors import InputError, LayerwrightError
from optimizer.portfolio.collect import Bundle, digest

#: A process works on one project at a time, however many threads its worker has.
_ONE = threading.Lock()

INPUT_ERROR, BROKEN = "input error", "failed"


@dataclass(frozen=True)
class Task:
    """command: predict or design, with the keyword arguments of its function. name: of the project, relative
    to the folder of projects. version: of the program that asks."""

    command: str
    options: Mapping[str, Any]
    name: str
    version: str
    bundle: Bundle


class WrongVersion(LayerwrightError):
    """The worker runs another version of the program than the one that asks."""


def work(task: Task) -> str:
    """JSON text of the command's answer, with a last key ``portfolio``: project, status, messages, seconds,
    options, files. Raises WrongVersion, nothing else."""
    import optimizer

    if optimizer.__version__ != task.version:
        raise WrongVersion(f"a worker has layerwright {optimizer.__version__}, not {task.version}")
    with _ONE, tempfile.TemporaryDirectory(prefix="layerwright-") as root:
        base = lay_out(task.bundle, Path(root).resolve())
        return _renamed(_answer(task, base), base, task.bundle.shown)


def _answer(task: Task, base: Path) -> str:
    begin = time.perf_counter()
    trace = ""
    try:
        _check_fixed(task.bundle)
        record, files = _run(task, base)
        return portfolio_record(task, record, files=files, seconds=time.perf_counter() - begin)
    except InputError as error:
        status, messages = INPUT_ERROR, [str(problem) for problem in error.problems]
    except LayerwrightError as error:
        status, messages = BROKEN, [str(error)]
    except Exception as error:  # a defect of the program: the saved answer has what a report of it needs
        status, messages = BROKEN, [f"internal error: {type(error).__name__}: {error}"]
        trace = traceback.format_exc()
    seconds = time.perf_counter() - begin
    return portfolio_record(task, status=status, messages=messages, seconds=seconds, trace=trace)


def _run(task: Task, base: Path) -> tuple[dict[str, Any], dict[str, str]]:
    """The record of the answer, and the digest of every file that it rests on."""
    import optimizer

    project = optimizer.load_project(base / task.bundle.files[0][0])
    if task.command == "predict":
        record = optimizer.predict(project, **task.options).as_dict()
    else:
        record = optimizer.solve_design(project, **task.options).as_dict()
    contents = dict(task.bundle.files)
    files: dict[str, str] = {}
    for file in project.files:
        name = str(file.relative_to(base)) if file.is_relative_to(base) else str(file)
        files[name] = digest(contents[name] if name in contents else file.read_bytes())
    return record, files


def portfolio_record(
    task: Task,
    record: Mapping[str, Any] | None = None,
    *,
    status: str = "",
    messages: list[str] | None = None,
    files: Mapping[str, str] | None = None,
    seconds: float | None = None,
    trace: str = "",
) -> str:
    """JSON text of an answer with what the portfolio adds; without ``record`` the project has no answer.

    status, messages, trace (of a crash): why not.
    """
    from optimizer.report.record import dump

    given = record or {"command": task.command, "version": task.version}
    about: dict[str, Any] = {
        "project": task.name,
        "status": status,
        "messages": messages or [],
        "options": dict(task.options),
        "files": dict(files or {}),
        "seconds": seconds,
    }
    if trace:
        about["traceback"] = trace
    return dump({**given, "portfolio": about})


def lay_out(bundle: Bundle, root: Path) -> Path:
    """Write the files of ``bundle`` below ``root``, deep enough for every '..' in their names to stay within
    it; the folder of the project file."""
    rise = max(_rise(name) for name, _ in bundle.files)
    base = root.joinpath(*(f"above{i}" for i in range(rise)))
    for name, content in bundle.files:
        path = base / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
    return base


def _rise(name: str) -> int:
    """How many folders above its start a relative path leads at most."""
    depth = highest = 0
    for part in PurePath(name).parts:
        depth += -1 if part == ".." else 1
        highest = min(highest, depth)
    return -highest


def _check_fixed(bundle: Bundle) -> None:
    """Refuse a file with an absolute path that is not here what it is on the machine that asks."""
    for name, wanted in bundle.fixed:
        try:
            same = digest(Path(name).read_bytes()) == wanted
        except OSError:
            same = False
        if not same:
            raise LayerwrightError(
                f"{name} is not the same file on the worker as here; "
                "name files relative to the project file, then they travel with it"
            )


def _renamed(text: str, base: Path, shown: str) -> str:
    """The JSON text with the folder that the user knows in place of the one on the worker."""
    parent = os.path.dirname(shown)
    for here, there in ((f"{base}{os.sep}", parent and f"{parent}{os.sep}"), (str(base), parent or ".")):
        text = text.replace(_quoted(here), _quoted(there))
    return text


def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False)[1:-1]
