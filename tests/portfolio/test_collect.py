"""Which files are projects, and what travels with each."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from optimizer.errors import InputError
from optimizer.portfolio.collect import MOST_BYTES, Found, bundle, find_projects, references
from optimizer.project.json_schema import file_keys, json_schema

from .projects import project, write

pytest.importorskip("yaml")


def test_projects_are_found_in_every_folder_and_sorted(tmp_path: Path) -> None:
    for name in ("b.yaml", "a/z.yaml", "a/deep/y.yml", "c.YAML"):
        write(tmp_path, name, project())
    for name in (".hidden/x.yaml", ".x.yaml", "notes.txt"):
        write(tmp_path, name, project())
    write(tmp_path, "a/settings.yaml", "theme: dark\nnested:\n  format: 1\n")
    found = find_projects(tmp_path)
    names = [str(p.relative_to(tmp_path)) for p in found.projects]
    assert names == ["a/deep/y.yml", "a/z.yaml", "b.yaml", "c.YAML"]
    assert [p.name for p in found.passed_over] == ["settings.yaml"]


@pytest.mark.parametrize(
    "text", ["format: 1\n", "\ufeffformat: 1\n", "# note\n'format' : 1\n", "{format: 1, title: x}\n"]
)
def test_a_project_file_is_known_by_its_format(tmp_path: Path, text: str) -> None:
    path = write(tmp_path, "p.yaml", text)
    assert find_projects(tmp_path) == Found((path,), {})


def test_a_folder_without_projects_is_wrong_input(tmp_path: Path) -> None:
    write(tmp_path, "settings.yaml", "theme: dark\n")
    with pytest.raises(InputError, match="there is no project file in this folder"):
        find_projects(tmp_path)
    with pytest.raises(InputError, match="there is no such folder"):
        find_projects(tmp_path / "none")
    with pytest.raises(InputError, match="is not a folder"):
        find_projects(tmp_path / "settings.yaml")


@pytest.mark.parametrize(
    "text",
    [
        "table: quotes.csv",
        "table: 'quotes.csv'  # a note",
        'table: "quotes\\u002ecsv"',
        "? table\n: quotes.csv",
        "{table: quotes.csv}",
        "one: &name quotes.csv\ntable: *name",
        "one:\n- <<: {table: quotes.csv}",
        "{ table : !!str quotes.csv}",
        "table: >-\n  quotes.csv",
    ],
)
def test_a_file_is_recognised_however_its_name_is_written(tmp_path: Path, text: str) -> None:
    write(tmp_path, "quotes.csv", "name,price\n")
    assert references(text.encode(), tmp_path) == ("quotes.csv",)


def test_what_is_no_file_does_not_travel(tmp_path: Path) -> None:
    write(tmp_path, "quotes.csv", "name,price\n")
    (tmp_path / "folder").mkdir()
    text = f"# quotes.csv\ntitle: about quotes.csv\nx: folder\ny: {'z' * 5000}\n"
    assert references(text.encode(), tmp_path) == ()


@pytest.mark.parametrize(
    "text",
    [
        b"a: ]\ntable: quotes.csv",
        b"\xff\xfe quotes.csv",
        b"",
        b"a: \x00",
        b"[" * 9000,
        b"{a: " * 9000,
        b"- " * 9000,
    ],
)
def test_broken_text_names_nothing(tmp_path: Path, text: bytes) -> None:
    write(tmp_path, "quotes.csv", "name,price\n")
    assert references(text, tmp_path) == ()


def test_files_in_other_folders_are_recognised(tmp_path: Path) -> None:
    names = (
        "below/it/quotes.csv",
        "../beside/quotes.csv",
        "./quotes.csv",
        "below/../quotes.csv",
        "Größe.csv",
    )
    for name in names:
        (tmp_path / "packs" / name).parent.mkdir(parents=True, exist_ok=True)
        write(tmp_path / "packs", name, "name,price\n")
    absolute = str(tmp_path / "beside/quotes.csv")
    text = "\n".join(
        f"- mesh: {name}" for name in (*names, absolute, "below", "none/quotes.csv", "../none.csv")
    )
    assert references(text.encode(), tmp_path / "packs") == (*names, absolute)


def test_what_no_file_key_names_stays_here(tmp_path: Path) -> None:
    write(tmp_path, "secret.txt", "secret")
    write(tmp_path, "packs/quotes.csv", "secret")
    text = "format: 1\ntitle: ../secret.txt\nnote: quotes.csv\nlist: [quotes.csv]\n"
    text += "../secret.txt: mesh\nmesh: {quotes.csv: 1}\n"
    packed = bundle(write(tmp_path, "packs/p.yaml", text))
    assert [name for name, _ in packed.files] == ["p.yaml"]


@pytest.mark.parametrize("name", sorted(file_keys()))
def test_every_key_that_names_a_file_lets_it_travel(tmp_path: Path, name: str) -> None:
    write(tmp_path, "quotes.csv", "")
    assert references(f"{name}: quotes.csv".encode(), tmp_path) == ("quotes.csv",)


def test_the_manual_names_every_key_that_names_a_file() -> None:
    manual = (Path(__file__).parents[2] / "docs/portfolio.md").read_text("utf-8")
    told = manual.partition("keys that name files count:")[2].partition(", in a workbook")[0]
    assert set(re.findall(r"`(\w+)`", told)) == file_keys()


def test_keys_whose_examples_are_files_are_known_as_such() -> None:
    """The examples of the manual: a key that shows a name with the ending of a file names one."""

    def shown(node: Any) -> Iterator[str]:
        if isinstance(node, dict):
            for key, value in node.get("properties", {}).items():
                examples = value.get("examples", ()) if isinstance(value, dict) else ()
                if any(re.fullmatch(r"[\w-]+\.[a-z]{3}", str(example)) for example in examples):
                    yield key
        for value in node.values() if isinstance(node, dict) else node if isinstance(node, list) else ():
            yield from shown(value)

    assert set(shown(json_schema())) == file_keys() - {"thickness"}  # its example is a length


def test_more_than_travels_is_refused_before_it_is_read(tmp_path: Path) -> None:
    with (tmp_path / "big.stl").open("wb") as stream:
        stream.truncate(MOST_BYTES)
    path = write(tmp_path, "p.yaml", "format: 1\nmesh: big.stl\n")
    with pytest.raises(InputError, match=r"p\.yaml: big\.stl: makes 200 MB with .*; at most 200 MB travel"):
        bundle(path)


def test_text_within_itself_is_walked_once(tmp_path: Path) -> None:
    write(tmp_path, "quotes.csv", "name,price\n")
    assert references(b"a: &a [*a, {mesh: quotes.csv}, &b {c: *a, d: *b}]\n", tmp_path) == ("quotes.csv",)


def test_a_bundle_holds_the_project_first_and_absolute_files_by_their_checksum(tmp_path: Path) -> None:
    quotes = write(tmp_path, "shared/quotes.csv", "name,price\n")
    text = f"format: 1\na: {{table: ../shared/quotes.csv}}\nb: {{weather: {quotes}}}\n"
    packed = bundle(write(tmp_path, "packs/p.yaml", text))
    assert packed.shown == str(tmp_path / "packs/p.yaml")
    assert dict(packed.files) == {"p.yaml": text.encode(), "../shared/quotes.csv": b"name,price\n"}
    assert packed.files[0][0] == "p.yaml"
    # SHA-256 of b"name,price\n", by sha256sum of GNU coreutils
    assert packed.fixed == (
        (str(quotes), "23254f4d10a59b332588d6bae7d6aa43d69d41294d1bbee930d05b9eba65e8a0"),
    )
