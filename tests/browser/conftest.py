"""Reports of every command, made once by the command line, and a real browser to open them in."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest

from optimizer.cli.app import app
from tests.programs import chromium

ROOT = Path(__file__).parents[2]
EXAMPLES = ROOT / "examples"
OAT = str(EXAMPLES / "oat_drink_bottle" / "project.yaml")
SPARKLING = EXAMPLES / "sparkling_bottle"
LIGHT = EXAMPLES / "lightweight_bottle"

#: The call of each report; those of the example folders, and a mesh.
CALLS: dict[str, list[str]] = {
    "predict": ["predict", OAT, "--samples", "256"],
    "predict mesh": ["predict", str(LIGHT / "after.yaml")],
    "design": ["design", OAT],
    "tradeoff": ["tradeoff", OAT, "--points", "4"],
    "compare": [
        "compare",
        str(SPARKLING / "project.yaml"),
        "--offers",
        str(SPARKLING / "offers.csv"),
        "--rate",
        "USD=0.92 EUR",
    ],
    "check": ["check", str(LIGHT / "after.yaml"), "--against", str(LIGHT / "before.yaml")],
    "geometry": ["geometry", str(LIGHT / "bottle.stl"), "--unit", "mm", "--no-picture"],
}


@dataclass
class Opened:
    """A page in the browser, and what it said and asked for since it was opened."""

    page: Any
    console: list[str] = field(default_factory=list)
    requests: list[str] = field(default_factory=list)


@pytest.fixture(scope="session")
def report(tmp_path_factory: pytest.TempPathFactory) -> Callable[[str], Path]:
    """The report of a call of ``CALLS``, made at first use."""
    made: dict[str, Path] = {}

    def of(name: str) -> Path:
        if name not in made:
            target = tmp_path_factory.mktemp("reports") / f"{name.replace(' ', '-')}.html"
            with pytest.raises(SystemExit) as stop:
                app([*CALLS[name], "--report", str(target)], prog_name="layerwright")
            assert stop.value.code in (0, 1), stop.value.code
            made[name] = target
        return made[name]

    return of


@pytest.fixture(scope="session")
def browser() -> Iterator[Any]:
    api = pytest.importorskip("playwright.sync_api", reason="the package playwright is not installed")
    path = chromium()
    with api.sync_playwright() as started:
        flags = ["--no-sandbox", "--disable-quic", "--disable-background-networking", "--disable-sync"]
        running = started.chromium.launch(executable_path=path, args=flags)
        yield running
        running.close()


@pytest.fixture
def opened(browser: Any) -> Iterator[Callable[..., Opened]]:
    """Open a file, with or without scripts, offline, in a window of so many pixels."""
    contexts = []

    def at(file: Path, *, scripts: bool = True, width: int = 1280, height: int = 900) -> Opened:
        context = browser.new_context(
            java_script_enabled=scripts, viewport={"width": width, "height": height}, offline=True
        )
        context.set_default_timeout(120_000)  # the machine may be slow or have other things to do
        contexts.append(context)
        result = Opened(context.new_page())
        result.page.on("console", lambda m: result.console.append(f"{m.type}: {m.text}"))
        result.page.on("pageerror", lambda e: result.console.append(f"error: {e}"))
        result.page.on("request", lambda r: result.requests.append(r.url))
        result.page.goto(file.resolve().as_uri())
        return result

    yield at
    for context in contexts:
        context.close()
