"""Warnings and sources in a readable order, nothing lost."""

from __future__ import annotations

from optimizer.report.basis import basis
from optimizer.report.cautions import gathered, shortened
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
        "HDPE: O2: estimated; O2 permeability is old; brittle",
    ]


#: What a prediction says of an invented EVOH, as in the JSON answer.
EVOH = [
    "EVOH 32: O2: activation energy from memory",
    "EVOH 32: O2: humidity response flat below 60 %RH, the driest measured",
    "EVOH 32: O2: humidity response flat above 90 %RH, the wettest measured",
    "EVOH 32: H2O: value from memory, confirm it",
    "EVOH 32: O2: value from memory, confirm it",
    "EVOH 32: H2O: activation energy assumed, 35 kJ/mol",
    "EVOH 32: H2O: one permeability at all humidities although the material responds to humidity",
    "EVOH 32: O2 permeability was measured at 23 degC; storage at 38 degC is more than 10 K outside, so it "
    "rests on the activation energy",
    "EVOH 32: CO2: estimated value (4 times O2 (from a textbook))",
    "EVOH 32: O2 diffusivity: activation energy assumed, 40 kJ/mol",
    "EVOH 32: something nobody thought of; and more",
]


def test_the_cautions_of_one_material_take_one_line_and_lose_no_fact() -> None:
    assert gathered(EVOH, ["EVOH 32"]) == [
        "EVOH 32: something nobody thought of; and more; H2O and O2 value from memory; "
        "CO2 value estimated (4 times O2 (from a textbook)); activation energy of O2 from memory; "
        "activation energy of H2O (35 kJ/mol) assumed; O2 flat below 60 and above 90 %RH; "
        "one H2O value for all humidities; O2 measured at 23, used at 38 degC; "
        "diffusion energy of O2 (40 kJ/mol) assumed"
    ]


def test_the_catalogue_says_nothing_of_its_materials_that_is_not_shortened() -> None:
    from optimizer.catalog import load_catalog

    catalog = load_catalog()
    for name in catalog.names():
        for note in catalog.material(name).notes:
            assert shortened([note]) != [note], (name, note)


def test_warnings_of_the_baseline_are_marked() -> None:
    texts = ["(baseline) HDPE: O2: activation energy from memory", "(baseline) the lid leaks"]
    assert gathered(texts, ["HDPE"]) == [
        "(baseline) the lid leaks",
        "(baseline) HDPE: activation energy of O2 from memory",
    ]


def test_no_key_of_the_project_file_stands_in_a_warning_or_assumption() -> None:
    text = flat(basis(Page(), warnings=["oxygen_gain is over"], assumptions=["co2_loss is shared."]))
    assert "oxygen gain is over" in text and "CO2 loss is shared." in text


def test_values_with_a_power_of_ten_in_their_unit_are_multiplied() -> None:
    rows = [{**SOURCES[0], "value": "0.17", "unit": "1e-6 cm2/s"}]
    assert "0.17 x 1e-6 cm2/s" in flat(basis(Page(), sources=rows))


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
