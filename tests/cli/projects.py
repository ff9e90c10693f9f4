"""Projects for the tests of the command line; invented scenarios."""

from __future__ import annotations

from pathlib import Path

#: One layer; O2 transmission 40 / thickness[um] cm3/(m2 day atm) at 23 degC, whatever the humidity.
SLAB = """\
format: 1
title: Dry-soup pouch (invented)
materials:
  - name: slab
    density: 1000 kg/m3
    price: 2 EUR/kg
    family: PE
    gauge: {min: 5 um, max: 500 um}
    roles: [seal, print, core]
    permeability:
      - {gas: O2, value: "40 cm3*um/(m2*day*atm)", temperature: 23 degC, humidity: 0 %,
         activation_energy: 40 kJ/mol}
      - {gas: H2O, value: "1 g*um/(m2*day)", temperature: 38 degC, humidity: 90 %,
         activation_energy: 35 kJ/mol}
product:
  mass: 100 g
  volume: 100 mL
  water_activity: 0.3
  headspace: {volume: 50 mL, walls: flexible}
  limits: {oxygen_gain: 1000 mg/kg}
package:
  parts:
    panel: {area: 400 cm2, wall: film}
walls:
  film:
    layers:
      - {material: slab, thickness: 40 um}
storage:
  - {name: shelf, duration: 6 months, temperature: 23 degC, humidity: 50 %}
target:
  shelf_life: 6 months
  transmission:
    - {gas: O2, max: 2 cm3/(m2*day*atm), wall: film, temperature: 23 degC, humidity: 50 %}
"""


def write(folder: Path, name: str, **replacements: str) -> str:
    """The project with texts replaced (thickness='40 um' -> ...), as a file; its path."""
    text = SLAB
    originals = {
        "thickness": "thickness: 40 um",
        "maximum": "max: 2 cm3",
        "title": "Dry-soup pouch (invented)",
    }
    for key, value in replacements.items():
        old = originals[key]
        assert old in text
        text = text.replace(old, f"{old.partition(': ')[0]}: {value}" if ": " in old else value)
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return str(path)
