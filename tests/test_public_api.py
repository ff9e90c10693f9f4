"""The public names of the package are a decision: complete, sorted, and lazy."""

from __future__ import annotations

import ast
import importlib
import subprocess
import sys
from pathlib import Path

import pytest

import optimizer
from optimizer.errors import InputError

PACKAGE = Path(optimizer.__file__).parent
ROOT = PACKAGE.parent


def test_annotations_reach_those_who_use_the_package() -> None:
    # PEP 561: without the marker a type checker takes every function of an installed package for Any
    assert (PACKAGE / "py.typed").is_file()


def test_all_is_sorted_and_every_name_is_there() -> None:
    assert optimizer.__all__ == sorted(optimizer.__all__)
    for name in optimizer.__all__:
        assert hasattr(optimizer, name), name
        assert name in dir(optimizer)


def test_no_function_is_public_by_accident() -> None:
    tree = ast.parse((PACKAGE / "__init__.py").read_text(encoding="utf-8"))
    own = {x.name for x in tree.body if isinstance(x, ast.FunctionDef) and not x.name.startswith("_")}
    assert own == set(optimizer.__all__) - {"__version__"}


def test_design_is_a_function_also_when_the_folder_of_that_name_is_loaded() -> None:
    code = (
        "from optimizer import design as before\n"
        "import optimizer.design.options\n"
        "from optimizer import design as after\n"
        "import optimizer\n"
        "assert callable(before) and callable(after), (before, after)\n"
        "from optimizer.errors import InputError\n"
        "for call in (before, after, optimizer.design):\n"
        "    try:\n"
        "        call('nowhere.yaml', time_limit=1.0)\n"
        "    except InputError as error:\n"
        "        assert 'no such file' in str(error)\n"
        "    else:\n"
        "        raise AssertionError\n"
        "assert optimizer.design.options.DesignOptions\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=ROOT)
    assert done.returncode == 0, done.stderr


def test_no_other_public_name_is_that_of_a_folder_or_file() -> None:
    # Importing a submodule binds its name, so only a module that can be called may share one.
    folders = {p.name for p in PACKAGE.iterdir() if p.is_dir()}
    files = {p.stem for p in PACKAGE.glob("*.py")}
    shared = set(optimizer.__all__) & (folders | files)
    assert shared == {"design"}
    for name in shared:
        assert callable(importlib.import_module(f"optimizer.{name}")), name


def test_every_public_function_says_what_it_does() -> None:
    for name in set(optimizer.__all__) - {"__version__"}:
        assert (getattr(optimizer, name).__doc__ or "").strip(), name


def test_an_unknown_name_is_an_attribute_error() -> None:
    with pytest.raises(AttributeError, match="no attribute 'nonsense'"):
        _ = optimizer.nonsense


def test_the_version_is_that_of_the_distribution() -> None:
    from importlib.metadata import PackageNotFoundError, version

    try:
        expected = version("layerwright")
    except PackageNotFoundError:
        expected = "0+unknown"
    assert optimizer.__version__ == expected


def test_what_is_no_project_is_refused_by_its_type() -> None:
    with pytest.raises(TypeError, match="a project or the path of its file, not dict"):
        optimizer.predict({"format": 1})  # type: ignore[arg-type]


def test_a_mesh_in_place_of_a_project_is_told_where_it_belongs() -> None:
    with pytest.raises(InputError, match="is a mesh, not a project file .*layerwright geometry"):
        optimizer.load_project(ROOT / "examples" / "lightweight_bottle" / "bottle.stl")


def test_one_exchange_rate_may_be_a_text_of_its_own() -> None:
    folder = ROOT / "examples" / "sparkling_bottle"
    with pytest.raises(InputError) as found:
        optimizer.compare(folder / "project.yaml", folder / "offers.csv", rates="USD=many EUR")
    assert len(found.value.problems) == 1 and "USD=many EUR" in str(found.value)
