"""Help answers at once: it loads nothing heavy."""

from __future__ import annotations

import subprocess
import sys
import time
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
HEAVY = (
    "numpy",
    "scipy",
    "pandas",
    "pyomo",
    "highspy",
    "trimesh",
    "ruamel",
    "rich",
    "plotly",
    "jinja2",
    "openpyxl",
)
HELPS = [
    ["--help"],
    ["predict", "--help"],
    ["design", "--help"],
    ["check", "--help"],
    ["compare", "--help"],
    ["tradeoff", "--help"],
    ["geometry", "--help"],
    ["explain", "--help"],
    ["template", "--help"],
    ["schema", "--help"],
    ["materials", "--help"],
    ["materials", "list", "--help"],
    ["materials", "show", "--help"],
    ["materials", "lint", "--help"],
]
PROBE = """
import sys
from optimizer.cli.app import app
try:
    app(sys.argv[1:], prog_name="layerwright")
except SystemExit:
    pass
print("LOADED", *[m for m in {heavy!r} if m in sys.modules])
"""


def python(*arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, *arguments], cwd=ROOT, capture_output=True, text=True, encoding="utf-8", timeout=60
    )


@pytest.mark.parametrize("arguments", HELPS, ids=" ".join)
def test_help_loads_no_heavy_library(arguments: list[str]) -> None:
    done = python("-c", PROBE.format(heavy=HEAVY), *arguments)
    assert "Usage: layerwright" in done.stdout
    assert done.stdout.splitlines()[-1] == "LOADED", done.stdout
    assert all(len(line) <= 80 for line in done.stdout.splitlines())


def test_the_public_package_loads_no_heavy_library() -> None:
    code = f"import sys, optimizer; optimizer.__version__; print([m for m in {HEAVY!r} if m in sys.modules])"
    assert python("-c", code).stdout.strip() == "[]"


@pytest.mark.parametrize("arguments", [["--help"], ["design", "--help"]], ids=" ".join)
def test_help_takes_less_than_a_second(arguments: list[str]) -> None:
    times = []
    for _ in range(3):
        start = time.perf_counter()
        assert python("-m", "optimizer", *arguments).returncode == 0
        times.append(time.perf_counter() - start)
    assert min(times) < 1.0


def test_version_is_printed() -> None:
    import optimizer

    done = python("-m", "optimizer", "--version")
    assert done.stdout == f"layerwright {optimizer.__version__}\n"
    assert done.returncode == 0


def test_every_command_has_json_and_debug() -> None:
    for arguments in HELPS:
        if len(arguments) > 1 and arguments != ["materials", "--help"]:
            text = python("-m", "optimizer", *arguments).stdout
            assert "--json FILE" in text and "--debug" in text, arguments


@pytest.mark.parametrize("command", ["fit", "testplan", "page"])
def test_commands_of_later_releases_are_absent(command: str) -> None:
    done = python("-m", "optimizer", command)
    assert done.returncode == 2
    assert "No such command" in done.stderr
