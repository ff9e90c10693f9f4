"""Weather files of every format say the same; what is wrong in one is said once, with its place."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from optimizer.constants import ZERO_CELSIUS
from optimizer.errors import InputError
from optimizer.physics.climate import effective_temperature
from optimizer.physics.permeability import arrhenius
from optimizer.project.weather import Climate, read_climate
from optimizer.project.weather_raw import Heading

from .weather_files import csv_text, epw_text, tmy2_text, tmy3_text, year

T, RH = year(days=10)


def climate(folder: Path, content: str | bytes, name: str = "w.csv", **columns: Heading) -> Climate:
    path = folder / name
    path.write_bytes(content if isinstance(content, bytes) else content.encode("latin-1"))
    return read_climate(path, columns)


def said(folder: Path, content: str | bytes, name: str = "w.csv", **columns: Heading) -> list[str]:
    with pytest.raises(InputError) as caught:
        climate(folder, content, name, **columns)
    return [str(p).replace(f"{folder}/", "") for p in caught.value.problems]


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("a.csv", csv_text(T, RH)),
        ("a.epw", epw_text(T, RH)),
        ("without_suffix", epw_text(T, RH)),
        ("a.tm2", tmy2_text(T, RH)),
        ("a.csv", tmy3_text(T, RH)),
    ],
    ids=["csv", "epw", "epw by its first line", "tmy2", "tmy3"],
)
def test_every_format_gives_the_same_climate(tmp_path: Path, name: str, content: str) -> None:
    found = climate(tmp_path, content, name)
    assert found.temperature == pytest.approx(T + 273.15, abs=1e-9)
    assert found.humidity == pytest.approx(RH / 100, abs=1e-9)
    assert found.step == 3600.0
    if name != "a.csv" or "MM/DD" in content:
        assert found.first is not None and (found.first.month, found.first.day, found.first.hour) == (1, 1, 0)


@pytest.mark.parametrize(
    ("heading", "factor", "offset", "percent"),
    [
        ("Temp (\xb0C),RH (%)".encode(), 1.0, 0.0, 1.0),
        (b"air temperature [K];relative humidity [%]", 1.0, 273.15, 1.0),
        (b"temperature_degF\thumidity_1", 1.8, 32.0, 0.01),
        (b'"Dry-bulb (C)","RHum (%)"', 1.0, 0.0, 1.0),
        (b"T deg C,RH%", 1.0, 0.0, 1.0),
    ],
)
def test_units_of_the_headings_are_used(
    tmp_path: Path, heading: bytes, factor: float, offset: float, percent: float
) -> None:
    delimiter = next(d for d in ";\t," if d in heading.decode())
    rows = [f"{t * factor + offset:.6f}{delimiter}{h * percent:.4f}" for t, h in zip(T, RH, strict=True)]
    found = climate(tmp_path, heading + b"\n# a remark\n" + "\n".join(rows).encode())
    assert found.temperature == pytest.approx(T + 273.15, abs=1e-5)
    assert found.humidity == pytest.approx(RH / 100, abs=1e-5)


def test_a_column_is_chosen_by_its_heading_and_may_be_given_a_unit(tmp_path: Path) -> None:
    rows = [f"{t},{t + 1},{h}" for t, h in zip(T, RH, strict=True)]
    text = "\n".join(["roof degC,T_yard,Feuchte", *rows])
    found = climate(tmp_path, text, temperature=Heading("T_yard", "degC"), humidity=Heading("feuchte", "%"))
    assert found.temperature == pytest.approx(T + 274.15, abs=1e-9)


@pytest.mark.parametrize("minutes", [15, 30, 60, 180])
def test_times_tell_the_step(tmp_path: Path, minutes: int) -> None:
    t, h = year(days=3, step=60.0 * minutes)
    begin = np.datetime64("2024-02-28T00:00") + np.arange(len(t)) * np.timedelta64(minutes, "m")
    rows = [f"{str(when).replace('T', ' ')},{a},{b}" for when, a, b in zip(begin, t, h, strict=True)]
    found = climate(tmp_path, "\n".join(["time,temperature degC,humidity %", *rows]))
    assert found.step == 60.0 * minutes and found.length == 3 * 86400
    assert found.first is not None and found.first.isoformat() == "2024-02-28T00:00:00"


def test_times_may_be_numbers_or_a_date_and_a_time(tmp_path: Path) -> None:
    numbered = [f"{i / 2},{t},{h}" for i, (t, h) in enumerate(zip(T, RH, strict=True))]
    assert climate(tmp_path, "\n".join(["time h,temp C,rh %", *numbered])).step == 1800.0
    dated = [
        f"2025-03-{1 + i // 24:02d},{i % 24 + 1}:00,{t},{h}"
        for i, (t, h) in enumerate(zip(T, RH, strict=True))
    ]
    found = climate(tmp_path, "\n".join(["date,time,temp C,rh %", *dated]))
    assert found.step == 3600.0 and found.first is not None and found.first.hour == 1
    of_day = [f"{i % 24},{t},{h}" for i, (t, h) in enumerate(zip(T, RH, strict=True))]
    assert climate(tmp_path, "\n".join(["hour,temp C,rh %", *of_day])).step == 3600.0


HEAD = "temperature degC,humidity %\n"
GOOD = "20,50\n"


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("", ["w.csv: the file is empty (the first line names the columns)"]),
        (HEAD, ["w.csv:1: has no rows below its headings"]),
        (
            HEAD + GOOD * 23,
            [
                "w.csv: has 23 rows and no column of time, which are not whole days of hours (a row is "
                "missing or too many; a year has 8760 hours)",
            ],
        ),
        (
            HEAD + GOOD * 35040,
            [
                "w.csv: has 35040 rows and no column of time, and a year has 8760 hours (add a column "
                "'time', such as 2025-07-01 13:00)",
            ],
        ),
        (HEAD + "warm,50\n" + GOOD * 23, ["w.csv:2:1: temperature degC: 'warm' is not a number"]),
        (
            HEAD + GOOD * 22 + "20,\n21,\n",
            [
                "w.csv:24:4: humidity %: there is no value (''); 1 more row likewise (fill the gap)",
            ],
        ),
        (
            HEAD + GOOD * 23 + "-9900,50\n",
            [
                "w.csv:25:1: temperature degC: there is no value ('-9900') (fill the gap)",
            ],
        ),
        (
            HEAD + GOOD * 23 + "20,104\n",
            [
                "w.csv:25:4: humidity %: '104' is out of range (from 0 % to 100 %)",
            ],
        ),
        (
            HEAD + "296,50\n" * 24,
            [
                "w.csv:2:1: temperature degC: '296' is out of range; 23 more rows likewise (from -30 degC "
                "to 80 degC)",
            ],
        ),
        (HEAD + GOOD * 23 + "20,1_0\n", ["w.csv:25:4: humidity %: '1_0' is not a number"]),
        (
            HEAD.replace(",", ";") + "12,5;60\n" * 24,
            [
                "w.csv:2:1: temperature degC: '12,5' has a decimal comma; 23 more rows likewise (use a "
                "decimal point, such as 12.5)",
            ],
        ),
        (
            HEAD + "12,5,60\n" * 24,
            [
                "w.csv:2:1: 3 cells for 2 columns; 23 more rows likewise (one ',' between cells, and a "
                "decimal point: 12.5)",
            ],
        ),
        (
            HEAD + "20,0.5\n" * 24,
            [
                "w.csv:2:4: humidity %: never exceeds 1 %, so it is a fraction and no percentage (give it "
                "the unit 1 instead of %)",
            ],
        ),
        (
            "temperature,humidity %\n" + GOOD * 24,
            [
                "w.csv:1:1: temperature: has no unit (call it 'temperature degC', or give the unit under "
                "'columns' of the stage: {temperature: {name: \"temperature\", unit: \"degC\"}})",
            ],
        ),
        (
            "temperature (bar),humidity %\n" + GOOD * 24,
            [
                "w.csv:1:1: temperature (bar): 'bar' is no unit of temperature (call it 'temperature "
                "degC', or give the unit under 'columns' of the stage: {temperature: {name: \"temperature "
                "(bar)\", unit: \"degC\"}})",
            ],
        ),
        (
            "warmth degC,humidity %\n" + GOOD * 24,
            [
                "w.csv:1:1: has no column of temperature (call it 'temperature degC', or name it under "
                "'columns' of the stage)",
            ],
        ),
        (
            "temp C,dry bulb C,rh %\n" + "20,20,50\n" * 24,
            [
                "w.csv:1:1: has two columns of temperature, 'temp C' and 'dry bulb C' (say which under "
                "'columns' of the stage, {temperature: ...})",
            ],
        ),
        (
            "time," + HEAD + "1 May,20,50\n" * 24,
            [
                "w.csv:2:1: time: '1 May' is no time; 23 more rows likewise (such as 2025-07-01 13:00)",
            ],
        ),
        (
            "time h," + HEAD + "".join(f"{h},20,50\n" for h in range(24) if h != 7),
            [
                "w.csv:9: 2 h after the row before, where others are 1 h apart (fill missing rows, and "
                "take out summer time)",
            ],
        ),
        (
            "time h," + HEAD + "".join(f"{min(h, 22)},20,50\n" for h in range(24)),
            [
                "w.csv:25: the time is not after that of the row before",
            ],
        ),
        (
            "time h," + HEAD + "".join(f"{6 * h},20,50\n" for h in range(24)),
            [
                "w.csv:2: a step of 6 h from row to row (from 15 min to 3 h)",
            ],
        ),
        (
            "time min," + HEAD + "".join(f"{h},20,50\n" for h in range(24)),
            [
                "w.csv:2: a step of 1 min from row to row (from 15 min to 3 h)",
            ],
        ),
        (HEAD.encode("utf-16"), ["w.csv: the file is not UTF-8 text (save it as 'CSV UTF-8')"]),
        ("Temp (\xb0C),rh %\n", ["w.csv: the file is not UTF-8 text (save it as 'CSV UTF-8')"]),
    ],
)  # fmt: skip
def test_what_is_wrong_in_a_csv_file_is_said_once_with_its_place(
    tmp_path: Path, text: str | bytes, expected: list[str]
) -> None:
    assert said(tmp_path, text) == expected


def test_every_kind_of_problem_is_listed_at_once(tmp_path: Path) -> None:
    rows = "time h," + HEAD + "".join(f"{h},20,50\n" for h in range(20)) + "21,x,50\n22,20,\n23,99,-1\n"
    lines = said(tmp_path, rows)
    assert [line.partition(" ")[0] for line in lines] == [
        "w.csv:22:", "w.csv:22:4:", "w.csv:23:7:", "w.csv:24:4:", "w.csv:24:7:"
    ]  # fmt: skip


def test_missing_values_of_the_fixed_formats_are_said(tmp_path: Path) -> None:
    t, h = T.copy(), RH.copy()
    t[5], h[7] = 99.9, 999
    assert said(tmp_path, epw_text(t, h), "a.epw") == [
        "a.epw:14:20: dry bulb temperature: there is no value ('99.9') (fill the gap)",
        "a.epw:16:28: relative humidity: there is no value ('999') (fill the gap)",
    ]
    t[5] = 999.9
    assert said(tmp_path, tmy2_text(t, h), "a.tm2") == [
        "a.tm2:7:68: dry bulb temperature: there is no value ('9999') (fill the gap)",
        "a.tm2:9:80: relative humidity: there is no value ('999') (fill the gap)",
    ]


def test_a_missing_hour_of_the_fixed_formats_is_said(tmp_path: Path) -> None:
    lines = epw_text(T, RH).split("\n")
    del lines[20]
    assert said(tmp_path, "\n".join(lines), "a.epw") == [
        "a.epw:21: 2 h after the row before, where others are 1 h apart"
        " (fill missing rows, and take out summer time)"
    ]
    lines = tmy3_text(T, RH).replace("01/02/", "13/02/").split("\n")
    assert said(tmp_path, "\n".join(lines))[0].startswith(
        "w.csv:27: month, day and hour are no time of a year; 23"
    )


def test_what_is_no_file_of_its_format_is_refused(tmp_path: Path) -> None:
    assert said(tmp_path, csv_text(T, RH), "a.epw") == [
        "a.epw:1: is no EPW file (such a file starts with 8 lines, LOCATION to DATA PERIODS)"
    ]
    assert said(tmp_path, csv_text(T, RH), "a.tm2")[0].startswith(
        "a.tm2:2: the row has fewer than 82 characters; 239 more rows likewise"
    )
    assert said(tmp_path, "PK", "a.xlsx") == ["a.xlsx: is a workbook (save the sheet as 'CSV UTF-8')"]
    fixed = said(tmp_path, epw_text(T, RH), "a.epw", humidity=Heading("RH"))
    assert fixed == ["a.epw: is EPW with its fixed columns (remove 'columns' from the stage)"]
    wrong = said(tmp_path, tmy3_text(T, RH), humidity=Heading("RHum"))
    assert wrong == ["w.csv:2:1: has no column 'RHum' (did you mean 'RHum (%)'?)"]


@pytest.mark.parametrize(
    ("name", "mean", "least", "most", "humidity", "kinetic", "equal", "rate"),
    [
        # read apart from this project; rate: mean of exp(E/R (1/296.15 - 1/T)), equal: with E = 40 kJ/mol
        ("703165TY.csv", 4.42, -10.6, 19.4, 73.5, 6.06, 5.19, 0.354),
        ("723170TYA.CSV", 14.42, -16.7, 35.6, 69.5, 18.95, 16.73, 0.704),
        ("12839.tm2", 24.31, 3.3, 33.9, 72.5, 25.17, 24.73, 1.099),
    ],
)
def test_typical_years_that_anybody_can_get_are_read_as_elsewhere(
    name: str,
    mean: float,
    least: float,
    most: float,
    humidity: float,
    kinetic: float,
    equal: float,
    rate: float,
) -> None:
    pvlib = pytest.importorskip("pvlib")  # it brings three public typical years along
    found = read_climate(Path(pvlib.__file__).parent / "data" / name)
    celsius = found.temperature - ZERO_CELSIUS
    assert (len(celsius), found.step) == (8760, 3600.0)
    assert (celsius.mean(), celsius.min(), celsius.max()) == pytest.approx((mean, least, most), abs=5.1e-3)
    assert 100 * found.humidity.mean() == pytest.approx(humidity, abs=0.051)
    for energy, wanted in ((83144.72, kinetic), (40e3, equal)):
        assert effective_temperature(found.temperature, energy) - ZERO_CELSIUS == pytest.approx(
            wanted, abs=0.01
        )
    assert arrhenius(40e3, found.temperature, 296.15).mean() == pytest.approx(rate, abs=5.1e-4)
