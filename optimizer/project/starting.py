"""The project that a new workbook or project file starts from: invented, small, and complete."""

from __future__ import annotations

from typing import Any

from optimizer.project.source import read_value

#: What is said at the head of a file made from it.
HEAD = "Invented example to start from: the product, the cup, the prices and the limits are made up."

_TEXT = """\
format: 1
title: Nut cup with a lid, 120 g (invented example)

materials:
  - {name: PP,      price: 1.25 EUR/kg, gauge: {min: 60 um, max: 1500 um}}
  - {name: tie PP,  price: 2.90 EUR/kg, gauge: {min: 6 um, max: 40 um}}
  - {name: EVOH 32, price: 6.80 EUR/kg, gauge: {min: 5 um, max: 60 um}}
  - name: house grade PP
    density: 905 kg/m3
    price: 1.15 EUR/kg
    gauge: {min: 60 um, max: 1500 um}
    roles: [seal, print, core]
    family: PP
    permeability:
      - {gas: O2,  value: 75 cm3*mm/(m2*day*bar), temperature: 23 degC, humidity: 50 %, source: invented}
      - {gas: N2,  value: 15 cm3*mm/(m2*day*bar), temperature: 23 degC, humidity: 50 %, source: invented}
      - {gas: H2O, value: 0.55 g*mm/(m2*day), temperature: 38 degC, humidity: 90 %, source: invented}

product:
  mass: 120 g
  volume: 190 mL
  water_activity: 0.3
  headspace:
    volume: 60 mL
    walls: rigid
    gas: {O2: 1 %, N2: 99 %}
  oxygen:
    dissolves_like: nothing
    consumption: {order: 1, rate: 0.02 1/day, temperature: 23 degC, activation_energy: 50 kJ/mol}
  limits:
    oxygen_gain: 25 mg/kg
    water_gain: 0.2 %

package:
  parts:
    body: {shape: cylinder, diameter: 80 mm, height: 52 mm, wall: cup}
    base: {shape: disc, diameter: 80 mm, thickness_ratio: 1.3, wall: cup}
    lid:
      transmission:
        - gas: O2
          value: 0.002 cm3/day
          temperature: 23 degC
          partial_pressure: 0.2095 atm
          activation_energy: 40 kJ/mol
        - {gas: H2O, value: 0.2 mg/day, temperature: 38 degC, humidity: 90 %, activation_energy: 35 kJ/mol}

walls:
  cup:
    layers:
      - {material: PP,      thickness: 320 um}
      - {material: tie PP,  thickness: 8 um}
      - {material: EVOH 32, thickness: 14 um}
      - {material: tie PP,  thickness: 8 um}
      - {material: house grade PP, thickness: 200 um}

storage:
  - {name: depot, duration: 4 months, temperature: 18 degC, humidity: 60 %}
  - {name: truck, duration: 4 days,   temperature: 35 degC, humidity: 70 %}
  - {name: shop,  duration: 5 months, temperature: 23 degC, humidity: 50 %}

target:
  shelf_life: 9 months

design:
  walls: [cup]
  minimise: cost
  choose_from: [PP, tie PP, EVOH 32]
  rules:
    max_layers: 5
    gauge_step: 1 um
    total_thickness: {min: 450 um, max: 800 um}
    inside: seal
    outside: print
    share: {EVOH: {max: 5 %}}
    reserve: 10 %
"""


def starting_data() -> dict[str, Any]:
    """Its plain contents, as ``Project.data`` has them."""
    data: dict[str, Any] = read_value(_TEXT)
    return data
