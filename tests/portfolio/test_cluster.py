"""Portfolios on a real scheduler with real workers on the loopback interface."""

from __future__ import annotations

import json
import os
import signal
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from optimizer.errors import InputError
from optimizer.portfolio import ClusterLost, Stopped, run_portfolio
from optimizer.portfolio import cluster as cluster_module
from optimizer.report.portfolio import Portfolio

from .projects import Cluster, answer, cluster, fill, project, single, write

distributed = pytest.importorskip("distributed")


@pytest.fixture(scope="module")
def shared(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Cluster]:
    """A scheduler with one worker, for the tests that break neither."""
    with cluster(tmp_path_factory.mktemp("cluster"), workers=1) as made:
        yield made


@pytest.fixture
def packs(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The folder of projects, named from the working folder."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "packs").mkdir()
    return Path("packs")


def after(count: int, action: Callable[[], None]) -> Callable[[int, int, str], None]:
    """Progress that acts once, when ``count`` projects are ready."""
    left = [action]

    def progress(done: int, total: int, text: str) -> None:
        if done >= count and left:
            left.pop()()

    return progress


def parts(folder: Path) -> list[Path]:
    return [path for path in folder.rglob("*") if path.is_file() and path.suffix != ".json"]


@pytest.mark.parametrize("command", ["predict", pytest.param("design", marks=pytest.mark.slow)])
def test_nothing_is_lost_when_a_worker_is_killed_in_mid_run(
    packs: Path, tmp_path: Path, command: str
) -> None:
    names = fill(packs, 12, design=command == "design")
    write(packs, "second/middle.yaml", project("40"))  # a thickness without unit
    (tmp_path / "cluster").mkdir()
    held: list[str] = []
    with cluster(tmp_path / "cluster", workers=2) as made:
        victim = made.processes[-1]
        with distributed.Client(made.address, set_as_default=False) as watcher:
            address = made.address_of(watcher, victim)

            def progress(done: int, total: int, text: str) -> None:
                if done == 1 and not held:  # it stops in the middle of what it was given, and keeps it ...
                    victim.send_signal(signal.SIGSTOP)
                    end = time.monotonic() + 120
                    while not held and time.monotonic() < end:  # it may have been between two bunches
                        held.extend(watcher.processing()[address])
                elif done == 5:
                    victim.kill()  # ... until it is gone

            done = run_portfolio(packs, command, scheduler=made.address, progress=progress)
            assert victim.wait(timeout=120) == -signal.SIGKILL
    assert held, "the killed worker had nothing to do"
    assert [row.project for row in done.rows] == sorted([*names, "second/middle.yaml"])
    assert done.computed == 13
    for name in names:
        saved = packs / "results" / name.replace(".yaml", f".{command}.json")
        assert answer(saved) == single(packs / name, command)
    (wrong,) = [row for row in done.rows if row.project == "second/middle.yaml"]
    assert wrong.status == "input error"
    assert wrong.messages[0].startswith("packs/second/middle.yaml:27:37: walls.film.layers[0].thickness: ")
    # 40/l <= 2 needs l = 20 um; the thicknesses are 11 um and every 3 um from there. Designs all reach it.
    failing = ["00", "01", "02"] if command == "predict" else []
    assert sorted(row.project[-7:-5] for row in done.rows if row.status == "fails") == failing
    assert done.passing == 12 - len(failing)
    assert parts(packs / "results") == []


def run(packs: Path, shared: Cluster, **options: Any) -> Portfolio:
    return run_portfolio(packs, options.pop("command", "predict"), scheduler=shared.address, **options)


def seen(packs: Path, shared: Cluster, **options: Any) -> list[str]:
    """Names of the projects that a run computes."""
    computed: list[str] = []
    options.setdefault("progress", lambda done, total, text: computed.append(text))
    done = run(packs, shared, **options)
    names = [name for name in computed if name.endswith(".yaml")]
    assert done.computed == len(names)
    return sorted(names)


def test_a_second_run_computes_only_what_changed(packs: Path, shared: Cluster) -> None:
    write(packs, "quotes.csv", "name,price\nHDPE,1.7 EUR/kg\n")
    quoted = project(materials="  - table: ../quotes.csv\n").replace("material: slab", "material: HDPE")
    write(packs, "quoted/p.yaml", quoted)
    names = ["quoted/p.yaml", *fill(packs, 3)]
    assert seen(packs, shared) == sorted(names)
    assert seen(packs, shared) == []
    write(packs, names[1], project("50 um"))
    assert seen(packs, shared) == [names[1]]
    write(packs, "quotes.csv", "name,price\nHDPE,1.8 EUR/kg\n")
    assert seen(packs, shared) == ["quoted/p.yaml"]
    record = answer(packs / "results/quoted/p.predict.json")
    assert record == single(packs / "quoted/p.yaml")
    assert record["cost_per_package"] == pytest.approx(record["mass_g"] * 1.8e-3, rel=1e-12)
    assert seen(packs, shared, results="elsewhere") == sorted(names)
    assert seen(packs, shared, fresh=True) == sorted(names)


def test_a_run_without_anything_to_do_asks_no_scheduler(packs: Path, shared: Cluster) -> None:
    fill(packs, 2)
    first = run(packs, shared)
    second = run_portfolio(packs, "predict", scheduler="tcp://127.0.0.1:1")
    assert (second.computed, second.workers) == (0, 0)
    assert second.rows == first.rows


def test_a_project_with_wrong_input_is_tried_again(packs: Path, shared: Cluster) -> None:
    write(packs, "right.yaml", project())
    wrong = write(packs, "wrong.yaml", project("40"))
    assert run(packs, shared).count("input error") == 1
    assert seen(packs, shared) == ["wrong.yaml"]
    wrong.write_text(project("40 um"))
    assert run(packs, shared).passing == 2
    wrong.write_text(project("40"))
    assert run(packs, shared).passing == 1
    saved = json.loads((packs / "results/wrong.predict.json").read_text())
    assert saved["portfolio"]["status"] == "input error" and "passes" not in saved


def test_a_project_that_cannot_be_read_is_a_row(
    packs: Path, shared: Cluster, monkeypatch: pytest.MonkeyPatch
) -> None:
    fill(packs, 2)
    (packs / "first/broken.yaml").symlink_to("nowhere.yaml")
    done = run(packs, shared)
    assert done.passing + done.count("fails") == 2
    (row,) = [row for row in done.rows if row.status == "input error"]
    assert row.messages == ("packs/first/broken.yaml: cannot be read: No such file or directory",)


def test_a_stop_from_the_keyboard_keeps_what_is_ready(packs: Path, shared: Cluster) -> None:
    names = fill(packs, 6)

    def interrupt() -> None:
        raise KeyboardInterrupt

    with pytest.raises(Stopped) as stop:
        run(packs, shared, progress=after(3, interrupt))
    assert (stop.value.done, stop.value.total) == (3, 6)
    assert len(list((packs / "results").rglob("*.json"))) == 3
    assert parts(packs / "results") == []
    assert len(seen(packs, shared)) == 3
    assert [row.project for row in run(packs, shared).rows] == names


def test_a_silent_address_is_wrong_input(packs: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    fill(packs, 1)
    monkeypatch.setattr(cluster_module, "_CONNECT", 0.3)
    for address in ("tcp://127.0.0.1:1", "127.0.0.1:1", "nonsense://x", ""):
        with pytest.raises(InputError, match="--scheduler: no scheduler answers"):
            run_portfolio(packs, "predict", scheduler=address)


def test_a_scheduler_without_workers_is_refused(
    packs: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    fill(packs, 1)
    (tmp_path / "cluster").mkdir()
    with cluster(tmp_path / "cluster", workers=0) as made:
        monkeypatch.setattr(cluster_module, "_CONNECT", 0.5)
        with pytest.raises(InputError, match="the scheduler has no worker"):
            run_portfolio(packs, "predict", scheduler=made.address)


@pytest.mark.slow
def test_a_run_ends_when_all_workers_or_the_scheduler_are_gone(
    packs: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    fill(packs, 6)
    (tmp_path / "cluster").mkdir()
    monkeypatch.setattr(cluster_module, "PATIENCE", 1.0)
    with cluster(tmp_path / "cluster", workers=1) as made:
        worker = made.processes[-1]
        with pytest.raises(ClusterLost, match="no worker for 1 s: 2 of 6 answers are kept in packs/results"):
            run_portfolio(packs, "predict", scheduler=made.address, progress=after(2, worker.kill))
        made.worker()
        with pytest.raises(ClusterLost, match="connection to the scheduler is lost: . of 6 answers are kept"):
            run_portfolio(packs, "predict", scheduler=made.address, progress=after(4, made.scheduler.kill))
    assert 4 <= len(list((packs / "results").rglob("*.json"))) < 6


def test_workers_of_another_version_are_refused_by_name(packs: Path, tmp_path: Path) -> None:
    fill(packs, 1)
    # what an installation of another version leaves where Python looks first
    write(tmp_path, "other/layerwright-99.0.dist-info/METADATA", "Name: layerwright\nVersion: 99.0\n")
    (tmp_path / "cluster").mkdir()
    with cluster(tmp_path / "cluster", workers=0) as made:
        worker = made.worker(PYTHONPATH=str(tmp_path / "other"))
        with pytest.raises(InputError) as error:
            run_portfolio(packs, "predict", scheduler=made.address)
        assert worker.poll() is None
        with distributed.Client(made.address, set_as_default=False) as client:
            name = made.address_of(client, worker)
    (problem,) = error.value.problems
    assert problem.message == f"the worker {name} has layerwright 99.0"
    assert "install that on every worker" in problem.hint


@pytest.mark.slow
def test_own_workers_survive_a_project_that_kills_them(caplog: pytest.LogCaptureFixture) -> None:
    tasks = [(f"{i}", 7 if i == 3 else 0) for i in range(10)]
    with cluster_module.own_workers(2) as pool:
        found = {name: error for name, _, error in pool.run(deadly, tasks, bunch=2)}
        assert pool.most == 2
    assert len(found) == 10
    assert [name for name, error in found.items() if error is not None] == ["3"]
    assert type(found["3"]).__name__ == "KilledWorker"
    assert [record for record in caplog.records if record.name.startswith("distributed")] == []


def deadly(code: int) -> int:
    if code:
        os._exit(code)
    return os.getpid()


def test_own_workers_are_single_threaded_processes() -> None:
    with cluster_module.own_workers(2) as pool:
        found = [result for _, result, _ in pool.run(surroundings, [(str(i), i) for i in range(8)])]
    assert signal.SIGINT not in signal.pthread_sigmask(signal.SIG_BLOCK, ())
    assert os.getpid() not in {pid for pid, _, _ in found}
    assert {threads for _, threads, _ in found} == {"1"}
    assert {deaf for _, _, deaf in found} == {True}


def surroundings(_: int) -> tuple[int, str | None, bool]:
    deaf = signal.SIGINT in signal.pthread_sigmask(signal.SIG_BLOCK, ())
    return os.getpid(), os.environ.get("OPENBLAS_NUM_THREADS"), deaf
