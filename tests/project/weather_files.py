"""Weather files and projects made from formulas, for the tests."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

import numpy as np

PROJECT = """\
format: 1
title: Invented tub in the weather
product:
  mass: 200 g
  volume: 220 mL
  water_activity: 0.6
  headspace: {{volume: 40 mL, gas: {{N2: 100 %}}}}
  limits: {{headspace_oxygen: 5 %}}
package:
  parts:
    body: {{shape: cylinder, diameter: 70 mm, height: 70 mm, wall: tub}}
    base: {{shape: disc, diameter: 70 mm, wall: tub}}
walls:
  tub: {{layers: [{{material: HDPE, thickness: 600 um}}]}}
wall: steady
storage:
{storage}
target: {{shelf_life: {target}}}
"""


def project(
    folder: Path,
    *stages: str,
    target: str = "6 months",
    csv: str | bytes | None = None,
    name: str = "depot.csv",
) -> Path:
    """A project with ``stages`` as its storage, and beside it the weather file ``csv``."""
    path = folder / "project.yaml"
    rows = "\n".join(f"  - {stage}" for stage in stages)
    path.write_text(PROJECT.format(storage=rows, target=target), "utf-8")
    if csv is not None:
        (folder / name).write_bytes(csv.encode("utf-8") if isinstance(csv, str) else csv)
    return path


def year(days: int = 365, step: float = 3600.0) -> tuple[np.ndarray, np.ndarray]:
    """Temperature [degC] to 0.1 K and humidity [%]: a year's and a day's wave, formulas of no place."""
    t = (np.arange(round(days * 86400 / step)) + 0.5) * step / 86400
    temperature = 12 - 10 * np.cos(2 * np.pi * t / 365) - 6 * np.cos(2 * np.pi * t)
    humidity = 65 + 15 * np.cos(2 * np.pi * t)
    return temperature.round(1), humidity.round()


def csv_text(
    temperature: Iterable[float], humidity: Iterable[float], heading: str = "temperature degC,humidity %"
) -> str:
    rows = [f"{t:g},{h:g}" for t, h in zip(temperature, humidity, strict=True)]
    return "\n".join([heading, *rows]) + "\n"


def epw_text(temperature: Iterable[float], humidity: Iterable[float], year_of: str = "1999") -> str:
    """EPW of whole days from 1 January, with the fields that are not read left as zeros."""
    head = ["LOCATION,Nowhere,-,-,invented,000000,50.0,8.0,1.0,100.0"]
    head += [f"{name},0" for name in ("DESIGN CONDITIONS", "TYPICAL/EXTREME PERIODS", "GROUND TEMPERATURES")]
    head += ["HOLIDAYS/DAYLIGHT SAVINGS,No,0,0,0", "COMMENTS 1,invented", "COMMENTS 2,caf\xe9"]
    head += ["DATA PERIODS,1,1,Data,Sunday, 1/ 1,12/31"]
    rows = []
    for i, (t, h) in enumerate(zip(temperature, humidity, strict=True)):
        date = np.datetime64("2001-01-01") + i // 24
        month, day = str(date)[5:7], str(date)[8:10]
        rows.append(f"{year_of},{int(month)},{int(day)},{i % 24 + 1},60,?9?9,{t:.1f},0.0,{h:.0f},101325,0,0")
    return "\n".join(head + rows) + "\n"


def tmy2_text(temperature: Iterable[float], humidity: Iterable[float]) -> str:
    """TMY2 of whole days from 1 January: date in 2 to 9, dry bulb in 68 to 71, humidity in 80 to 82."""
    rows = [" 00000 NOWHERE                XX   1 N 50  0 E   8  0   100"]
    for i, (t, h) in enumerate(zip(temperature, humidity, strict=True)):
        date = str(np.datetime64("2001-01-01") + i // 24)
        row = f" 62{date[5:7]}{date[8:10]}{i % 24 + 1:02d}".ljust(67, "0")
        rows.append(f"{row}{round(10 * t):4d}A7{0:4d}A7{h:03.0f}A7".ljust(142, "0"))
    return "\n".join(rows) + "\n"


def tmy3_text(temperature: Iterable[float], humidity: Iterable[float]) -> str:
    rows = [
        '000000,"NOWHERE",XX,1.0,50.0,8.0,100',
        "Date (MM/DD/YYYY),Time (HH:MM),GHI (W/m^2),Dry-bulb (C),Dry-bulb source,RHum (%),RHum source",
    ]
    for i, (t, h) in enumerate(zip(temperature, humidity, strict=True)):
        date = str(np.datetime64("2001-01-01") + i // 24)
        origin = 1988 + i // 24 % 12  # typical years are joined from months of several
        rows.append(f"{date[5:7]}/{date[8:10]}/{origin},{i % 24 + 1:02d}:00,0,{t:.1f},A,{h:.0f},A")
    return "\n".join(rows) + "\n"
