"""Every broken project file gives exactly the problems beside it: file, line, column, field, words."""

from __future__ import annotations

from pathlib import Path

import pytest

from optimizer.errors import InputError
from optimizer.project import load_project

BAD = Path(__file__).parent.parent / "data" / "projects" / "bad"
FILES = sorted(BAD.glob("*.yaml"))


@pytest.mark.parametrize("path", FILES, ids=[p.stem for p in FILES])
def test_a_broken_project_says_exactly_what_is_wrong_and_where(path: Path) -> None:
    with pytest.raises(InputError) as caught:
        load_project(path)
    said = str(caught.value).replace(f"{BAD}/", "")
    assert said.splitlines() == path.with_suffix(".txt").read_text("utf-8").splitlines()


@pytest.mark.parametrize("path", FILES, ids=[p.stem for p in FILES])
def test_every_problem_of_a_broken_project_has_a_line_and_a_column_in_the_file(path: Path) -> None:
    with pytest.raises(InputError) as caught:
        load_project(path)
    for problem in caught.value.problems:
        lines = Path(problem.file).read_bytes().decode("utf-8", "replace").split("\n")
        assert 1 <= problem.line <= max(len(lines), 1)
        # a remark on a whole table has no column
        least = 1 if problem.file == str(path) else 0
        assert least <= problem.column <= len(lines[problem.line - 1]) + 1


def test_there_are_expectations_for_every_broken_project_and_no_others() -> None:
    assert {p.stem for p in BAD.glob("*.txt")} == {p.stem for p in FILES}
    assert len(FILES) >= 40


def test_problems_come_sorted_by_line() -> None:
    with pytest.raises(InputError) as caught:
        load_project(BAD / "025_several.yaml")
    places = [(p.line, p.column) for p in caught.value.problems]
    assert places == sorted(places) and len(places) >= 6


def test_no_message_shows_the_words_of_the_validation_library() -> None:
    for path in BAD.glob("*.txt"):
        text = path.read_text("utf-8").lower()
        for word in (
            "field required",
            "input should be",
            "extra inputs",
            "pydantic",
            "value error",
            "<class",
        ):
            assert word not in text, path.name
