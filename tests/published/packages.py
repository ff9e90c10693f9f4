"""Whole packages: a project file is written, loaded and predicted, as a user would."""

from __future__ import annotations

import math
import tempfile
from functools import cache, partial
from pathlib import Path

import optimizer
from optimizer.results import PredictResult
from published.registry import check

TOPIC = "Packages, from project file to answer"


@cache
def answer(text: str) -> PredictResult:
    """Prediction for the project of this text."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "project.yaml"
        path.write_text("format: 1\ntitle: check\n" + text, encoding="utf-8")
        return optimizer.predict(optimizer.load_project(path))


def life(text: str) -> float:
    days = answer(text).shelf_life_days
    assert days is not None
    return days


def at(result: PredictResult, key: str, days: float) -> float:
    """Value of a time series at one of its days."""
    series = result.time_series
    index = min(range(len(series["days"])), key=lambda i: abs(series["days"][i] - days))
    assert abs(series["days"][index] - days) < 1e-6
    return series[key][index]


def film_rate(text: str, gas: str) -> float:
    (value,) = {round(x.value, 15) for x in answer(text).film_transmission if x.gas == gas}
    return value


# --- Geankoplis: oxygen through a packaging film ----------------------------------------------------------
PE_FILM = """
materials:
  - name: packaging film
    density: 920 kg/m3
    family: PE
    permeability:
      - {gas: O2, value: "4.17e-12 m3(STP)*m/(m2*s*atm)", temperature: 30 degC, humidity: 0 %,
         activation_energy: 40 kJ/mol}
      - {gas: H2O, value: 1 g*mil/(100 in2*day), temperature: 38 degC, humidity: 90 %,
         activation_energy: 35 kJ/mol}
product: {mass: 100 g, volume: 100 mL, water_activity: 0.3, headspace: {volume: 50 mL},
          limits: {oxygen_gain: 100 mg/kg}}
package: {parts: {panel: {area: 1 m2, wall: film}}}
walls: {film: {layers: [{material: packaging film, thickness: 0.15 mm}]}}
storage: [{duration: 30 days, temperature: 30 degC, humidity: 50 %}]
"""


@check(
    TOPIC,
    "E2",
    "O2 through 0.15 mm of polyethylene from 0.21 to 0.01 atm, 30 degC",
    'Geankoplis, Transport Processes and Unit Operations, ch. 6, "Diffusion through a Packaging Film"',
    2.481e-10,
    "kmol/(m2 s)",
    percent=0.05,
)
def packaging_film() -> float:
    per_day = film_rate(PE_FILM, "O2") * (0.21 - 0.01)  # cm3(STP)/(m2 day)
    return per_day / 22413.969 / 86400 * 1e-3


# --- a bottle wall with MXD6 ------------------------------------------------------------------------------
def bottle_wall(layers: str) -> str:
    return f"""
product: {{mass: 600 g, volume: 600 mL, water_activity: 0.6, headspace: {{volume: 20 mL}},
          limits: {{oxygen_gain: 5 mg/kg}}}}
package: {{parts: {{body: {{area: 400 cm2, wall: bottle}}}}}}
walls: {{bottle: {{layers: [{layers}]}}}}
storage: [{{duration: 6 months, temperature: 23 degC, humidity: 60 %}}]
"""


@check(
    TOPIC,
    "M6",
    "O2 through a 400 um PET bottle wall with 10 wt% of MXD6, over plain PET",
    "Bottle test of an MXD6 producer (name withheld): 0.0075 and 0.027 cm3/(bottle day)",
    0.278,
    "-",
    percent=15,
)
def mxd6() -> float:
    heavy, light = 0.10 / 1.22, 0.90 / 1.36
    barrier = 400 * heavy / (heavy + light)
    skin = (400 - barrier) / 2
    pet = "{{material: PET, thickness: {:.6f} um}}"
    core = f"{{material: MXD6 oriented, thickness: {barrier:.6f} um}}"
    layered = bottle_wall(f"{pet.format(skin)}, {core}, {pet.format(skin)}")
    return film_rate(layered, "O2") / film_rate(bottle_wall(pet.format(400)), "O2")


# --- humidity in a wall -----------------------------------------------------------------------------------
def symmetric(inner: float, outer: float) -> float:
    """Relative humidity in the middle of a barrier between skins of these thicknesses [um], 100 % inside,
    50 % outside [%]."""
    text = f"""
materials:
  - name: leaky core
    density: 1000 kg/m3
    family: x
    permeability:
      - {{gas: O2, value: 0.1 cm3*mm/(m2*day*atm), temperature: 23 degC, humidity: 0 %,
         activation_energy: 40 kJ/mol}}
      - {{gas: H2O, value: 40000 g*mm/(m2*day), temperature: 38 degC, humidity: 90 %,
         activation_energy: 26 kJ/mol}}
product: {{mass: 500 g, volume: 500 mL, water_activity: 1, headspace: {{volume: 20 mL}},
          limits: {{oxygen_gain: 5 mg/kg}}}}
package: {{parts: {{body: {{area: 400 cm2, wall: wall}}}}}}
walls:
  wall:
    layers:
      - {{material: HDPE, thickness: {inner} um}}
      - {{material: leaky core, thickness: 5 um}}
      - {{material: HDPE, thickness: {outer} um}}
storage: [{{duration: 6 months, temperature: 23 degC, humidity: 50 %}}]
"""
    return next(x.humidity_mid_pct for x in answer(text).layers if x.material == "leaky core")


TAPPI = "TAPPI conference abstract 18IFP28, 2018: the centre sees the midpoint"
check(TOPIC, "H1", "Humidity at a centred barrier, 100 % in, 50 % out", TAPPI, 75.0, "%RH", within=0.05)(
    partial(symmetric, 40, 40)
)
for _in, _out, _rh in ((20, 60, 87.5), (60, 20, 62.5)):
    check(
        TOPIC,
        f"H-{_in}",
        f"The same with skins of {_in} um inside and {_out} um outside",
        "Linear profile through one polymer",
        _rh,
        "%RH",
        within=0.05,
        kind="constructed",
    )(partial(symmetric, _in, _out))

# --- water loss of a bottle -------------------------------------------------------------------------------
WATER_BOTTLE = """
materials:
  - name: bottle resin
    density: 1350 kg/m3
    family: PET
    permeability:
      - {gas: H2O, value: 1.5 g*mil/(100 in2*day), temperature: 38 degC, humidity: 90 %,
         activation_energy: 0 kJ/mol}
product: {mass: 500 g, volume: 500 mL, water_activity: 1, headspace: {volume: 20 mL},
          limits: {water_loss: 1 %}}
package: {parts: {body: {area: 0.040 m2, wall: bottle}}}
walls: {bottle: {layers: [{material: bottle resin, thickness: 0.30 mm}]}}
storage: [{duration: 1 year, temperature: 23 degC, humidity: 50 %}]
"""
check(
    TOPIC,
    "W1",
    "Water loss of a 500 mL bottle, 0.040 m2 of 0.30 mm, 23 degC, 50 %RH",
    "Rate times pressure ratio: 1.5 g mil/(100 in2 day), 38 degC, 90 %RH",
    0.018540,
    "g/day",
    percent=0.01,
    kind="constructed",
)(lambda: next(x.value for x in answer(WATER_BOTTLE).transmission if x.gas == "H2O"))
check(
    TOPIC, "W2", "Days until that bottle has lost 1 %", "5 g over the rate", 269.7, "days", within=0.05,
    kind="constructed",
)(lambda: life(WATER_BOTTLE))  # fmt: skip

# --- moisture gain ----------------------------------------------------------------------------------------
DRIED = """
product:
  mass: 208 g
  volume: 300 mL
  headspace: {volume: 100 mL}
  moisture:
    dry_mass: 200 g
    isotherm: {model: GAB, monolayer: 0.07659, c: 97.10, k: 0.8232}
    initial: {water_activity: 0.10}
  limits: {water_activity_max: 0.45}
package: {parts: {lid: {transmission: [{gas: H2O, value: 20 mg/day, temperature: 25 degC, humidity: 75 %}]}}}
storage: [{duration: 2 years, temperature: 25 degC, humidity: 75 %}]
"""
check(
    TOPIC,
    "W3",
    "Days for dried pasta (GAB of Andrieu 1985) to go from water activity 0.10 to 0.45 at 0.75 outside",
    "m/(A P ps) times the integral of dX/(a_out - a_w(X)), by quadrature",
    755.256,
    "days",
    percent=0.001,
    kind="constructed",
)(lambda: life(DRIED))

# --- blisters ---------------------------------------------------------------------------------------------
BLISTERS = (
    "WVTR study of films and blisters, four laboratories: rate of a cavity at 23 degC, 75 %RH, by division"
)


def tablet(rate: float) -> float:
    return life(f"""
product: {{mass: 300 mg, volume: 0.25 mL, water_activity: 0, headspace: {{volume: 0.1 mL}},
          limits: {{water_gain: 2 %}}}}
package: {{parts: {{cavity: {{transmission: [{{gas: H2O, value: {rate} mg/day, temperature: 23 degC,
          humidity: 75 %}}]}}}}}}
storage: [{{duration: 1 year, temperature: 23 degC, humidity: 75 %}}]
""")


for _film, _rate, _days in (("PVC", 1.239, 4.84), ("PVC/PVDC", 0.148, 40.5), ("PCTFE", 0.02825, 212.4)):
    check(
        TOPIC,
        f"T1-{_film}",
        f"Days for a 300 mg tablet to gain 2 % in a {_film} blister, constant drive",
        BLISTERS,
        _days,
        "days",
        percent=0.15,
        kind="worked out",
    )(partial(tablet, _rate))


# --- reactions in the product -----------------------------------------------------------------------------
def reacting(rate: str, oxygen: float, conductance: float, target: str) -> PredictResult:
    """A litre that dissolves 8.3 mg/L of O2 under dry air and uses it in first order; conductance in
    mg O2/(day atm) of the closure."""
    cm3 = conductance / 31.998 * 22.413969
    return answer(f"""
product:
  mass: 1 kg
  volume: 1 L
  water_activity: 0
  headspace: {{volume: 0.0001 mL, gas: {{N2: 100 %}}}}
  oxygen:
    dissolves_like: {8.3 / 0.2095!r} mg/(L*atm)
    dissolved_at_closing: {oxygen} mg/L
    consumption: {{order: 1, rate: {rate}, temperature: 23 degC, activation_energy: 0 kJ/mol}}
  limits: {{oxygen_gain: 1000 mg/kg}}
package: {{parts: {{lid: {{transmission: [{{gas: O2, value: "{cm3!r} cm3/(day*atm)", temperature: 23 degC,
          activation_energy: 0 kJ/mol}}]}}}}}}
storage: [{{duration: {target}, temperature: 23 degC, humidity: 0 %}}]
target: {{shelf_life: {target}}}
""")


def concentration(result: PredictResult, days: float) -> float:
    """Dissolved O2 [mg/L]."""
    return at(result, "O2_pressure_kPa", days) / 101.325 * 8.3 / 0.2095


INGRESS = "dC/dt = k_in (C_eq - C) - k C; 0.02 and 0.5 1/day, 8.3 mg/L, from 8.0 mg/L"
for _days, _mg in ((10, 0.361602), (100, 0.319231)):
    check(
        TOPIC,
        f"X{_days}",
        f"Dissolved O2 after {_days} days of ingress and first-order oxidation",
        INGRESS,
        _mg,
        "mg/L",
        percent=0.01,
        kind="constructed",
    )(
        partial(
            lambda d: concentration(reacting("0.5 1/day", 8.0, 0.02 * 8.3 / 0.2095, f"{d} days"), d), _days
        )
    )

JUICE = "Murillo-Baca et al., Manglar 20(1):15, 2023: first-order loss of vitamin C, here by dissolved O2"


def juice_loss(per_minute: float) -> float:
    """Share lost after six hours with no ingress [%]."""
    result = reacting(f"{per_minute} 1/min", 8.0, 0.0, "6 h")
    return 100 * (1 - concentration(result, 0.25) / concentration(result, 0.0))


def juice_half_life(per_minute: float) -> float:
    """Time to half the start [h], from the day series by interpolation of the logarithm."""
    result = reacting(f"{per_minute} 1/min", 8.0, 0.0, "6 h")
    return 6 * math.log(2) / math.log(concentration(result, 0.0) / concentration(result, 0.25))


for _c, _k, _half in ((27, 0.0017806, 6.49), (16, 0.0012819, 9.01)):
    check(TOPIC, f"J{_c}", f"Half-life at {_k} 1/min ({_c} degC)", JUICE, _half, "h", within=0.01)(
        partial(juice_half_life, _k)
    )
for _c, _k, _loss in ((27, 0.0017806, 48.0), (16, 0.0012819, 37.0)):
    check(TOPIC, f"J{_c}b", f"Loss in 6 h at {_k} 1/min ({_c} degC)", JUICE, _loss, "%", within=1.0)(
        partial(juice_loss, _k)
    )

# --- produce ----------------------------------------------------------------------------------------------
PRODUCE = """
product:
  mass: 0.5 kg
  volume: 0.5 L
  water_activity: 0
  headspace: {volume: 1 L}
  oxygen: {consumption: {order: 0, rate: 0.1713098 g/day, temperature: 23 degC, activation_energy: 0 kJ/mol}}
  limits: {headspace_oxygen: 50 %}
package:
  parts:
    film:
      transmission:
        - {gas: O2, value: 752.34 cm3/(day*atm), temperature: 23 degC, activation_energy: 0 kJ/mol}
        - {gas: N2, value: 752.34 cm3/(day*atm), temperature: 23 degC, activation_energy: 0 kJ/mol}
storage: [{duration: 20 days, temperature: 23 degC, humidity: 0 %}]
target: {shelf_life: 20 days}
"""
check(
    TOPIC,
    "Y1",
    "O2 at rest around 0.5 kg of produce using 10 mL/(kg h), 0.060 m2 of 12 539 mL/(m2 day atm)",
    "OTR = W r/[A (0.2095 - 0.05)]; our uptake fades by 0.2 % at that pressure",
    0.05,
    "atm",
    within=0.0005,
    kind="constructed",
)(lambda: at(answer(PRODUCE), "O2_pressure_kPa", 20.0) / 101.325)

# --- a tray with a hole -----------------------------------------------------------------------------------
TRAY = """
product: {mass: 700 g, volume: 712.5 mL, water_activity: 0,
          headspace: {volume: 37.5 mL, gas: {O2: 1 %, N2: 99 %}},
          limits: {headspace_oxygen: 50 %}}
package: {parts: {hole: {pinhole: {diameter: 1 um, length: 190 um}}}}
storage: [{duration: 30 days, temperature: 25 degC, humidity: 0 %}]
target: {shelf_life: 30 days}
"""
check(
    TOPIC,
    "L4",
    "Tray of the course, 30 days: rise of O2 through a 1 um hole with both resistances",
    "Tray: Debeaufort, FitNESS unit 4.6, 2020 (Knudsen alone there: 0.8); both in series, one radius: 0.094 "
    "in cm3(STP), here as share at 25 degC",
    0.094 * 298.15 / 273.15,
    "%",
    percent=1,
    kind="worked out",
)(lambda: at(answer(TRAY), "headspace_oxygen_pct", 30.0) - 1.0)

# --- changing temperature ---------------------------------------------------------------------------------


def kinetic_temperature(first: float, second: float) -> float:
    """Constant temperature that lets as much O2 into a liquid as equal times at two, with an activation
    energy of 83.14472 kJ/mol [degC]."""

    def taken_up(*celsius: float) -> float:
        stages = ", ".join(
            f"{{duration: {60 / len(celsius)} days, temperature: {c!r} degC, humidity: 0 %}}" for c in celsius
        )
        text = f"""
product:
  mass: 1 kg
  volume: 1 L
  water_activity: 0
  headspace: {{volume: 0.0001 mL, gas: {{N2: 100 %}}}}
  oxygen: {{dissolves_like: 40 mg/(L*atm)}}
  limits: {{oxygen_gain: 1000 mg/kg}}
package: {{parts: {{lid: {{transmission: [{{gas: O2, value: 0.1 cm3/(day*atm), temperature: 23 degC,
          activation_energy: 83.14472 kJ/mol}}]}}}}}}
storage: [{stages}]
target: {{shelf_life: 60 days}}
"""
        return at(answer(text), "O2_pressure_kPa", 60.0)

    goal = taken_up(first, second)
    low, high = first, second
    for _ in range(20):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if taken_up(middle) < goal else (low, middle)
    return 0.5 * (low + high)


for _a, _b, _t in ((20.0, 30.0, 26.260), (15.0, 35.0, 29.469)):
    check(
        TOPIC,
        f"K{_a:.0f}",
        f"Mean kinetic temperature of equal times at {_a:.0f} and {_b:.0f} degC, from the O2 taken up",
        "Definition with 83.14472 kJ/mol, the usual value",
        _t,
        "degC",
        within=0.001,
        kind="worked out",
    )(partial(kinetic_temperature, _a, _b))
