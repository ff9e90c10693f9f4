"""The documentation keeps up with the program: validation page, links, set-up commands, names of commands."""

from __future__ import annotations

import importlib.util
import re
import shlex
from pathlib import Path
from types import ModuleType

import pytest

ROOT = Path(__file__).parents[1]
PAGES = sorted(
    [p for p in ROOT.glob("*.md")] + [*(ROOT / "docs").rglob("*.md"), *(ROOT / "examples").rglob("*.md")]
)
_LINK = re.compile(r"\[[^\]]*\]\(([^)\s]+)\)")
_FENCE = re.compile(r"^```.*?^```", re.DOTALL | re.MULTILINE)


def name_of(path: Path) -> str:
    return path.relative_to(ROOT).as_posix()


@pytest.fixture(scope="module")
def validation() -> ModuleType:
    spec = importlib.util.spec_from_file_location("validation", ROOT / "tests" / "validation.py")
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def same_cell(one: str, two: str) -> bool:
    """Equal, or two numbers that differ by one in the last digit printed (rounding on another machine)."""
    if one == two:
        return True
    numbers = [re.fullmatch(r"([+-]?\d+(?:\.(\d+))?(?:e(-?\d+))?)( %)?", cell) for cell in (one, two)]
    if not all(numbers):
        return False
    steps = [10.0 ** (int(m[3] or 0) - len(m[2] or "")) for m in numbers if m]
    values = [float(m[1]) for m in numbers if m]
    return abs(values[0] - values[1]) <= 1.01 * max(steps)


def test_the_validation_page_is_what_the_generator_writes(validation: ModuleType) -> None:
    kept = validation.PAGE.read_text(encoding="utf-8").splitlines()
    fresh = validation.page().splitlines()
    assert len(kept) == len(fresh), "run: python tests/validation.py"
    for old, new in zip(kept, fresh, strict=True):
        cells = old.split(" | "), new.split(" | ")
        assert len(cells[0]) == len(cells[1]) and all(map(same_cell, *cells)), (
            f"run: python tests/validation.py\nkept:  {old}\nfresh: {new}"
        )


@pytest.mark.parametrize(
    ("one", "two", "same"),
    [
        ("0.25", "0.25", True),
        ("1.2345", "1.2346", True),
        ("1.2345", "1.2347", False),
        ("3.1e-16 %", "3.2e-16 %", True),
        ("1 to 2", "1 to 3", False),
        ("published", "input", False),
    ],
)
def test_only_the_last_digit_may_differ(one: str, two: str, same: bool) -> None:
    assert same_cell(one, two) is same


@pytest.mark.parametrize("page", PAGES, ids=name_of)
def test_links_lead_somewhere(page: Path) -> None:
    text = _FENCE.sub("", page.read_text(encoding="utf-8"))
    for target in _LINK.findall(text):
        if re.match(r"[a-z]+:", target):
            continue
        path, _, anchor = target.partition("#")
        file = (page.parent / path).resolve() if path else page
        assert file.exists(), f"{name_of(page)}: {target}"
        if anchor and file.suffix == ".md":
            assert anchor in anchors(file), f"{name_of(page)}: no heading for {target}"


def anchors(page: Path) -> set[str]:
    """Names that headings of the page get, as code hosts make them."""
    headings = re.findall(r"^#+ (.+)$", _FENCE.sub("", page.read_text(encoding="utf-8")), re.MULTILINE)
    return {re.sub(r"[^\w\- ]", "", h.lower().replace("`", "")).strip().replace(" ", "-") for h in headings}


def test_the_readme_has_one_set_up_command_to_run_and_one_to_test() -> None:
    """The script of the continuous integration runs exactly these."""
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    blocks = re.findall(r"^<!-- setup: (\w+) -->\n```\w*\n(.*?)^```", text, re.DOTALL | re.MULTILINE)
    assert [name for name, _ in blocks] == ["run", "test"]
    run, test = (body.strip() for _, body in blocks)
    assert "\n" not in run and "\n" not in test
    example = shlex.split(run)[-1]
    assert (ROOT / example).is_file()
    assert ".venv/bin/pip install . " in run
    assert test.endswith("-m pytest")


def test_documented_commands_exist() -> None:
    import typer

    from optimizer.cli.app import app

    group = typer.main.get_command(app)
    known = set(group.commands)  # type: ignore[attr-defined]
    named = {
        word
        for page in PAGES
        for word in re.findall(
            r"(?:`|^\$ |/)layerwright ([a-z]+)", page.read_text(encoding="utf-8"), re.MULTILINE
        )
    }
    assert {"predict", "design"} <= named
    assert named <= known
