"""Folders of small projects, and a real scheduler with workers on the loopback interface."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import optimizer
from optimizer.project.source import read_source
from optimizer.report.excel.template import template_workbook
from optimizer.report.record import to_json

ROOT = Path(__file__).parents[2]
#: Longest wait for a process of the cluster to come up on a busy machine [s].
_WAIT = 120.0

#: One layer; O2 transmission 40 / thickness[um] cm3/(m2 day atm) at 23 degC. An invented scenario.
PROJECT = """\
format: 1
title: {title}
materials:
{materials}
product:
  mass: 100 g
  volume: 100 mL
  water_activity: 0.3
  headspace: {{volume: 50 mL, walls: rigid}}
  limits: {{oxygen_gain: 1000 mg/kg}}
package:
  parts:
    panel: {{area: 400 cm2, wall: film}}
walls:
  film:
    layers:
      - {{material: slab, thickness: {thickness}}}
storage:
  - {{name: shelf, duration: 6 months, temperature: 23 degC, humidity: 50 %}}
target:
  shelf_life: 6 months
  transmission:
    - {{gas: O2, max: 2 cm3/(m2*day*atm), wall: film, temperature: 23 degC, humidity: 50 %}}
"""
SLAB = """\
  - name: slab
    density: 1000 kg/m3
    price: 2 EUR/kg
    family: PE
    gauge: {min: 5 um, max: 500 um}
    roles: [seal, print, core]
    permeability:
      - {gas: O2, value: "40 cm3*um/(m2*day*atm)", temperature: 23 degC, humidity: 0 %,
         activation_energy: 40 kJ/mol}
      - {gas: H2O, value: "1 g*um/(m2*day)", temperature: 38 degC, humidity: 90 %,
         activation_energy: 35 kJ/mol}
"""
DESIGN = "design: {walls: [film], minimise: cost, choose_from: [slab]}\n"


def project(thickness: str = "40 um", title: str = "Pouch (invented)", materials: str = SLAB) -> str:
    return PROJECT.format(thickness=thickness, title=title, materials=materials.rstrip("\n"))


def write(folder: Path, name: str, text: str) -> Path:
    path = folder / name
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text, encoding="utf-8")
    return path


def write_book(folder: Path, name: str, text: str = "") -> Path:
    """The same project as a workbook, as ``template --from`` writes it."""
    source = write(folder, "of_the_book.yaml", text or project())
    path = folder / name
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(template_workbook(read_source(source).data))
    source.unlink()
    return path


def fill(folder: Path, count: int, *, design: bool = False) -> list[str]:
    """``count`` projects of growing thickness in two sub-folders; their names, sorted. At 20 um and above
    they pass the specification."""
    names = []
    for i in range(count):
        name = f"{'first' if i % 2 else 'second'}/pouch_{i:02}.yaml"
        write(folder, name, project(f"{11 + 3 * i} um", f"Pouch {i} (invented)") + (DESIGN if design else ""))
        names.append(name)
    return sorted(names)


def answer(path: Path) -> dict[str, Any]:
    """A saved answer without what the portfolio adds and what differs from run to run."""
    record: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
    del record["portfolio"]
    record.get("solver", {}).pop("seconds", None)
    return record


def single(path: Path, command: str = "predict") -> dict[str, Any]:
    """The same from a run on this one project."""
    run = optimizer.predict if command == "predict" else optimizer.solve_design
    record: dict[str, Any] = json.loads(to_json(run(path)))
    record.get("solver", {}).pop("seconds", None)
    return record


class Cluster:
    """A scheduler and its workers, each a process of its own; addresses are chosen by the system."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.processes: list[subprocess.Popen[bytes]] = []
        file = folder / "scheduler.json"
        self.scheduler = self._start(
            "dask_scheduler",
            *("--host", "127.0.0.1", "--port", "0", "--scheduler-file", str(file)),
            *("--dashboard-address", "127.0.0.1:0", "--no-show"),
        )
        self.address = str(self._until(lambda: json.loads(file.read_text())["address"]))

    def worker(self, **environment: str) -> subprocess.Popen[bytes]:
        """Start a single-threaded worker without a nanny: a dead one stays dead. It connects in a while."""
        return self._start(
            "dask_worker",
            self.address,
            *("--no-nanny", "--nthreads", "1", "--memory-limit", "0"),
            *("--host", "127.0.0.1", "--local-directory", str(self.folder)),
            **environment,
        )

    def address_of(self, client: Any, worker: subprocess.Popen[bytes]) -> str:
        found = {pid: address for address, pid in client.run(os.getpid).items()}
        return str(found[worker.pid])

    def _start(self, module: str, *arguments: str, **environment: str) -> subprocess.Popen[bytes]:
        command = [sys.executable, "-m", f"distributed.cli.{module}", *arguments, "--no-dashboard"]
        paths = [environment.pop("PYTHONPATH", ""), str(ROOT)]
        process = subprocess.Popen(
            command,
            cwd=self.folder,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            env={**os.environ, **environment, "PYTHONPATH": os.pathsep.join(filter(None, paths))},
        )
        self.processes.append(process)
        return process

    @staticmethod
    def _until(question: Any) -> Any:
        end = time.monotonic() + _WAIT
        while True:
            try:
                return question()
            except (OSError, ValueError, KeyError):
                if time.monotonic() > end:
                    raise
                time.sleep(0.05)

    def stop(self) -> None:
        for process in reversed(self.processes):
            process.kill()
        for process in self.processes:
            process.wait()


@contextmanager
def cluster(folder: Path, workers: int) -> Iterator[Cluster]:
    """A scheduler with ``workers`` workers that are connected."""
    from distributed import Client

    made = Cluster(folder)
    try:
        for _ in range(workers):
            made.worker()
        if workers:
            with Client(made.address, set_as_default=False) as client:
                client.wait_for_workers(workers, timeout=_WAIT)
        yield made
    finally:
        made.stop()
