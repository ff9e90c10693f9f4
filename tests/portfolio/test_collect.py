"""Which files are projects, and what travels with each."""

from __future__ import annotations

from pathlib import Path

import pytest

from optimizer.errors import InputError
from optimizer.portfolio.collect import bundle, find_projects, references

from .projects import project, write

pytest.importorskip("yaml")


def test_projects_are_found_in_every_folder_and_sorted(tmp_path: Path) -> None:
    for name in ("b.yaml", "a/z.yaml", "a/deep/y.yml", "c.YAML"):
        write(tmp_path, name, project())
    for name in (".hidden/x.yaml", ".x.yaml", "notes.txt"):
        write(tmp_path, name, project())
    write(tmp_path, "a/settings.yaml", "theme: dark\nnested:\n  format: 1\n")
    found, others = find_projects(tmp_path)
    assert [str(p.relative_to(tmp_path)) for p in found] == ["a/deep/y.yml", "a/z.yaml", "b.yaml", "c.YAML"]
    assert [p.name for p in others] == ["settings.yaml"]


@pytest.mark.parametrize(
    "text", ["format: 1\n", "\ufeffformat: 1\n", "# note\n'format' : 1\n", "{format: 1, title: x}\n"]
)
def test_a_project_file_is_known_by_its_format(tmp_path: Path, text: str) -> None:
    path = write(tmp_path, "p.yaml", text)
    assert find_projects(tmp_path) == ((path,), ())


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
        "[mesh, [quotes.csv]]",
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


@pytest.mark.parametrize("text", [b"a: ]\nb: quotes.csv", b"\xff\xfe quotes.csv", b"", b"a: \x00"])
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
    text = "\n".join(f"- {name}" for name in (*names, absolute, "below", "none/quotes.csv", "../none.csv"))
    assert references(text.encode(), tmp_path / "packs") == (*names, absolute)


def test_text_within_itself_is_walked_once(tmp_path: Path) -> None:
    write(tmp_path, "quotes.csv", "name,price\n")
    assert references(b"a: &a [*a, quotes.csv, &b {c: *a, d: *b}]\n", tmp_path) == ("quotes.csv",)


def test_a_bundle_holds_the_project_first_and_absolute_files_by_their_checksum(tmp_path: Path) -> None:
    quotes = write(tmp_path, "shared/quotes.csv", "name,price\n")
    text = f"format: 1\na: ../shared/quotes.csv\nb: {quotes}\n"
    packed = bundle(write(tmp_path, "packs/p.yaml", text))
    assert packed.shown == str(tmp_path / "packs/p.yaml")
    assert dict(packed.files) == {"p.yaml": text.encode(), "../shared/quotes.csv": b"name,price\n"}
    assert packed.files[0][0] == "p.yaml"
    # SHA-256 of b"name,price\n", by sha256sum of GNU coreutils
    assert packed.fixed == (
        (str(quotes), "23254f4d10a59b332588d6bae7d6aa43d69d41294d1bbee930d05b9eba65e8a0"),
    )
