"""Sheets of offers: what is read from CSV and from workbooks, and how a mistake is shown at its cell."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pytest

import optimizer
from optimizer.catalog.offers import Offer, read_offers
from optimizer.design.contender import Contender
from optimizer.errors import InputError
from optimizer.project.offers import Offers, load_offers, read_rates

SLAB = Path(__file__).parents[1] / "data/offers/slab.yaml"
OAT = Path(__file__).parents[2] / "examples/oat_drink_bottle/project.yaml"
HEAD = ["supplier", "material", "grade", "price", "gas", "value", "temperature", "humidity", "spread"]
#: cm3(STP) at 0 degC and 1 atm in mol: the molar volume of an ideal gas, 22413.97 cm3/mol (CODATA 2018).
MOLAR_VOLUME = 22413.969


def csv_file(folder: Path, text: str, name: str = "offers.csv") -> Path:
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


def workbook(folder: Path, rows: Sequence[Sequence[object]], **sheets: Sequence[Sequence[object]]) -> Path:
    openpyxl = pytest.importorskip("openpyxl")
    book = openpyxl.Workbook()
    book.active.title = "Sheet"
    for row in rows:
        book.active.append(list(row))
    for title, cells in sheets.items():
        sheet = book.create_sheet(title)
        for row in cells:
            sheet.append(list(row))
    path = folder / "offers.xlsx"
    book.save(path)
    return path


def saved(path: Path, change: Any) -> Path:
    """The workbook with ``change`` applied to its first sheet."""
    openpyxl = pytest.importorskip("openpyxl")
    book = openpyxl.load_workbook(path)
    change(book.worksheets[0])
    book.save(path)
    return path


def problems(action: Any, *arguments: Any) -> list[str]:
    with pytest.raises(InputError) as caught:
        action(*arguments)
    return [str(p) for p in caught.value.problems]


def bound(path: Path, project: Path = SLAB, rates: Sequence[str] = ()) -> Offers:
    return load_offers(optimizer.load_project(project), path, rates)


def one(path: Path, project: Path = SLAB) -> Contender:
    contenders = bound(path, project).contenders
    assert contenders[0].baseline and len(contenders) == 2
    return contenders[1]


def only(path: Path) -> Offer:
    (found,) = read_offers(path)
    return found


ROWS = [
    HEAD,
    ["Alder", "slab", "", "1.42 EUR/kg", "O2", "20 cm3*um/(m2*day*atm)", "23 degC", "0 %", "4 %"],
    ["", "", "", "", "H2O", "0.9 g*um/(m2*day)", "38 degC", "90 %", ""],
    [],
    ["Birch", "slab", "soft", "1.30 EUR/kg", "", "", "", "", "12 %"],
]


def as_csv(rows: Sequence[Sequence[object]], delimiter: str = ",") -> str:
    return "".join(delimiter.join(str(cell) for cell in row) + "\n" for row in rows)


# -- rows ----------------------------------------------------------------------------------------------------


def test_empty_cells_of_the_identity_continue_the_offer_above(tmp_path: Path) -> None:
    alder, birch = read_offers(csv_file(tmp_path, as_csv(ROWS)))
    assert (alder.supplier, alder.material, alder.grade) == ("Alder", "slab", "")
    assert [record.gas for _, record in alder.permeability] == ["O2", "H2O"]
    assert alder.facts.price is not None and alder.facts.price.value == 1.42
    assert dict(alder.spread) == {"O2": 0.04}
    assert (birch.grade, birch.permeability, dict(birch.spread)) == ("soft", (), {"": 0.12})


def test_rows_of_one_offer_need_not_stand_together(tmp_path: Path) -> None:
    rows = [ROWS[0], ROWS[1], ROWS[4], ["ALDER", "Slab", *ROWS[2][2:]]]
    alder, birch = read_offers(csv_file(tmp_path, as_csv(rows)))
    assert [record.gas for _, record in alder.permeability] == ["O2", "H2O"] and birch.supplier == "Birch"


@pytest.mark.parametrize(
    "text",
    [
        "\ufeff" + as_csv(ROWS),
        as_csv(ROWS).replace("\n", "\r\n"),
        as_csv(ROWS, ";"),
        as_csv(ROWS, "\t"),
        "sep=;\n" + as_csv(ROWS, ";"),
        "# invented\n\n" + as_csv(ROWS),
        '"# invented, and quoted by the spreadsheet",,,,,,,,\n' + as_csv(ROWS),
        as_csv(ROWS).replace(",", " , ").replace("Alder", "Alder  "),
        "".join(line + ",,,\n" for line in as_csv(ROWS).splitlines()),
        as_csv(ROWS).replace("supplier,material", "Supplier,Replaces"),
        as_csv(ROWS, ";").replace("1.42", "1,42").replace("0.9 g", "0,9 g"),
        as_csv(ROWS).replace("1.42 EUR/kg", '"1,42 EUR/kg"'),
        as_csv(ROWS).replace("degC", "°C").replace("um/", "µm/"),
    ],
    ids=[
        "byte order mark",
        "line ends",
        "semicolons",
        "tabs",
        "separator line",
        "comment",
        "quoted comment",
        "blanks",
        "empty columns",
        "other headings",
        "decimal commas",
        "quoted decimal comma",
        "signs",
    ],
)
def test_what_spreadsheets_write_is_read_alike(tmp_path: Path, text: str) -> None:
    plain = read_offers(csv_file(tmp_path, as_csv(ROWS), "plain.csv"))
    found = read_offers(csv_file(tmp_path, text))
    assert [o.facts.price and o.facts.price.value for o in found] == [1.42, 1.30]
    assert [(o.supplier, o.material, o.grade, o.spread) for o in found] == [
        (o.supplier, o.material, o.grade, o.spread) for o in plain
    ]
    values = [[r.best for _, r in o.permeability] for o in found]
    assert values == [[r.best for _, r in o.permeability] for o in plain]


def test_a_workbook_says_the_same_as_the_csv_of_its_sheet(tmp_path: Path) -> None:
    a = bound(csv_file(tmp_path, as_csv(ROWS))).contenders
    b = bound(workbook(tmp_path, ROWS)).contenders
    for one_, two in zip(a, b, strict=True):
        assert (one_.name, one_.price, one_.stated, one_.replaced) == (
            two.name,
            two.price,
            two.stated,
            two.replaced,
        )
        for m, n in zip(one_.options.candidates, two.options.candidates, strict=True):
            assert (m.price, m.density, m.gauge, m.gases, m.water) == (
                n.price,
                n.density,
                n.gauge,
                n.gases,
                n.water,
            )


def test_an_offer_in_a_hidden_row_is_not_read_unseen(tmp_path: Path) -> None:
    def filtered(sheet: Any) -> None:
        sheet.row_dimensions[2].hidden = True

    (only_one,) = problems(read_offers, saved(workbook(tmp_path, ROWS), filtered))
    assert "!A2: the row is hidden, and something stands in it" in only_one


def test_numbers_percentages_and_merged_cells_of_a_workbook_are_read_as_seen(tmp_path: Path) -> None:
    rows = [
        [
            "supplier",
            "material",
            "price",
            "currency",
            "gas",
            "value",
            "unit",
            "temperature",
            "humidity",
            "spread",
        ],
        ["Alder", "slab", 1.42, "EUR/kg", "O2", 20, "cm3*um/(m2*day*atm)", "23 degC", 0.0, 0.04],
        ["", "", "", "", "O2", 25, "cm3*um/(m2*day*atm)", "", 0.9, ""],
    ]

    def change(sheet: Any) -> None:
        for cell in ("I2", "I3", "J2"):
            sheet[cell].number_format = "0%"
        for span in ("A2:A3", "B2:B3", "C2:C3", "D2:D3", "H2:H3"):
            sheet.merge_cells(span)

    found = only(saved(workbook(tmp_path, rows), change))
    assert found.facts.price is not None and (found.facts.price.value, found.facts.price.currency) == (
        1.42,
        "EUR",
    )
    assert [(r.temperature, r.humidity) for _, r in found.permeability] == [(296.15, 0.0), (296.15, 0.9)]
    assert dict(found.spread) == {"O2": 0.04}


def test_the_sheet_called_offers_is_read_of_several(tmp_path: Path) -> None:
    path = workbook(tmp_path, [["something", "else"]], Offers=ROWS)
    assert [o.supplier for o in read_offers(path)] == ["Alder", "Birch"]


def test_a_price_is_put_together_with_its_currency(tmp_path: Path) -> None:
    head = "supplier,material,price,currency\n"
    for price, currency in (
        ("1.42", "EUR/kg"),
        ("1.42 /kg", "EUR"),
        ("1.42 EUR/kg", "EUR"),
        ("1420", "EUR/t"),
    ):
        found = only(csv_file(tmp_path, f"{head}A,slab,{price},{currency}\n"))
        assert found.facts.price is not None
        assert (found.facts.price.value, found.facts.price.currency) == (pytest.approx(1.42), "EUR")


# -- mistakes ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("row", "place", "said"),
    [
        (",slab,,1 EUR/kg,,,,,", "2:1", "supplier: nobody is named"),
        ("A,,,1 EUR/kg,,,,,", "2:3", "material: the material that it replaces is missing"),
        ("A,slab,,1.42,,,,,", "2:13", "price: a unit is missing"),
        ("A,slab,,1 €/kg,,,,,", "2:11", "price: '€' is not read"),
        ('A,slab,,"1,420 EUR/t",,,,,', "2:10", "price: '1,420' may be 1.420 or 1420"),
        ('A,slab,,"1.420,00 EUR/t",,,,,', "2:", "price: a comma in a number or unit"),
        ("A,slab,,-1 EUR/kg,,,,,", "2:9", "price: a price must not be negative"),
        ("A,slab,,0 EUR/kg,,,,,", "2:9", "price: a price must be above 0 (leave it empty"),
        ("A,slab,,1 EUR/kg,O2,0 Barrer,23 degC,0 %,", "2:21", "value: a value must be above 0"),
        ("A,slab,,1 EUR/kg,He,1 Barrer,23 degC,0 %,", "2:18", "gas: 'He' is not a gas that is known here"),
        ("A,slab,,1 EUR/kg,,1 Barrer,23 degC,0 %,", "2:18", "gas: the gas is missing"),
        ("A,slab,,1 EUR/kg,O2,2 g,23 degC,0 %,", "2:23", "value: 'g' is the unit of a mass"),
        (
            "A,slab,,1 EUR/kg,O2,2 cm3/(m2*day*atm),23 degC,0 %,",
            "2:",
            "thickness: the value is the transmission",
        ),
        ("A,slab,,1 EUR/kg,O2,1 Barrer,,0 %,", "2:30", "temperature: the temperature of the test is missing"),
        ("A,slab,,1 EUR/kg,O2,1 Barrer,23,0 %,", "2:32", "temperature: a unit is missing"),
        ("A,slab,,1 EUR/kg,O2,1 Barrer,23 degC,50,", "2:38", "humidity: 50 is not between 0 and 1"),
        ("A,slab,,1 EUR/kg,H2O,1 g*mm/(m2*day),38 degC,,", "2:", "humidity: a water vapour rate needs"),
        ("A,slab,,1 EUR/kg,,,,,120 %", "2:22", "spread: 120 % is out of range"),
        ("A,slab,,1 EUR/kg,,,,,wide", "2:22", "spread: a number must come first"),
        ("A,slab,,1 EUR/kg,,,,,\nA,slab,,2 EUR/kg,,,,,", "3:9", "price: is '1 EUR/kg' in"),
    ],
)
def test_a_mistake_is_shown_at_its_cell(tmp_path: Path, row: str, place: str, said: str) -> None:
    path = csv_file(tmp_path, ",".join(HEAD) + "\n" + row + "\n")
    (message,) = problems(read_offers, path)
    assert message.startswith(f"{path}:{place}") and said in message


def test_all_mistakes_of_a_sheet_come_at_once(tmp_path: Path) -> None:
    rows = "A,slab,,1.42,,,,,\nB,slab,,1 EUR/kg,O2,x,23 degC,0 %,\n,,,,,,,,2\n"
    assert len(problems(read_offers, csv_file(tmp_path, ",".join(HEAD) + "\n" + rows))) == 3


@pytest.mark.parametrize("form", ["csv", "xlsx"])
def test_mistakes_of_cells_and_of_what_they_name_come_at_once(tmp_path: Path, form: str) -> None:
    """An unknown material stands beside cells that cannot be read, in its own row and in others."""
    rows = [
        HEAD,
        ["A", "Nylon X", "", "1 EUR/kg"],
        ["B", "slab", "", "0 EUR/kg", "O2", "0 Barrer", "23 degC", "0 %"],
        ["C", "Nylon Y", "", "1.42"],
        ["D", "slab", "", "1 CHF/kg"],
    ]
    path = csv_file(tmp_path, as_csv(rows)) if form == "csv" else workbook(tmp_path, rows)
    found = [text.partition(" (")[0].partition("; expected")[0] for text in problems(bound, path)]
    places = {text.removeprefix(str(path)).partition(": ")[0] for text in found}
    if form == "xlsx":
        assert places == {f"!Sheet!{x}" for x in ("B2", "D3", "F3", "D4", "B4", "D5")}
    else:
        assert [text.removeprefix(f"{path}:")[0] for text in found] == ["2", "3", "3", "4", "4", "5"]
    assert sorted(text.partition(": ")[2].replace("material: ", "") for text in found) == [
        "price: a price must be above 0",
        "price: a unit is missing",
        "price: the price is in CHF, the project in EUR",
        "there is no material 'Nylon X'",
        "there is no material 'Nylon Y'",
        "value: a value must be above 0",
    ]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "the table is empty"),
        ("supplier,material\n", "there is no offer below"),
        ("supplier,price\nA,1 EUR/kg\n", "the column 'material' is missing"),
        (
            "supplier,material,prize\nA,slab,1 EUR/kg\n",
            ":1:19: prize: there is no such column (did you mean 'price'?)",
        ),
        (
            "supplier,replaces,material\nA,slab,slab\n",
            ":1:19: material: means the same as the column 'replaces'",
        ),
        ("supplier,material,price\nA,slab,1,42 EUR/kg\n", ":2:10: 4 cells for 3 columns"),
        ('supplier,material,note\nA,slab,"two\nlines"\n', ":2:8: a quotation mark is not closed on its line"),
        (
            "supplier,material,currency,price\nA,slab,EUR,1.42\n",
            "a price in EUR, but per kg, per t or per m2?",
        ),
        ("supplier,material,currency,price\nA,slab,USD,1.42 EUR/kg\n", "currency: is not that of the price"),
    ],
)
def test_a_file_that_is_no_such_sheet_is_refused_by_name(tmp_path: Path, text: str, said: str) -> None:
    (message,) = problems(read_offers, csv_file(tmp_path, text))
    assert said in message


def test_other_files_are_refused_by_name(tmp_path: Path) -> None:
    assert "there is no such file" in problems(read_offers, tmp_path / "none.csv")[0]
    assert "is a folder" in problems(read_offers, tmp_path)[0]
    (tmp_path / "old.xls").write_bytes(b"x")
    assert "an old workbook" in problems(read_offers, tmp_path / "old.xls")[0]
    (tmp_path / "latin.csv").write_bytes("supplier,material\nMüller,slab\n".encode("cp1252"))
    assert "not UTF-8" in problems(read_offers, tmp_path / "latin.csv")[0]
    (tmp_path / "broken.xlsx").write_bytes(b"PK\x03\x04 and no more")
    assert "no workbook that can be read" in problems(read_offers, tmp_path / "broken.xlsx")[0]


@pytest.mark.parametrize(
    ("cell", "value", "said"),
    [
        ("D2", "=1+1", "D2: a formula without a stored value"),
        ("D2", 1.42, "D2: price: a unit is missing"),
        ("E2", True, "E2: the logical value TRUE"),
        ("G2", "23", "G2: temperature: a unit is missing"),
        ("I2", 4, "I2: spread: 4 is not between 0 and 1"),
        ("K2", "stray", "K2: a cell without a column name above it"),
        ("D1", "supplier", "D1: the column 'supplier' stands twice"),
    ],
)
def test_a_mistake_in_a_workbook_is_shown_at_its_cell(
    tmp_path: Path, cell: str, value: object, said: str
) -> None:
    def change(sheet: Any) -> None:
        sheet[cell] = value

    path = saved(workbook(tmp_path, ROWS), change)
    found = problems(read_offers, path)
    assert f"{path}!Sheet!{said}" in found[0]


def test_dates_error_values_and_cells_merged_across_are_refused(tmp_path: Path) -> None:
    from datetime import date

    def change(sheet: Any) -> None:
        sheet["F2"] = date(2026, 1, 2)
        sheet["G2"] = "#REF!"
        sheet.merge_cells("A5:B5")

    found = problems(read_offers, saved(workbook(tmp_path, ROWS), change))
    assert [text.partition("!Sheet!")[2].partition(" (")[0] for text in found] == [
        "A5: cells are merged across columns",
        "F2: a date or time where text or a number belongs",
        "G2: the formula ends in the error #REF!",
    ]


def test_several_sheets_without_one_called_offers_are_refused(tmp_path: Path) -> None:
    path = workbook(tmp_path, ROWS, Other=ROWS)
    assert "several sheets: 'Sheet', 'Other'" in problems(read_offers, path)[0]


# -- in the project ------------------------------------------------------------------------------------------


def test_an_offer_replaces_its_material_everywhere_and_nothing_else(tmp_path: Path) -> None:
    rows = "supplier,material,price,min_gauge,density\nA,EVOH 32,5.5 EUR/kg,8 um,1.2 g/cm3\n"
    a = one(csv_file(tmp_path, rows), OAT)
    project = optimizer.load_project(OAT)
    assert project.design is not None
    for old, new in zip(project.design.candidates, a.options.candidates, strict=True):
        if old.name != "EVOH 32":
            assert new is not old or new.price == old.price
            assert (new.price, new.gases, new.gauge) == (old.price, old.gases, old.gauge)
            continue
        assert (new.price, new.density, new.gauge) == (5.5, 1200.0, (8e-6, old.gauge[1]))
        assert (new.gases, new.water, new.family, new.roles) == (old.gases, old.water, old.family, old.roles)
    layers = [layer.material for layer in a.case.package.walls["bottle"].layers]
    assert [m.price for m in layers] == [1.30, 2.80, 5.5, 2.80, 1.30]


def test_an_alias_names_the_candidate_and_anything_else_is_refused(tmp_path: Path) -> None:
    head = "supplier,material,price\n"
    a = one(csv_file(tmp_path, head + "A,PE-HD,1 EUR/kg\n"), OAT)
    assert a.material == "HDPE" and len(a.replaced) == 1
    path = csv_file(tmp_path, head + "A,PET,1 EUR/kg\nB,EVHO 32,1 EUR/kg\nC,HDPE,\nD,HDPE,1 USD/kg\n")
    found = problems(bound, path, OAT)
    assert [text.removeprefix(f"{path}:").partition(" (")[0] for text in found] == [
        "2:3: material: 'PET' is not among the materials to choose from",
        "3:3: material: there is no material 'EVHO 32'",
        "5:8: price: the price is in USD, the project in EUR",
    ]
    assert "did you mean EVOH 32" in found[1] and "--rate" in found[2]


@pytest.mark.parametrize("form", ["csv", "xlsx"])
def test_an_offer_without_a_price_is_read_and_known_to_have_none(tmp_path: Path, form: str) -> None:
    rows = [["supplier", "material", "price"], ["A", "slab", ""], ["B", "slab", "3 EUR/kg"]]
    path = csv_file(tmp_path, as_csv(rows)) if form == "csv" else workbook(tmp_path, rows)
    _, a, b = bound(path).contenders
    assert (a.unpriced, b.unpriced) == (True, False)
    # the search for the price to tie starts at that of the material replaced, 2 EUR/kg
    assert a.price is not None and (a.price.per_kg, a.price.unit) == (2.0, "EUR/kg")


def test_one_value_scales_the_humidity_response_of_the_material_it_replaces(tmp_path: Path) -> None:
    """0.3 cm3 20 um/(m2 day atm) at 20 degC, 65 %RH, by hand in SI; the shape over humidity and the
    activation energy are those of the project's EVOH."""
    rows = "supplier,material,price,gas,value,temperature,humidity\n"
    a = one(csv_file(tmp_path, rows + "A,EVOH 32,6 EUR/kg,O2,0.3 cm3*20um/(m2*day*atm),20 degC,65 %\n"), OAT)
    (i,) = a.replaced
    new = a.options.candidates[i]
    project = optimizer.load_project(OAT)
    assert project.design is not None
    old = project.design.candidates[i]
    by_hand = 0.3 / MOLAR_VOLUME * 20e-6 / 86400 / 101325
    assert float(new.gas_law("O2").at(293.15, 0.65)) == pytest.approx(by_hand, rel=1e-6)
    ratios = [
        float(new.gas_law("O2").at(t, h) / old.gas_law("O2").at(t, h))
        for t in (278.15, 311.15)
        for h in (0.0, 0.5, 0.95)
    ]
    assert ratios == pytest.approx([ratios[0]] * 6, rel=1e-9)
    assert any("humidity response of the material it replaces" in n for n in new.notes)
    assert new.water == old.water and new.gases["CO2"] == old.gases["CO2"]


@pytest.mark.parametrize(
    ("humidity", "said"),
    [
        ("0 %", "tested at 0 %RH"),
        ("", "tested at a humidity not stated, taken as 0 %RH"),
        ("95 %", "tested at 95 %RH"),
        ("60 %", ""),
        ("65 %", ""),
        ("90 %", ""),
    ],
)
def test_a_test_off_the_measured_humidity_response_is_pointed_out(
    tmp_path: Path, humidity: str, said: str
) -> None:
    """The shipped EVOH 32 was measured from 60 to 90 %RH and lets more through the moister it is: a value of
    a dry test, taken for one at 60 %RH, makes the barrier in use too good, one of a moister test too poor."""
    rows = "supplier,material,price,gas,value,temperature,humidity\n"
    row = f"A,EVOH 32,6 EUR/kg,O2,0.3 cm3*20um/(m2*day*atm),20 degC,{humidity}\n"
    a = one(csv_file(tmp_path, rows + row), OAT)
    notes = a.options.candidates[a.replaced[0]].notes
    found = [note for note in notes if "barrier in use" in note]
    assert not [note for note in notes if note.startswith("O2: ") and "taken as dry" in note]
    if not said:
        assert not found
        return
    (note,) = found
    which = "understated" if humidity == "95 %" else "overstated"
    assert note.startswith(f"O2: {said}, and the humidity response") and "from 60 to 90 %RH only" in note
    assert f"the barrier in use may be {which}; ask for a value at 65 %RH" in note


def test_rows_at_several_humidities_are_a_response_of_their_own(tmp_path: Path) -> None:
    rows = "supplier,material,price,gas,value,temperature,humidity,activation_energy\n"
    rows += "A,EVOH 32,6 EUR/kg,O2,0.3 cm3*20um/(m2*day*atm),23 degC,20 %,50 kJ/mol\n"
    rows += ",,,O2,3 cm3*20um/(m2*day*atm),23 degC,90 %,50 kJ/mol\n"
    law = one(csv_file(tmp_path, rows), OAT).options.candidates[4].gas_law("O2")
    assert law.activity == (0.2, 0.9) and law.activation_energy == pytest.approx(50e3)
    assert law.permeability[1] / law.permeability[0] == pytest.approx(10.0)


def test_one_vapour_rate_scales_the_water_response(tmp_path: Path) -> None:
    rows = "supplier,material,price,gas,value,temperature,humidity\n"
    a = one(csv_file(tmp_path, rows + "A,PA6,3 EUR/kg,H2O,5 g*mm/(m2*day),38 degC,90 %\n"), OAT)
    (i,) = a.replaced
    project = optimizer.load_project(OAT)
    assert project.design is not None
    old, new = project.design.candidates[i].water_law(), a.options.candidates[i].water_law()
    scale = [
        float(new.potential(h) * new.factor(311.15) / (old.potential(h) * old.factor(311.15)))
        for h in (0.3, 0.9)
    ]
    assert scale[0] == pytest.approx(scale[1], rel=1e-9)
    # saturation pressure of water at 38 degC 6632 Pa (IAPWS-IF97: 6.632 kPa)
    rate = float(new.potential(0.9) * new.factor(311.15)) * 6632 * 0.018015 * 1e3 * 1e3 * 86400
    assert rate == pytest.approx(5.0, rel=1e-3)


def test_a_value_far_from_that_of_the_material_it_replaces_is_pointed_out(tmp_path: Path) -> None:
    rows = "supplier,material,price,gas,value,temperature,humidity\n"
    a = one(csv_file(tmp_path, rows + "A,slab,2 EUR/kg,O2,40 cm3*mm/(m2*day*atm),23 degC,0 %\n"))
    assert any(
        "1e+03 times the permeability" in n and "check the unit" in n for n in a.options.candidates[0].notes
    )


def test_another_family_is_bonded_as_the_table_says(tmp_path: Path) -> None:
    """A polyolefin in place of EVOH holds to polyethylene without a tie."""
    rows = "supplier,material,price,family\nA,EVOH 32,6 EUR/kg,PE\n"
    a = one(csv_file(tmp_path, rows), OAT)
    project = optimizer.load_project(OAT)
    assert project.design is not None and project.design.touching is not None
    assert ("HDPE", "EVOH 32") not in project.design.touching
    assert a.options.touching is not None and ("HDPE", "EVOH 32") in a.options.touching
    kept = {pair for pair in project.design.touching if "EVOH 32" not in pair}
    assert kept == {pair for pair in a.options.touching if "EVOH 32" not in pair}


def test_roles_that_leave_no_inner_layer_are_refused(tmp_path: Path) -> None:
    path = csv_file(tmp_path, "supplier,material,price,roles\nA,slab,1 EUR/kg,core|print\n")
    assert f"{path}:2:17: roles: with these roles no material" in problems(bound, path)[0]


def test_a_price_per_area_needs_one_gauge(tmp_path: Path) -> None:
    """0.05 EUR/m2 of 25 um at 1000 kg/m3 are 2 EUR/kg."""
    head = "supplier,material,price,min_gauge,max_gauge\n"
    assert "needs one fixed gauge" in problems(bound, csv_file(tmp_path, head + "A,slab,0.05 EUR/m2,,\n"))[0]
    a = one(csv_file(tmp_path, head + "A,slab,0.05 EUR/m2,25 um,25 um\n"))
    assert a.price is not None and a.price.per_kg == pytest.approx(2.0)
    assert (a.price.number, a.price.unit) == (0.05, "EUR/m2")


def test_names_tell_the_offers_of_one_supplier_apart(tmp_path: Path) -> None:
    rows = (
        "supplier,material,grade,price\nA,HDPE,,1 EUR/kg\nA,PP,,1 EUR/kg\nB,PP,x,1 EUR/kg\nB,PP,y,1 EUR/kg\n"
    )
    names = [c.name for c in bound(csv_file(tmp_path, rows), OAT).contenders]
    assert names == ["project as it is", "A for HDPE", "A for PP", "B x", "B y"]


def test_the_baseline_has_the_price_of_the_material_that_all_offers_replace(tmp_path: Path) -> None:
    head = "supplier,material,price\n"
    base = bound(csv_file(tmp_path, head + "A,HDPE,1 EUR/kg\nB,HDPE,1 EUR/kg\n"), OAT).contenders[0]
    assert base.price is not None and (base.price.number, base.price.unit) == (1.30, "EUR/kg")
    several = bound(csv_file(tmp_path, head + "A,HDPE,1 EUR/kg\nB,PP,1 EUR/kg\n"), OAT).contenders[0]
    assert several.price is None and several.replaced == ()


def test_rates_are_read_both_ways_and_refused_by_name() -> None:
    assert read_rates(["USD=0.92 EUR", "GBP = 1.15 EUR"]) == {("USD", "EUR"): 0.92, ("GBP", "EUR"): 1.15}
    for text in ("USD=0.92", "USD 0.92 EUR", "usd=1 EUR", "USD=0 EUR", "EUR=1 EUR", "USD=0,92 EUR"):
        assert "is no exchange rate" in problems(read_rates, [text])[0]
    assert "two rates" in problems(read_rates, ["USD=0.92 EUR", "EUR=1.1 USD"])[0]


def test_the_inverse_rate_serves_as_well(tmp_path: Path) -> None:
    path = csv_file(tmp_path, "supplier,material,price\nA,slab,2 USD/kg\n")
    for rate in ("USD=0.8 EUR", "EUR=1.25 USD"):
        a = bound(path, rates=[rate]).contenders[1]
        assert a.price is not None and a.price.per_kg == pytest.approx(1.6)


def test_the_sum_changes_with_the_sheet(tmp_path: Path) -> None:
    head = "supplier,material,price\n"
    sums = {bound(csv_file(tmp_path, f"{head}A,slab,{p} EUR/kg\n")).sha256 for p in (1, 2, 2)}
    assert len(sums) == 2
