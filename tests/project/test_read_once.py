"""The checksum of an answer is that of the bytes it was computed from, whatever is saved meanwhile."""

from __future__ import annotations

import hashlib
import shutil
from pathlib import Path

import pytest

from optimizer.project.load import load_project
from optimizer.project.offers import load_offers
from tests.project import weather_files
from tests.project.books import bare
from tests.project.weather_files import csv_text

EXAMPLES = Path(__file__).parents[2] / "examples"


@pytest.fixture
def saved_meanwhile(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> list[str]:
    """Every file of the test's folder changes as soon as it was read; the names of those read."""
    plain = Path.read_bytes
    names: list[str] = []

    def read(path: Path) -> bytes:
        content = plain(path)
        if path.is_relative_to(tmp_path):
            names.append(path.name)
            path.write_bytes(content + b"\n# saved meanwhile\n")
        return content

    monkeypatch.setattr(Path, "read_bytes", read)
    return names


def checksum(*contents: bytes) -> str:
    """SHA-256 over the contents, each preceded by its length on a line."""
    return hashlib.sha256(b"".join(b"%d\n%s" % (len(c), c) for c in contents)).hexdigest()


@pytest.mark.parametrize(
    ("example", "names"),
    [
        ("coffee_sachet", ("project.yaml", "webs.csv")),
        ("lightweight_bottle", ("before.yaml", "{mesh}", "thickness-before.csv")),
    ],
)
def test_a_file_saved_while_a_project_is_read_does_not_come_into_its_checksum(
    example: str, names: tuple[str, ...], tmp_path: Path, saved_meanwhile: list[str]
) -> None:
    shutil.copytree(EXAMPLES / example, tmp_path / "p")
    project = load_project(tmp_path / "p" / names[0])
    assert saved_meanwhile == sorted(set(saved_meanwhile), key=saved_meanwhile.index)  # each once
    assert set(saved_meanwhile) == {file.name for file in project.files}
    originals = [(EXAMPLES / example / file.name).read_bytes() for file in project.files]
    assert project.sha256 == checksum(*originals)


def test_a_weather_file_and_a_sheet_of_offers_are_read_once(
    tmp_path: Path, saved_meanwhile: list[str]
) -> None:
    csv = csv_text([20.0] * 24, [50.0] * 24).encode()
    path = weather_files.project(tmp_path, "{weather: depot.csv, duration: 9 months}", csv=csv)
    text = path.read_text("utf-8") + "design: {walls: [tub], minimise: mass, choose_from: [HDPE]}\n"
    path.write_text(text, "utf-8")
    project = load_project(path)
    assert project.sha256 == checksum(text.encode(), csv)
    sheet = tmp_path / "offers.csv"
    sheet.write_bytes(b"supplier,material\nAlder,HDPE\n")
    wanted = hashlib.sha256(project.sha256.encode() + b"supplier,material\nAlder,HDPE\n").hexdigest()
    assert load_offers(project, sheet).sha256 == wanted
    assert saved_meanwhile == ["project.yaml", "depot.csv", "offers.csv"]


def test_a_workbook_is_read_once(tmp_path: Path, saved_meanwhile: list[str]) -> None:
    path = tmp_path / "p.xlsx"
    path.write_bytes(bare())
    project = load_project(path)
    assert saved_meanwhile == ["p.xlsx"]
    assert project.sha256 == checksum(bare())
    assert project.source.sha256 == hashlib.sha256(bare()).hexdigest()
