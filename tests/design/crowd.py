"""A tray and a lid of many polymers, invented: far too many structures to prove anything quickly."""

from __future__ import annotations

import random


def crowd(materials: int, layers: int) -> str:
    """A project file: the tighter a polymer is to oxygen, the dearer, the wetter, and the more humidity opens
    it."""
    rng = random.Random(5)
    rows, names = [], []
    for i in range(materials):
        f = i / (materials - 1)
        names.append(f"poly {i}")
        oxygen = 1500 * 10 ** (-3.2 * f) * rng.uniform(0.6, 1.6)
        water = 40 * 10 ** (1.6 * f) * rng.uniform(0.6, 1.6)
        wet = oxygen * (1 + 40 * f * rng.uniform(0.5, 1))
        rows.append(f"""\
  - name: poly {i}
    density: {rng.uniform(890, 1250):.0f} kg/m3
    price: {1 + 6 * f * rng.uniform(0.8, 1.2):.2f} EUR/kg
    family: {"PE" if i % 2 else "PP"}
    gauge: {{min: {rng.choice([3, 4, 5, 6])} um, max: {rng.choice([200, 300, 400])} um}}
    roles: [seal, print, core]
    permeability:
      - {{gas: O2, value: "{oxygen:.3g} cm3*um/(m2*day*atm)", temperature: 23 degC, humidity: 0 %,
         activation_energy: 40 kJ/mol}}
      - {{gas: O2, value: "{wet:.3g} cm3*um/(m2*day*atm)", temperature: 23 degC, humidity: 90 %,
         activation_energy: 40 kJ/mol}}
      - {{gas: H2O, value: "{water:.3g} g*um/(m2*day)", temperature: 38 degC, humidity: 90 %,
         activation_energy: 35 kJ/mol}}
""")
    return f"""\
format: 1
title: Tray and lid of many polymers (invented)
materials:
{"".join(rows)}product:
  mass: 0.5 kg
  volume: 500 mL
  water_activity: 0.95
  headspace: {{volume: 20 mL, walls: rigid, gas: {{O2: 1 %, N2: 99 %}}}}
  limits: {{oxygen_gain: 4 mg/kg, water_loss: 0.4 %}}
package:
  parts:
    tray: {{area: 450 cm2, wall: tray}}
    lid: {{area: 150 cm2, wall: lid}}
walls:
  tray: {{layers: [{{material: poly 0, thickness: 400 um}}]}}
  lid: {{layers: [{{material: poly 0, thickness: 400 um}}]}}
storage:
  - {{name: depot, duration: 3 months, temperature: 23 degC, humidity: 50 %}}
  - {{name: truck, duration: 5 days, temperature: 35 degC, humidity: 80 %}}
  - {{name: shop, duration: 3 months, temperature: 8 degC, humidity: 60 %}}
target: {{shelf_life: 6 months}}
design:
  walls: [tray, lid]
  minimise: cost
  choose_from: [{", ".join(names)}]
  rules: {{max_layers: {layers}, bonding: any}}
"""
