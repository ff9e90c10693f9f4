"""Processes that do the work, through dask.distributed; the only module that imports it.

Either a cluster of our own on this machine, one single-threaded process for each core, or the workers of a
scheduler that runs already.
"""

from __future__ import annotations

import importlib.metadata
import importlib.util
import logging
import os
import queue
import signal
import tempfile
import time
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager, suppress
from itertools import islice
from multiprocessing import resource_tracker
from typing import TYPE_CHECKING, Any

from optimizer.errors import InputError, LayerwrightError, Problem

if TYPE_CHECKING:
    from distributed import Client, Future

#: A scheduler that has not answered by then is not there [s].
_CONNECT = 10.0
#: Without any worker for so long, the run is given up [s].
PATIENCE = 60.0
#: How often the number of workers is looked at [s].
_LOOK = 2.0
#: Tasks handed out for each thread: one at work, one ready, one on its way.
_AHEAD = 3
#: Times that a task is tried anew when a worker cannot run it (other version, damaged installation).
_RETRIES = 2
#: Deaths of workers of our own that a task may see before it is put aside.
_DEATHS = 1
#: The solvers are single-threaded; libraries under numpy must not start a thread for each core.
_SINGLE = {name: 1 for name in ("OMP_NUM_THREADS", "MKL_NUM_THREADS", "OPENBLAS_NUM_THREADS")}
#: The scheduler opens a port for its web page even without one: then any free port, and not to the network.
_NO_PAGE = {"dashboard": False, "dashboard_address": "127.0.0.1:0"}

#: Nobody looks at a cluster of our own: no pages, no sampling of what it does, few ticks of its clocks.
_UNWATCHED = {
    "distributed.scheduler.http.routes": [],
    "distributed.worker.http.routes": [],
    "distributed.worker.profile.enabled": False,
    "distributed.admin.tick.interval": "500ms",
    "distributed.scheduler.active-memory-manager.start": False,
}

Function = Callable[[Any], Any]
#: Name and argument of a task.
Named = tuple[str, Any]
#: Name, result, and what went wrong.
Answer = tuple[str, Any, Exception | None]


class ClusterLost(LayerwrightError):
    """The scheduler or all workers went away."""


def need_distributed() -> None:
    """Raise LayerwrightError with what to install when the optional packages are missing."""
    if importlib.util.find_spec("distributed") is None:
        raise LayerwrightError(
            "--projects needs the package 'distributed', which is not installed; "
            "install it with: pip install 'layerwright[cluster]'"
        )


def cores() -> int:
    """Cores that this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


class Pool:
    """Workers that take tasks; made by ``own_workers`` and ``workers_at``. threads: how many there are;
    most: how many there were at most."""

    def __init__(self, client: Client) -> None:
        self._client = client
        self.threads = self.most = 0
        self._looked = float("-inf")
        self._look()

    def run(self, function: Function, tasks: Iterable[Named], bunch: int = 1) -> Iterator[Answer]:
        """Name, result and None of each task as it is ready, or name, None and what went wrong.

        ``bunch`` tasks travel together, which pays where they take milliseconds. Only a few for each worker
        are drawn from ``tasks`` ahead. The tasks of a worker that dies are done by the others. Those that
        were there when several died are tried once more at the end, one at a time: another may have been the
        cause. Raises ClusterLost.
        """
        source = iter(tasks)
        bunches = iter(lambda: list(islice(source, bunch)), [])
        suspects: list[Named] = []
        yield from self._run(function, bunches, suspects)
        for task in suspects:
            yield from self._run(function, [[task]], None)

    def _run(
        self, function: Function, bunches: Iterable[list[Named]], suspects: list[Named] | None
    ) -> Iterator[Answer]:
        waiting: dict[Future, list[Named]] = {}
        arrived: queue.SimpleQueue[Future] = queue.SimpleQueue()
        source = iter(bunches)
        more = True
        last = time.monotonic()
        try:
            while True:
                self._look()
                while more and len(waiting) < max(1, _AHEAD * self.threads):
                    drawn = next(source, None)
                    if drawn is None:
                        more = False
                        break
                    given = [argument for _, argument in drawn]
                    future = self._client.submit(_each, function, given, pure=False, retries=_RETRIES)
                    waiting[future] = drawn
                    future.add_done_callback(arrived.put)
                if not waiting:
                    return
                try:
                    future = arrived.get(timeout=_LOOK)
                except queue.Empty:
                    last = time.monotonic() if self.threads else last
                    self._check(last)
                    continue
                last = time.monotonic()
                outcome = self._outcome(future)
                if outcome is None:
                    future.add_done_callback(arrived.put)
                else:
                    yield from self._told(waiting.pop(future), *outcome, suspects)
        finally:
            with suppress(Exception):
                self._client.cancel(list(waiting))

    @staticmethod
    def _told(
        bunch: list[Named], results: list[Any], error: Exception | None, suspects: list[Named] | None
    ) -> Iterator[Answer]:
        from distributed import KilledWorker

        if error is None:
            for (name, _), result in zip(bunch, results, strict=True):
                yield name, result, None
        elif suspects is not None and (len(bunch) > 1 or isinstance(error, KilledWorker)):
            suspects += bunch
        else:
            for name, _ in bunch:
                yield name, None, error

    def _outcome(self, future: Future) -> tuple[list[Any], Exception | None] | None:
        """Results and error of a future that is done; None when it has to be awaited again."""
        try:
            return future.result(timeout=_LOOK), None
        except TimeoutError:  # its worker died before the result was fetched
            self._looked = float("-inf")
            return None
        except Exception as error:
            if future.status in ("cancelled", "lost") or self._client.status != "running":
                raise ClusterLost("the connection to the scheduler is lost") from None
            return [], error

    def _look(self) -> None:
        """Count the threads now and then: workers come and go."""
        now = time.monotonic()
        if now - self._looked >= _LOOK:
            self._looked = now
            try:
                self.threads = sum(self._client.nthreads().values())
            except Exception:
                raise ClusterLost("the connection to the scheduler is lost") from None
            self.most = max(self.most, self.threads)

    def _check(self, last: float) -> None:
        if time.monotonic() - last > PATIENCE:
            raise ClusterLost(f"there has been no worker for {PATIENCE:.0f} s")


def _each(function: Function, arguments: list[Any]) -> list[Any]:
    """A bunch of tasks, on the worker."""
    return [function(argument) for argument in arguments]


@contextmanager
def own_workers(count: int) -> Iterator[Pool]:
    """``count`` processes on this machine, started by spawning, without a web page."""
    import dask
    from distributed import Client, LocalCluster

    settings = {
        "distributed.nanny.pre-spawn-environ": {**_SINGLE, "MALLOC_TRIM_THRESHOLD_": 65536},
        "distributed.worker.multiprocessing-method": "spawn",
        "distributed.scheduler.allowed-failures": _DEATHS,
        **_UNWATCHED,
    }
    cluster = None
    with (
        _quiet(),
        tempfile.TemporaryDirectory(prefix="layerwright-", ignore_cleanup_errors=True) as scratch,
        dask.config.set(settings),
    ):
        try:
            with _undisturbed():
                cluster = LocalCluster(
                    n_workers=count,
                    threads_per_worker=1,
                    processes=True,
                    dashboard_address=None,
                    scheduler_kwargs=_NO_PAGE,
                    silence_logs=logging.CRITICAL,
                    memory_limit=0,
                    local_directory=scratch,
                )
            with Client(cluster, set_as_default=False, direct_to_workers=True) as client:
                yield Pool(client)
        finally:
            if cluster is not None:
                cluster.close()


@contextmanager
def _undisturbed() -> Iterator[None]:
    """Processes started within, and those that they are replaced by, never see the key that stops a program
    in a terminal; it is meant for the process that asked, which sees it at the end of the block."""
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    resource_tracker.ensure_running()  # it would unblock the signal when started later
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


@contextmanager
def workers_at(address: str, version: str) -> Iterator[Pool]:
    """The workers of the scheduler at ``address``, all of which must have this ``version`` of the program.

    Raises InputError when nobody answers, there is no worker, or one has another version.
    """
    from distributed import Client

    with _quiet():
        try:
            client = Client(address, timeout=_CONNECT, set_as_default=False)
        except (OSError, ValueError, TypeError) as error:
            raise _refused(address, "no scheduler answers", "such as tcp://192.0.2.1:8786") from error
        with client:
            try:
                client.wait_for_workers(1, timeout=_CONNECT)
            except TimeoutError:
                raise _refused(
                    address, "the scheduler has no worker", "start one: dask worker ADDRESS"
                ) from None
            _check_versions(client, address, version)
            yield Pool(client)


def _check_versions(client: Client, address: str, version: str) -> None:
    """Refuse workers of another version. The question is one of the standard library: a worker that lacks
    the program can answer it too."""
    found = client.run(importlib.metadata.version, "layerwright", on_error="return")
    wrong: list[Problem] = []
    for worker, theirs in sorted(found.items()):
        if isinstance(theirs, importlib.metadata.PackageNotFoundError):
            theirs = "0+unknown"  # as the program calls itself where it is not installed
        if theirs != version:
            has = "has no layerwright" if theirs == "0+unknown" else f"has layerwright {theirs}"
            hint = f"this is {version}; install that on every worker"
            wrong.append(Problem(f"the worker {worker} {has}", address, hint=hint))
    if wrong:
        raise InputError(wrong)


def _refused(address: str, message: str, hint: str) -> InputError:
    return InputError(Problem(message, address, field="--scheduler", hint=hint))


@contextmanager
def _quiet() -> Iterator[None]:
    """No log lines of the libraries between those of the program."""
    families = ("distributed", "tornado", "asyncio")
    names = {*families, *(n for n in logging.root.manager.loggerDict if n.split(".")[0] in families)}
    loggers = [logging.getLogger(name) for name in sorted(names)]
    levels = [logger.level for logger in loggers]
    for logger in loggers:
        logger.setLevel(logging.CRITICAL + 1)
    try:
        yield
    finally:
        for logger, level in zip(loggers, levels, strict=True):
            logger.setLevel(level)
