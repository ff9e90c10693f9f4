"""The shape of the project: what stands at the top, how long files are, who imports whom."""

from __future__ import annotations

import ast
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
PACKAGE = ROOT / "optimizer"
SOURCES = sorted(PACKAGE.rglob("*.py"))
LONGEST = 400

#: Top-level entries; names that start with a dot are settings of tools.
TOP = {
    "README.md",
    "DEVELOPERS.md",
    "LICENSE",
    "pyproject.toml",
    "optimizer",
    "materials",
    "tests",
    "examples",
    "docs",
}
#: Made by tools and never committed.
MADE = {"dist", "build", "__pycache__"}

#: library -> the only modules (files or folders under optimizer/) that may import it anywhere
ONLY = {
    "pyomo": ["design"],
    "highspy": ["design"],
    "trimesh": ["geometry/mesh"],
    "typer": ["cli"],
    "rich": ["report"],
    "plotly": ["report/plots.py"],
    "jinja2": ["report/html"],
    "openpyxl": ["catalog", "report/excel"],
    "pandas": ["catalog", "report/excel", "results_answer.py"],
    "ruamel": ["project"],
    "distributed": ["portfolio"],
    "dask": ["portfolio"],
    "pydantic": ["project", "catalog", "units"],
}
#: Never imported while the modules of the package are loaded: too slow for the quick commands.
NOT_AT_IMPORT = (
    "scipy",
    "pandas",
    "trimesh",
    "pyomo",
    "highspy",
    "distributed",
    "dask",
    "plotly",
    "openpyxl",
)


def name_of(path: Path) -> str:
    return path.relative_to(PACKAGE).as_posix()


def imports(tree: ast.AST) -> Iterator[str]:
    """Full names of the modules imported anywhere in ``tree``."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module and node.level == 0:
            yield node.module


def imports_at_load(tree: ast.Module) -> Iterator[str]:
    """Those that run when the module is loaded: outside functions and TYPE_CHECKING blocks."""
    waiting: list[ast.AST] = list(tree.body)
    while waiting:
        node = waiting.pop()
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.Lambda):
            continue
        if isinstance(node, ast.If) and "TYPE_CHECKING" in ast.unparse(node.test):
            waiting += node.orelse
            continue
        if isinstance(node, ast.Import | ast.ImportFrom):
            yield from imports(node)
        waiting += ast.iter_child_nodes(node)


def parsed(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"))


def test_the_top_level_holds_only_what_it_should() -> None:
    present = {
        p.name for p in ROOT.iterdir() if not p.name.startswith(".") and not p.name.endswith(".egg-info")
    }
    assert present - MADE <= TOP
    assert {"pyproject.toml", "optimizer", "materials", "tests"} <= present


@pytest.mark.parametrize("path", SOURCES, ids=name_of)
def test_no_file_is_longer_than_400_lines(path: Path) -> None:
    assert len(path.read_text(encoding="utf-8").splitlines()) <= LONGEST


@pytest.mark.parametrize("path", SOURCES, ids=name_of)
def test_libraries_are_imported_only_where_they_belong(path: Path) -> None:
    for module in imports(parsed(path)):
        allowed = ONLY.get(module.split(".")[0])
        if allowed is not None:
            name = name_of(path)
            assert any(name == place or name.startswith(f"{place}/") for place in allowed), module


@pytest.mark.parametrize("path", [p for p in SOURCES if not name_of(p).startswith("design/")], ids=name_of)
def test_slow_libraries_are_imported_inside_functions(path: Path) -> None:
    slow = [m for m in imports_at_load(parsed(path)) if m.split(".")[0] in NOT_AT_IMPORT]
    assert slow == []


@pytest.mark.parametrize("path", [p for p in SOURCES if name_of(p).startswith("cli/")], ids=name_of)
def test_the_command_line_loads_the_rest_only_when_a_command_runs(path: Path) -> None:
    own = [m for m in imports_at_load(parsed(path)) if m.split(".")[0] == "optimizer"]
    bare = ("optimizer.errors", "optimizer.files")  # of the standard library
    assert all(m in bare or m.startswith("optimizer.cli") for m in own), own


def test_imports_go_one_way() -> None:
    pytest.importorskip("importlinter")
    command = (
        "import sys; from importlinter.cli import lint_imports_command; sys.exit(lint_imports_command())"
    )
    done = subprocess.run(
        [sys.executable, "-c", command, "--no-cache"], cwd=ROOT, capture_output=True, text=True, timeout=120
    )
    assert done.returncode == 0, done.stdout + done.stderr
    assert "0 broken" in done.stdout
