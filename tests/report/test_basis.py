"""Warnings and sources in a readable order, nothing lost."""

from __future__ import annotations

from optimizer.report.basis import basis, gathered
from optimizer.report.page import Page

MEMORY = "From memory"
SOURCES = [
    {
        "material": "HDPE",
        "gas": "density",
        "value": "0.955",
        "unit": "g/cm3",
        "grade": "memory",
        "source": MEMORY,
    },
    {
        "material": "HDPE",
        "gas": "O2 activation energy",
        "value": "40",
        "unit": "kJ/mol",
        "grade": "handbook",
        "source": "A book; second edition; 23 degC, 0 %RH",
    },
    {"material": "HDPE", "gas": "CO2", "value": "1", "unit": "Barrer", "grade": "memory", "source": MEMORY},
]


def flat(page: Page) -> str:
    return " ".join(page.text().split())


def test_warnings_about_one_gas_in_one_material_stand_together_after_the_others() -> None:
    texts = ["HDPE: O2: estimated", "the lid leaks", "HDPE: O2 permeability is old", "HDPE: brittle"]
    assert gathered(texts, ["HDPE"]) == [
        "the lid leaks",
        "HDPE, O2: estimated; permeability is old",
        "HDPE: brittle",
    ]


def test_warnings_about_other_gases_are_counted() -> None:
    texts = ["HDPE: N2: from memory", "HDPE: CO2: estimated", "cap: N2: unknown"]
    assert gathered(texts, ["HDPE"], ["O2"]) == [
        "cap: N2: unknown",
        "2 more, of gases that no limit follows, in the JSON answer",
    ]


def test_a_warning_given_twice_is_said_once() -> None:
    assert gathered(["a", "a"], []) == ["a"]


def test_sources_are_numbered_and_cited_once() -> None:
    text = flat(basis(Page(), sources=SOURCES))
    assert "HDPE density 0.955 g/cm3 memory [1]" in text
    assert "O2 act. energy 40 kJ/mol; 23 degC, 0 %RH handbook [2]" in text
    assert "CO2 1 Barrer memory [1]" in text
    assert text.count(MEMORY) == 1
    assert "[2] A book; second edition" in text


def test_sources_of_other_gases_are_counted() -> None:
    text = flat(basis(Page(), sources=SOURCES, gases=["O2", "H2O"]))
    assert "Barrer" not in text
    assert "1 more, of gases that no limit follows, in the JSON answer" in text
