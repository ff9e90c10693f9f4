"""Spellings of the same quantity give the same value, and kinds are told apart by their units."""

import pytest

from optimizer.units import KINDS, read, vapour_rate_needs_conditions

# Spellings seen in data sheets and papers (common practice, no source); all must agree with the first.
SAME = [
    (
        "gas permeability",
        [
            "1 cm3*mil/(100 in2*day*atm)",
            "1 cc.mil/100in2.day.atm",
            "1 cc-mil/100 in2-24hr-atm",
            "1 cc*mil/(100*in^2*day*atm)",
            "1 cc mil/(100 sq. in. 24 hr atm)",
            "1 cm³·mil/(100 in²·d·atm)",
            "1 CC Mil/100 in2/Day/ATM",
            "1 cm3 mil (100 in2 day atm)-1",
            "1 cm³·mil·(100 in²·d·atm)⁻¹",
            "1 (cc mil)/(100 in2 day atm)",
            "1 cc mil/[100 in**2 * 24 h * atm]",
            "1 cm3(STP) mil/100 sq in/day/atm",
            "1 mL(STP)·mil/(100 in² day atm)",
        ],
    ),
    (
        "gas permeability",
        [
            "1 cm3·µm/m²·d·bar",
            "1 cm3*um/(m2*day*bar)",
            "1 cc μm/m2/24h/bar",
            "1 mL micron m-2 day-1 bar-1",
            "1 mL·µm·m⁻²·d⁻¹·bar⁻¹",
            "1 cm^3 um / (m^2 day bar)",
            "1 cm3 µ/(m2 d bar)",
            "1 cm3 × um/(m2 × day × bar)",
            "1 cm3 x um/(m2 x day x bar)",
            "1 ccm um per m2 per day per bar",
            "1 cm3_STP um/(m2 day bar)",
            "1 cm3 STP um/(m2 day bar)",
            "1 cm3(O2) um/(m2 day bar)",
            "1 cm\u00b3\u00a0um/(m\u00b2\u00a0day\u00a0bar)",
            "1 cm3 um m^-2 d^(-1) bar**-1",
            "1*cm3*um/(m2*day*bar)",
        ],
    ),
    (
        "gas permeability",
        [
            "4e-18 mol m/(m2 s Pa)",
            "4 x 10^-18 mol m/(m2 s Pa)",
            "4 × 10⁻¹⁸ mol·m/(m²·s·Pa)",
            "4*10**-18 mol/(m s Pa)",
            "4E-18 mol m/(m2 s Pa)",
            "4e\u221218 mol m/(m2 s Pa)",
            "4 1e-18 mol m/(m2 s Pa)",
        ],
    ),
    (
        "vapour transmission rate",
        [
            "5 g/(m2*day)",
            "5 g/m²/24h",
            "5 g/(m2 24h)",
            "5 g/m2.day",
            "5 gram/sqm/24 hrs",
            "5 g per m2 per day",
            "5 grams/(square meter day)",
            "5 g m-2 d-1",
            "5g/m2/d",
            "5 g H2O/(m2 day)",
            "5 g(H2O)/(m2 day)",
        ],
    ),
    (
        "package gas flow",
        [
            "2 cm3/(package*day)",
            "2 cm3/day",
            "2 mL/(pack day)",
            "2 cc/pkg/day",
            "2 cm3/(closure*day)",
            "2 ml/bottle.24h",
            "2 cc/container/day",
            "2 cm3/(pouch d)",
            "2 cm3/tray/day",
            "2 cm3/cap/day",
        ],
    ),
    (
        "length",
        [
            "20 um",
            "20 µm",
            "20 μm",
            "20um",
            "20 micron",
            "20 Microns",
            "20 µ",
            "0.02 mm",
            ".02 mm",
            "2e1 um",
            "20*um",
            "20. um",
            "20 UM",
        ],
    ),
    (
        "volume",
        [
            "5 mL",
            "5 ml",
            "5 cm3",
            "5 cm³",
            "5 cc",
            "5 CC",
            "5 cm^3",
            "0.005 L",
            "0.005 l",
            "5 milliliters",
            "5 cu cm",
        ],
    ),
    (
        "area",
        [
            "100 in2",
            "100 sq in",
            "100 sq.in",
            "100 sq. in.",
            "100 in²",
            "100 square inches",
            "0.064516 m2",
            "0.064516 sqm",
        ],
    ),
    ("duration", ["30 days", "30 d", "720 h", "720 hours", "30 Days", "30 DAY", "43200 min"]),
    (
        "temperature",
        [
            "23 degC",
            "23 °C",
            "23°C",
            "23 C",
            "23 ℃",
            "23 deg C",
            "23 Celsius",
            "73.4 °F",
            "73.4 F",
            "296.15 K",
            "23 degrees C",
        ],
    ),
    (
        "pressure",
        [
            "1 atm",
            "101325 Pa",
            "1013.25 mbar",
            "1013.25 hPa",
            "760 mmHg",
            "760 mm Hg",
            "76 cmHg",
            "760 Torr",
            "1 ATM",
        ],
    ),
    (
        "activation energy",
        ["40 kJ/mol", "40 KJ/mol", "40000 J/mol", "40 kJ mol-1", "40 kJ/mole", "40 kJ·mol⁻¹"],
    ),
    (
        "rate",
        ["0.05 1/day", "0.05 /day", "0.05/day", "0.05 day-1", "0.05 d⁻¹", "0.05 per day", "1.2 1/(24 day)"],
    ),
    ("fraction", ["5 %", "5%", "0.05", "50000 ppm", "5 percent", "50 ‰", "5 vol%"]),
    ("relative humidity", ["50 %", "50 %RH", "50% RH", "50 % r.h.", "0.5"]),
    ("mass share", ["5 mg/kg", "5 ppm", "5e-4 %", "0.5 mg/100 g", "5 ug/g", "5000 ppb"]),
    ("price per mass", ["1.30 EUR/kg", "1300 EUR/t", "1300 EUR/1000 kg", "1.30 EUR per kg", "0.0013 EUR/g"]),
]


@pytest.mark.parametrize(("kind", "texts"), SAME, ids=[f"{i}-{row[0]}" for i, row in enumerate(SAME)])
def test_spellings_of_one_quantity_agree(kind: str, texts: list[str]) -> None:
    reference = read(texts[0], kind).value
    assert reference > 0.0
    for text in texts[1:]:
        assert read(text, kind).value == pytest.approx(reference, rel=1e-9), text


@pytest.mark.parametrize(
    ("text", "kind", "value"),
    [
        # absolute anchors for one spelling of each group above, by hand from the definitions
        ("20 um", "length", 20e-6),
        ("5 mL", "volume", 5e-6),
        ("100 in2", "area", 0.064516),
        ("23 degC", "temperature", 296.15),
        ("10 degC", "temperature difference", 10.0),
        ("18 degF", "temperature difference", 10.0),
        ("-18 °C", "temperature", 255.15),
        ("1 month", "duration", 30.4375 * 86400),
        ("1 year", "duration", 365.25 * 86400),
        ("30 min", "duration", 1800.0),
        ("50 %RH", "fraction", 0.5),
        ("1", "fraction", 1.0),
        (0.05, "fraction", 0.05),
        (1.4, "ratio", 1.4),
        (7, "count", 7.0),
        ("0.3 mg/L", "concentration", 3e-4),
        ("1 mPa", "pressure", 1e-3),
        ("1 MPa", "pressure", 1e6),
        ("0 %", "fraction", 0.0),
        ("2 USD/lb", "price per mass", 2 / 0.45359237),
        ("0.25 CHF/m2", "price per area", 0.25),
        ("5 mg/day", "mass rate", 5e-6 / 86400),
        ("1 mmol(O2)/L", "concentration", 0.031998),
        ("1 mL(STP)(O2)/L", "concentration", 0.031998 / 22413.97 * 1e3),
    ],
)
def test_anchors(text: object, kind: str, value: float) -> None:
    assert read(text, kind).value == pytest.approx(value, rel=1e-6, abs=0.0)


@pytest.mark.parametrize("name", KINDS)
def test_every_example_of_a_kind_is_read_as_that_kind(name: str) -> None:
    for example in KINDS[name].examples:
        assert read(example, name).kind == name


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("0.0012 cm3/day", "package gas flow"),
        ("0.0012 cm3/(day*atm)", "package gas conductance"),
        ("0.01 cm3/(package*day*0.21 atm)", "package gas conductance"),
        ("2 cm3/(m2*day*atm)", "gas permeance"),
        ("2 cm3/(m2*day)", "gas flux"),
        ("2 cm3*mm/(m2*day*atm)", "gas permeability"),
    ],
)
def test_the_unit_decides_between_gas_kinds(text: str, kind: str) -> None:
    kinds = ["gas permeability", "gas permeance", "gas flux", "package gas conductance", "package gas flow"]
    assert read(text, kinds, gas="O2").kind == kind


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("0.05 1/day", "rate"),
        ("2 mg/day", "mass rate"),
        ("2 mg/(kg day)", "mass rate per mass"),
        ("2 mg/(L day)", "mass rate per volume"),
    ],
)
def test_the_unit_decides_between_consumption_kinds(text: str, kind: str) -> None:
    # 1/day and mg/(kg day) have the same dimension: the mass above and below the slash tells them apart
    assert read(text, ["rate", "mass rate", "mass rate per mass", "mass rate per volume"]).kind == kind


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("1.5 g*mil/(100 in2*day)", "vapour permeability rate"),
        ("8 g/(m2*day)", "vapour transmission rate"),
        ("0.01 g/(package*day)", "package vapour rate"),
        ("0.2 g*mm/(m2*day*kPa)", "vapour permeability"),
        ("0.5 g/(m2*day*mmHg)", "vapour permeance"),
    ],
)
def test_the_unit_decides_between_vapour_kinds(text: str, kind: str) -> None:
    kinds = [k for k in KINDS if "vapour" in k]
    assert read(text, kinds).kind == kind
    assert vapour_rate_needs_conditions(kind) is ("kPa" not in text and "mmHg" not in text)


def test_kinds_that_no_unit_can_tell_apart_are_a_programming_error() -> None:
    for pair in (
        ["density", "concentration"],
        ["fraction", "ratio"],
        ["gas permeability", "vapour permeability"],
    ):
        with pytest.raises(ValueError, match="cannot be told apart"):
            read("1 kg", pair)
    with pytest.raises(ValueError, match="unknown kind"):
        read("1 kg", "weight")


def test_the_quantity_remembers_what_was_given() -> None:
    quantity = read("  1.30 EUR/kg ", "price per mass")
    assert (quantity.text, quantity.unit, quantity.number) == ("1.30 EUR/kg", "EUR/kg", 1.3)
    assert (quantity.kind, quantity.currency) == ("price per mass", "EUR")
    assert read("450 cm³·µm/(m²·d·bar)", "gas permeability").unit == "cm³·µm/(m²·d·bar)"


def test_a_volume_is_a_volume_in_a_geometry_and_an_amount_in_a_transmission() -> None:
    assert read("30 cm3", "volume").value == pytest.approx(30e-6, rel=1e-12)
    # 22413.97 cm3/mol at 0 degC and 101325 Pa (CODATA molar volume of ideal gas, 22.413 969 54e-3 m3/mol)
    assert read("22413.96954 cm3/day", "package gas flow").value == pytest.approx(1.0 / 86400.0, rel=1e-9)


def test_values_come_out_as_the_literal_a_person_would_write() -> None:
    assert read("300 um", "length").value == 300e-6
    assert read("5 mg/kg", "mass share").value == 5e-6
    assert read("18 cm2", "area").value == 18e-4
    assert read("0.92 g/cm3", "density").value == 920.0
