"""YAML to plain data with marks. Number and word rules: YAML 1.2.2, chapter 10.3 (core schema)."""

from __future__ import annotations

from pathlib import Path

import pytest

from optimizer.errors import InputError
from optimizer.project.source import Mark, Source, dotted, read_source


def source(tmp_path: Path, text: str) -> Source:
    path = tmp_path / "p.yaml"
    path.write_text(text, encoding="utf-8")
    return read_source(path, "p.yaml")


def problems(tmp_path: Path, text: str) -> list[str]:
    try:
        return [str(p) for p in source(tmp_path, text).problems]
    except InputError as error:
        return [str(p) for p in error.problems]


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("no", "no"),
        ("on", "on"),
        ("true", True),
        ("1e3", 1000.0),
        ("1e-3", 0.001),
        ("08", 8),
        ("12:30", "12:30"),
        ("1_000", "1_000"),
        ("0x10", "0x10"),
        ("2024-01-31", "2024-01-31"),
        ("1,5", "1,5"),
        ("'7'", "7"),
        ('"\\ud83e\\uddf4"', "\U0001f9f4"),
        ('"\\ud83e"', "\ufffd"),
        ("~", None),
        (".inf", float("inf")),
    ],
)
def test_plain_values_follow_yaml_1_2(tmp_path: Path, text: str, value: object) -> None:
    got = source(tmp_path, f"a: {text}\n").data["a"]
    assert got == value and type(got) is type(value)


def test_every_key_and_value_has_its_line_and_column(tmp_path: Path) -> None:
    read = source(tmp_path, 'a: 1\nb:\n  - {c: "x y", d: [1, 2]}\n')
    assert read.data == {"a": 1, "b": [{"c": "x y", "d": [1, 2]}]}
    assert read.values[("a",)] == Mark(1, 4)
    assert read.keys[("b",)] == Mark(2, 1)
    assert read.values[("b", 0, "c")] == Mark(3, 10)
    assert read.values[("b", 0, "d", 1)] == Mark(3, 23)


def test_a_place_that_is_not_in_the_file_is_shown_at_its_nearest_parent(tmp_path: Path) -> None:
    read = source(tmp_path, "a:\n  b: 1\n")
    assert read.mark(("a", "missing")) == Mark(1, 1)
    assert str(read.problem(("a", "missing"), "is missing")) == "p.yaml:1:1: a.missing: is missing"


def test_a_problem_inside_a_quoted_text_counts_from_inside_the_quotes(tmp_path: Path) -> None:
    read = source(tmp_path, 'a: "5 xm"\n')
    assert read.problem(("a",), "unknown unit", offset=2).column == 7


def test_a_path_is_written_with_dots_and_brackets() -> None:
    assert dotted(("walls", "bottle", "layers", 0, "thickness")) == "walls.bottle.layers[0].thickness"


def test_a_group_can_take_in_another_and_keeps_its_own_keys(tmp_path: Path) -> None:
    read = source(tmp_path, "a: &a {x: 1, y: 2}\nb: {<<: *a, y: 3}\nc: {<<: [*a], z: 4}\n")
    assert read.data["b"] == {"y": 3, "x": 1}
    assert read.data["c"] == {"z": 4, "x": 1, "y": 2}
    assert read.values[("b", "y")] == Mark(2, 16)
    assert read.values[("b", "x")] == Mark(1, 11)
    assert not read.problems


def test_a_key_given_twice_is_named_with_both_lines(tmp_path: Path) -> None:
    assert problems(tmp_path, "a: 1\nb: 2\na: 3\n") == [
        "p.yaml:3:1: a: is given twice, first on line 1 (keep one of them)"
    ]


def test_aliases_that_multiply_are_stopped(tmp_path: Path) -> None:
    text = "a0: &a0 [x, x, x, x, x, x, x, x, x, x]\n"
    for i in range(1, 9):
        text += f"a{i}: &a{i} [" + ", ".join([f"*a{i - 1}"] * 10) + "]\n"
    assert any("too many values" in p for p in problems(tmp_path, text))


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "p.yaml:1:1: the file is empty"),
        ("- a\n", "p.yaml:1:1: the file must be a group of 'key: value' lines"),
        ("a:\n\tb: 1\n", "p.yaml:2:1: a tab cannot be used to indent"),
        ("a: [1, 2\n", "p.yaml:2:1: is no valid YAML: a bracket is not closed"),
        ("a: *b\n", "p.yaml:1:4: is no valid YAML: found undefined alias"),
        ("? [a]\n: 1\n", "p.yaml:1:3: a key must be one word or text"),
        ("a: x\x07\n", "p.yaml:1:5: the character U+0007 cannot stand in YAML"),
        ("[" * 3000, "p.yaml: is nested too deeply"),
    ],
)
def test_a_broken_file_is_one_problem_with_its_place(tmp_path: Path, text: str, said: str) -> None:
    found = problems(tmp_path, text)
    assert len(found) == 1 and found[0].startswith(said)


def test_a_file_that_is_not_utf_8_is_named_at_the_first_bad_byte(tmp_path: Path) -> None:
    path = tmp_path / "p.yaml"
    path.write_bytes(b"a: 1\nb: caf\xe9\n")
    with pytest.raises(InputError, match=r"p\.yaml:2:7: the file is not UTF-8"):
        read_source(path, "p.yaml")


def test_a_byte_order_mark_is_no_part_of_the_first_key(tmp_path: Path) -> None:
    path = tmp_path / "p.yaml"
    path.write_bytes(b"\xef\xbb\xbfa: 1\n")
    assert read_source(path).data == {"a": 1}


def test_a_missing_file_and_a_folder_are_said(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="there is no such file"):
        read_source(tmp_path / "none.yaml")
    with pytest.raises(InputError, match="is a folder"):
        read_source(tmp_path)
