"""Stages that follow a weather file: what becomes of them, against hours reckoned one by one in the test."""

from __future__ import annotations

import math
import re
from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import quad

from optimizer.errors import InputError
from optimizer.physics.climate import damped
from optimizer.project import load_project
from optimizer.report.record import to_json
from optimizer.shelflife.package import Case, Stage
from optimizer.shelflife.predict import predict

from .weather_files import csv_text, epw_text, project, year

R, ATM, DAY = 8.31446261815324, 101325.0, 86400.0
T, RH = year()


def case_of(folder: Path, *stages: str, **options: str) -> Case:
    options.setdefault("csv", csv_text(T, RH))
    return load_project(project(folder, *stages, **options)).case


def said(path: Path) -> list[str]:
    with pytest.raises(InputError) as caught:
        load_project(path)
    return [str(p).replace(f"{path.parent}/", "") for p in caught.value.problems]


def test_every_hour_of_the_file_is_a_stage_of_one_name(tmp_path: Path) -> None:
    stages = case_of(tmp_path, "{name: depot, weather: depot.csv}").storage
    assert len(stages) == 8760 and {s.name for s in stages} == {"depot"}
    assert {s.duration for s in stages} == {3600.0} and {s.pressure for s in stages} == {ATM}
    assert [s.temperature for s in stages] == pytest.approx(T + 273.15)
    assert [s.humidity for s in stages] == pytest.approx(RH / 100)


def test_weather_stands_between_other_stages_and_has_its_own_pressure(tmp_path: Path) -> None:
    stages = case_of(
        tmp_path,
        "{name: works, duration: 3 days, temperature: 23 degC, humidity: 50 %}",
        "{weather: depot.csv, duration: 30 days, pressure: 0.9 bar}",
        "{name: shop, duration: 3 days, temperature: 21 degC, humidity: 50 %}",
    ).storage
    assert [stages[0].name, stages[1].name, stages[-1].name] == ["works", "stage 2", "shop"]
    assert len(stages) == 722 and stages[1].pressure == pytest.approx(90e3)


def test_the_year_repeats_until_the_duration_is_over(tmp_path: Path) -> None:
    stages = case_of(tmp_path, "{weather: depot.csv, duration: 2 years}").storage
    assert len(stages) == 17532  # 2 x 365.25 days
    assert sum(s.duration for s in stages) == pytest.approx(2 * 365.25 * DAY)
    assert stages[8760:17520] == stages[:8760]
    short = case_of(tmp_path, "{weather: depot.csv, duration: 90 min}").storage
    assert [s.duration for s in short] == pytest.approx([3600, 1800])


def test_storage_may_begin_later_in_the_file(tmp_path: Path) -> None:
    # 1 July is the 182nd day of a year of 365: 181 days after the beginning
    by_hours = case_of(tmp_path, "{weather: depot.csv, start: 4344 h}").storage
    assert [s.temperature for s in by_hours] == pytest.approx(np.roll(T, -4344) + 273.15)
    by_date = case_of(tmp_path, "{weather: a.epw, start: 1 July}", csv=epw_text(T, RH), name="a.epw").storage
    assert [s.temperature for s in by_date] == pytest.approx([s.temperature for s in by_hours], abs=1e-9)
    (tmp_path / "a.epw").write_text(epw_text(T, RH), "latin-1")
    month = case_of(tmp_path, "{weather: a.epw, start: july, duration: 1 h}").storage
    assert month[0].temperature == pytest.approx(by_date[0].temperature)


def test_a_building_damps_temperature_and_vapour_pressure(tmp_path: Path) -> None:
    case = case_of(tmp_path, "{name: depot, weather: depot.csv, damping: 12 h}")
    air = damped(T + 273.15, RH / 100, 3600.0, 12 * 3600.0)
    assert [s.temperature for s in case.storage] == pytest.approx(air.temperature)
    assert [s.humidity for s in case.storage] == pytest.approx(air.humidity)
    assert any("Stage 'depot' follows depot.csv in steps of 1 h, damped with a time constant of 12 h" in a
               for a in case.assumptions)  # fmt: skip


def test_over_saturated_air_of_a_building_is_told(tmp_path: Path) -> None:
    case = case_of(tmp_path, "{name: depot, weather: depot.csv, damping: 12 h}", csv=csv_text(T, 0 * T + 100))
    assert any("would be above 100 % humidity in 8760 of 8760 steps" in w for w in case.warnings)
    assert max(s.humidity for s in case.storage) == 1.0


def test_a_file_of_one_climate_is_the_same_as_a_stage(tmp_path: Path) -> None:
    flat = csv_text([23.0] * 48, [50.0] * 48)
    hourly = predict(case_of(tmp_path, "{name: a, weather: depot.csv, duration: 6 months}", csv=flat))
    plain = predict(case_of(tmp_path, "{name: a, duration: 6 months, temperature: 23 degC, humidity: 50 %}"))
    assert hourly.shelf_life_days == pytest.approx(plain.shelf_life_days, rel=1e-9)
    assert [t.value for t in hourly.transmission] == pytest.approx([t.value for t in plain.transmission])


def magnus(celsius: float) -> float:
    """Saturation pressure of water [Pa], Magnus form with the WMO's coefficients, good to 0.1 %."""
    return 611.2 * math.exp(17.62 * celsius / (243.12 + celsius))


def test_two_years_hour_by_hour_are_as_an_exponential_for_every_hour(tmp_path: Path) -> None:
    # rigid headspace that holds no oxygen at first: dp/dt = G(T) R T / V (p_out - p), exact for each hour,
    # and n = p V / (R T) is kept from one hour to the next
    case = case_of(tmp_path, "{name: yard, weather: depot.csv, duration: 730 days}")
    result = predict(case)
    wall = case.package.walls["tub"]
    law = wall.layers[0].material.gases["O2"]
    area = sum(part.permeation_area(wall.thickness) for part in case.package.parts)
    volume = case.product.headspace.volume
    (p0,) = law.permeability
    moles, at = 0.0, {}
    for k in range(17520):
        t, h = T[k % 8760], RH[k % 8760] / 100
        kelvin = t + 273.15
        g = (
            area
            / wall.thickness
            * p0
            * math.exp(-law.activation_energy / R * (1 / kelvin - 1 / law.temperature))
        )
        outside = 0.2095 * (ATM - h * magnus(t)) * volume / (R * kelvin)
        moles = outside + (moles - outside) * math.exp(-g * R * kelvin / volume * 3600.0)
        at[k + 1] = moles * R * kelvin / volume
    days = np.array(result.time_series["days"])
    found = dict(zip(np.round(days * 24, 6), result.time_series["O2_pressure_kPa"], strict=True))
    common = [hour for hour in found if hour in at]
    assert len(common) >= 40
    for hour in common:
        assert found[hour] * 1e3 == pytest.approx(at[int(hour)], rel=1e-4), hour


def test_tables_show_one_row_for_a_year_of_hours_and_its_mean_transmission(tmp_path: Path) -> None:
    # a day of one sine in temperature: mean rate against that at 23 degC by quadrature
    t = 23 + 8 * np.sin(2 * np.pi * (np.arange(24) + 0.5) / 24)
    rows = [f"{i},{a:.6f},50" for i, a in enumerate(t)]
    csv = "\n".join(["time h,temperature degC,humidity %", *rows])
    stage = "{name: shop, duration: 1 day, temperature: 23 degC, humidity: 50 %}"
    case = case_of(tmp_path, stage, "{name: yard, weather: depot.csv, duration: 300 days}", csv=csv)
    result = predict(case)
    assert [(r.stage, r.part, r.gas) for r in result.transmission if r.gas == "O2"] == [
        ("shop", "body", "O2"), ("shop", "base", "O2"), ("yard", "body", "O2"), ("yard", "base", "O2")
    ]  # fmt: skip
    energy = case.package.walls["tub"].layers[0].material.gases["O2"].activation_energy

    def rate(x: float) -> float:
        kelvin = 296.15 + 8 * math.sin(2 * math.pi * x)
        return math.exp(-energy / R * (1 / kelvin - 1 / 296.15))

    values = {r.stage: r.value for r in result.film_transmission if r.gas == "O2"}
    assert values["yard"] / values["shop"] == pytest.approx(quad(rate, 0, 1, epsabs=1e-10)[0], rel=1e-6)
    assert [layer.stage for layer in result.layers] == ["shop", "yard"]
    # one layer: its middle is half way from the inside (0.6) to the outside, at every hour
    assert result.layers[1].humidity_mid_pct == pytest.approx(55.0, abs=1e-9)
    assert len(to_json(result)) < 60_000


def test_layers_count_hours_by_the_gas_that_passes(tmp_path: Path) -> None:
    # two layers with different activation energies: share of the pressure fall, averaged over what passes
    path = project(
        tmp_path, "{name: yard, weather: depot.csv}", csv=csv_text([0.0] * 12 + [40.0] * 12, [50.0] * 24)
    )
    text = path.read_text("utf-8").replace(
        "layers: [{material: HDPE, thickness: 600 um}]",
        "layers: [{material: A, thickness: 100 um}, {material: B, thickness: 100 um}]",
    )
    water = (
        "{gas: H2O, value: 1 g*mm/(m2*day), temperature: 38 degC, humidity: 90 %, activation_energy: 0 J/mol}"
    )
    oxygen = "gas: O2, value: 100 cm3*mm/(m2*day*atm), temperature: 20 degC, humidity: 0 %"
    materials = "\n".join(
        f"  - {{name: {name}, density: 1 g/cm3, family: PE, permeability: "
        f"[{{{oxygen}, activation_energy: {energy} kJ/mol}}, {water}]}}"
        for name, energy in (("A", 20), ("B", 60))
    )
    path.write_text(text.replace("product:", f"materials:\n{materials}\nproduct:", 1), "utf-8")
    first, second = predict(load_project(path).case).layers
    resistance = {
        (e, t): math.exp(e * 1e3 / R * (1 / (t + 273.15) - 1 / 293.15)) for e in (20, 60) for t in (0, 40)
    }
    flux = {t: 1 / (resistance[20, t] + resistance[60, t]) for t in (0, 40)}
    share = sum(flux[t] * resistance[20, t] * flux[t] for t in (0, 40)) / sum(flux.values())
    assert first.resistance_share_pct["O2"] == pytest.approx(100 * share, rel=1e-6)
    assert first.resistance_share_pct["O2"] + second.resistance_share_pct["O2"] == pytest.approx(100)


def test_the_weather_file_counts_for_the_checksum_of_the_inputs(tmp_path: Path) -> None:
    path = project(tmp_path, "{weather: depot.csv}", csv=csv_text(T, RH))
    before = load_project(path)
    assert before.files == (path, tmp_path / "depot.csv")
    (tmp_path / "depot.csv").write_text(csv_text(T + 0.1, RH), "utf-8")
    assert load_project(path).sha256 != before.sha256


@pytest.mark.parametrize(
    ("stage", "expected"),
    [
        (
            "{weather: nowhere.csv}",
            [
                "project.yaml:17:15: storage[0].weather: there is no such file (paths are relative to the "
                "project file)",
            ],
        ),
        (
            "{weather: depot.csv, temperature: 23 degC}",
            [
                "project.yaml:17:5: storage[0]: has both 'weather' and 'temperature' (the weather file has "
                "its own temperature and humidity; remove one)",
            ],
        ),
        (
            "{weather: depot.csv, start: 1 July}",
            [
                "project.yaml:17:33: storage[0].start: the weather file has no dates (give the time from "
                "the beginning of the file, such as '4344 h')",
            ],
        ),
        (
            "{weather: depot.csv, start: 31 June}",
            [
                "project.yaml:17:33: storage[0].start: '31 June' is not a date (June has 30 days here)",
            ],
        ),
        (
            "{weather: depot.csv, start: 2 years}",
            [
                "project.yaml:17:33: storage[0].start: is not in the weather file (it lasts 365 days)",
            ],
        ),
        (
            "{weather: depot.csv, damping: 12}",
            [
                "project.yaml:17:35: storage[0].damping: '12' has no unit (for example '4 months')",
            ],
        ),
        (
            "{weather: depot.csv, duration: 100 years}",
            [
                "project.yaml:17:36: storage[0].duration: is more than 200000 steps of the weather file "
                "(shorten it)",
            ],
        ),
        (
            "{weather: depot.csv, columns: {humidity: {name: rh, unit: bar}}}",
            [
                "project.yaml:17:46: storage[0].columns.humidity: 'bar' is not a unit of humidity that is "
                "known here (for example '%')",
            ],
        ),
        (
            "{weather: depot.csv, columns: {temperature: T}}",
            [
                "depot.csv:1:1: has no column 'T' (headings: temperature degC, humidity %)",
            ],
        ),
    ],
)  # fmt: skip
def test_what_is_wrong_in_a_weather_stage_is_said_with_its_place(
    tmp_path: Path, stage: str, expected: list[str]
) -> None:
    assert said(project(tmp_path, stage, csv=csv_text(T, RH))) == expected


def test_problems_of_project_and_weather_file_come_together(tmp_path: Path) -> None:
    path = project(tmp_path, "{weather: depot.csv}", csv=csv_text([20, 300], [50, 50]), target="6 monhs")
    places = [line.split(": ")[0] for line in said(path)]
    assert places == ["depot.csv", "depot.csv:3:1", "project.yaml:18:24"]


def test_a_log_that_repeats_is_of_whole_days(tmp_path: Path) -> None:
    rows = "\n".join(f"{i},20,50" for i in range(30))
    csv = f"time h,temperature degC,humidity %\n{rows}\n"
    path = project(tmp_path, "{weather: depot.csv, duration: 2 days}", csv=csv)
    assert said(path) == [
        "project.yaml:17:36: storage[0].duration: is longer than the weather file, which repeats; "
        "its 30 h are not whole days (cut the file to whole days)"
    ]
    assert len(case_of(tmp_path, "{weather: depot.csv, duration: 1 day}", csv=csv).storage) == 24


def test_weather_is_not_looked_at_for_centuries(tmp_path: Path) -> None:
    path = project(tmp_path, "{weather: depot.csv}", csv=csv_text(T, RH), target="300 years")
    assert said(path) == [
        "project.yaml:18:22: target.shelf_life: '300 years' is more than 20 years of hourly weather "
        "(give stages of constant temperature and humidity)"
    ]


def test_a_package_is_closed_at_the_mean_of_the_weather_of_its_first_stage(tmp_path: Path) -> None:
    assert case_of(tmp_path, "{weather: depot.csv}").product.closing_temperature == pytest.approx(
        T.mean() + 273.15
    )


def test_the_stages_of_the_manual_load(tmp_path: Path) -> None:
    manual = (Path(__file__).parents[2] / "docs" / "project-file.md").read_text("utf-8")
    (block,) = re.findall(r"### Hourly weather.*?```yaml\nstorage:\n(.*?)```", manual, re.DOTALL)
    path = project(tmp_path, "", csv=csv_text(T, RH, "T roof (C),rF"))
    path.write_text(path.read_text("utf-8").replace("storage:\n  - \n", f"storage:\n{block}"), "utf-8")
    stages = load_project(path).case.storage
    assert [stages[0].name, stages[1].name, len(stages)] == ["works", "depot", 8767]


def test_stages_without_weather_are_as_before(tmp_path: Path) -> None:
    case = case_of(tmp_path, "{duration: 2 days, temperature: 23 degC, humidity: 50 %}")
    assert case.storage == (Stage("stage 1", 2 * DAY, 296.15, 0.5),)
