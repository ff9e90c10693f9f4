"""The same command over every project of a folder: what is done already, what is left, and the table."""

from __future__ import annotations

import json
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import AbstractContextManager
from pathlib import Path
from typing import Any

from optimizer.errors import InputError, Problem
from optimizer.portfolio.cluster import ClusterLost, Pool, cores, need_distributed, own_workers, workers_at
from optimizer.portfolio.collect import Bundle, bundle, find_projects
from optimizer.portfolio.store import Store
from optimizer.portfolio.work import BROKEN, INPUT_ERROR, Task, portfolio_record, work
from optimizer.report.portfolio import Portfolio, ProjectRow, row_of

#: Commands that a portfolio can run, and the options that each takes.
COMMANDS = {
    "predict": ("samples", "seed"),
    "design": ("time_limit", "gap", "memory_limit", "confidence"),
}
#: Most projects that travel together: a prediction takes little longer than its way.
_BUNCH = {"predict": 8, "design": 1}
#: Called with how many projects are ready, how many there are, and the last one's name.
Progress = Callable[[int, int, str], None]


class Stopped(KeyboardInterrupt):
    """Stopped from the keyboard: ``done`` of ``total`` answers are kept in ``results``."""

    def __init__(self, done: int, total: int, results: Path) -> None:
        self.done, self.total, self.results = done, total, results
        super().__init__(f"{done} of {total} answers are kept in {results}")


def run_portfolio(
    folder: str | Path,
    command: str,
    *,
    options: Mapping[str, Any] | None = None,
    scheduler: str | None = None,
    workers: int | None = None,
    results: str | Path | None = None,
    fresh: bool = False,
    progress: Progress | None = None,
) -> Portfolio:
    """Run ``command`` (predict or design) on every project below ``folder``, YAML files and workbooks.

    options: those of ``optimizer.solve_design``: ``time_limit`` [s], ``gap`` [-], ``memory_limit`` [bytes].
    scheduler: address of a running one, whose workers are used; otherwise ``workers`` processes are started
    here (default: one for each core). results: folder of the answers, default ``results`` in ``folder``; an
    answer there that still holds is used again, unless ``fresh``. Raises InputError, ClusterLost, Stopped; a
    single project's trouble is a row, not an exception.
    """
    import optimizer

    begin = time.monotonic()
    if command not in COMMANDS or set(options or {}) - set(COMMANDS[command]):
        raise ValueError(f"not a command of a portfolio, or not its options: {command} {options}")
    if workers is not None and workers < 1:
        raise InputError(Problem(f"must be at least 1, not {workers}", field="--workers"))
    need_distributed()
    folder = Path(folder)
    found = find_projects(folder)
    settings = {key: (options or {}).get(key) for key in COMMANDS[command]}
    store = Store(
        Path(results) if results is not None else folder / "results",
        command,
        settings,
        optimizer.__version__,
    )
    store.prepare()
    names = {str(path.relative_to(folder)): path for path in found.projects}
    kept = {} if fresh else {name: store.kept(name, path) for name, path in names.items()}
    rows = {name: row_of(record) for name, record in kept.items() if record is not None}
    left = {name: path for name, path in names.items() if name not in rows}
    computed = _Computation(store, left, rows, len(names), progress)
    count = 0
    if left:
        count = computed.run(scheduler, min(workers or cores(), len(left)))
    return Portfolio(
        command=command,
        folder=str(folder),
        results=str(store.folder),
        version=store.version,
        rows=tuple(rows[name] for name in names),
        computed=len(left),
        passed_over={str(path.relative_to(folder)): why for path, why in found.passed_over.items()},
        workers=count,
        seconds=time.monotonic() - begin,
    )


class _Computation:
    """The projects that are left, on their way to the workers and back."""

    def __init__(
        self,
        store: Store,
        left: Mapping[str, Path],
        rows: dict[str, ProjectRow],
        total: int,
        progress: Progress | None,
    ) -> None:
        self.store, self.left, self.rows, self.total = store, left, rows, total
        self.progress = progress or (lambda done, total, text: None)

    def run(self, scheduler: str | None, workers: int) -> int:
        """Fill the rows; the most threads that worked at once. Finished answers are kept whatever happens."""
        pool: AbstractContextManager[Pool]
        if scheduler is None:
            pool = own_workers(workers)
            self.say(f"starting {workers} worker{'' if workers == 1 else 's'}")
        else:
            pool = workers_at(scheduler, self.store.version)
            self.say(f"asking {scheduler}")
        try:
            with pool as running:
                bunch = max(
                    1, min(_BUNCH[self.store.command], len(self.left) // (4 * max(1, running.threads)))
                )
                for name, text, error in running.run(work, self.tasks(), bunch):
                    self.keep(name, text if error is None else self.broken(name, error))
                return running.most
        except ClusterLost as lost:
            raise ClusterLost(
                f"{lost}: {len(self.rows)} of {self.total} answers are kept in {self.store.folder}"
            ) from None
        except KeyboardInterrupt:
            raise Stopped(len(self.rows), self.total, self.store.folder) from None

    def tasks(self) -> Iterator[tuple[str, Task]]:
        """Tasks in order, read one by one; a project that cannot be read becomes a row at once."""
        for name, path in self.left.items():
            try:
                yield name, self.task(name, bundle(path))
            except InputError as error:
                messages = [str(problem) for problem in error.problems]
                task = self.task(name, Bundle(str(path), ()))
                self.keep(name, portfolio_record(task, status=INPUT_ERROR, messages=messages))

    def task(self, name: str, files: Bundle) -> Task:
        return Task(self.store.command, self.store.options, name, self.store.version, files)

    def broken(self, name: str, error: Exception) -> str:
        """The record of a project that no worker could bring to an end."""
        message = " ".join(str(error).split()) or type(error).__name__
        if type(error).__name__ == "KilledWorker":
            message = "the workers that took it died, even where it ran alone; for lack of memory perhaps"
        task = self.task(name, Bundle(str(self.left[name]), ()))
        return portfolio_record(task, status=BROKEN, messages=[message])

    def keep(self, name: str, text: str) -> None:
        self.store.save(name, text)
        self.rows[name] = row_of(json.loads(text))
        self.say(name)

    def say(self, text: str) -> None:
        self.progress(len(self.rows), self.total, text)
