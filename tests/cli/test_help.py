"""Help answers at once: it loads nothing heavy."""

from __future__ import annotations

import json
import os
import subprocess
import sys
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
#: Prints every help, and after each the heavy libraries that it loaded.
PROBE = """
import json, sys
from contextlib import redirect_stdout
from io import StringIO
from optimizer.cli.app import app
told = []
for arguments in {helps!r}:
    before, out = set(sys.modules), StringIO()
    with redirect_stdout(out):
        try:
            app(arguments, prog_name="layerwright")
        except SystemExit:
            pass
    new = set(sys.modules) if not told else set(sys.modules) - before
    told.append((out.getvalue(), [m for m in {heavy!r} if m in new]))
print(json.dumps(told))
"""


def python(*arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, *arguments], cwd=ROOT, capture_output=True, text=True, encoding="utf-8", timeout=120
    )


@pytest.fixture(scope="module")
def helps() -> dict[str, tuple[str, list[str]]]:
    """Text of each help, and the heavy libraries that it loaded."""
    done = python("-c", PROBE.format(helps=HELPS, heavy=HEAVY))
    told = json.loads(done.stdout)
    return {
        " ".join(arguments): (text, loaded) for arguments, (text, loaded) in zip(HELPS, told, strict=True)
    }


@pytest.mark.parametrize("name", [" ".join(arguments) for arguments in HELPS])
def test_help_loads_no_heavy_library(name: str, helps: dict[str, tuple[str, list[str]]]) -> None:
    text, loaded = helps[name]
    assert text.lstrip().startswith(f"Usage: layerwright {name.removesuffix('--help')}")
    assert loaded == []
    assert all(len(line) <= 80 for line in text.splitlines())


def test_the_public_package_loads_no_heavy_library() -> None:
    code = f"import sys, optimizer; optimizer.__version__; print([m for m in {HEAVY!r} if m in sys.modules])"
    assert python("-c", code).stdout.strip() == "[]"


def work_of(*arguments: str) -> float:
    """Processor time of a process of Python [s]."""
    start = os.times()
    assert python(*arguments).returncode == 0
    end = os.times()
    return end.children_user + end.children_system - start.children_user - start.children_system


@pytest.mark.parametrize("arguments", [["--help"], ["design", "--help"]], ids=" ".join)
def test_help_takes_little_more_than_its_library_takes_to_load(arguments: list[str]) -> None:
    """Which is an eighth of a second here; side by side, since machines differ and are shared."""
    pairs = [(work_of("-m", "optimizer", *arguments), work_of("-c", "import typer")) for _ in "123"]
    assert min(ours for ours, _ in pairs) < 6.0 * min(library for _, library in pairs)


def test_version_is_printed() -> None:
    import optimizer

    done = python("-m", "optimizer", "--version")
    assert done.stdout == f"layerwright {optimizer.__version__}\n"
    assert done.returncode == 0


def test_every_command_has_json_and_debug(helps: dict[str, tuple[str, list[str]]]) -> None:
    for name, (text, _) in helps.items():
        if name not in ("--help", "materials --help"):
            assert "--json FILE" in text and "--debug" in text, name


@pytest.mark.parametrize("command", ["fit", "testplan", "page"])
def test_commands_of_later_releases_are_absent(command: str) -> None:
    done = python("-m", "optimizer", command)
    assert done.returncode == 2
    assert "No such command" in done.stderr
