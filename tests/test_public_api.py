"""The public names of the package are a decision: complete, sorted, and lazy."""

from __future__ import annotations

import inspect

import pytest

import optimizer


def test_all_is_sorted_and_every_name_is_there() -> None:
    assert optimizer.__all__ == sorted(optimizer.__all__)
    for name in optimizer.__all__:
        assert hasattr(optimizer, name), name
        assert name in dir(optimizer)


def test_no_function_is_public_by_accident() -> None:
    own = {
        name
        for name, value in vars(optimizer).items()
        if inspect.isfunction(value) and value.__module__ == "optimizer" and not name.startswith("_")
    }
    assert own == set(optimizer.__all__) - {"__version__"}


def test_public_names_do_not_collide_with_subpackages() -> None:
    # Importing optimizer.design binds that name to the subpackage, so no function may be called so.
    from pathlib import Path

    folders = {p.name for p in Path(optimizer.__file__).parent.iterdir() if p.is_dir()}
    files = {p.stem for p in Path(optimizer.__file__).parent.glob("*.py")}
    assert not set(optimizer.__all__) & (folders | files)


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
