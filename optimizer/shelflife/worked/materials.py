"""Permeability of a layer by hand: reference value, Arrhenius factor, humidity factor."""

from __future__ import annotations

import re
from collections.abc import Callable

import numpy as np

from optimizer.constants import ATMOSPHERE, DAY, MOLAR_MASS, STP_MOLAR_VOLUME, ZERO_CELSIUS
from optimizer.physics.material import Material
from optimizer.physics.permeability import BLOCKED
from optimizer.shelflife.worked.sheet import Ref, Sheet

_GAS_UNIT, _WATER_UNIT = "cm3(STP)*mm/(m2*day*atm)", "g*mm/(m2*day*kPa)"
_SI = "mol m/(m2 s Pa)"
_GAS_FACTOR = STP_MOLAR_VOLUME * 1e6 * 1e3 * DAY * ATMOSPHERE
_WATER_FACTOR = MOLAR_MASS["H2O"] * 1e3 * 1e3 * DAY * 1e3
#: A printed range, the unit of a transmission (no length in it), and a pressure in a unit.
_RANGE = re.compile(r"\s*[\d.]+(e[+-]?\d+)?\s*-\s*[\d.]", re.IGNORECASE)
_FILM = re.compile(r"[a-zA-Z]+\d?(\(STP\))?/\(")
_PRESSURE = re.compile(r"Pa|bar|atm|Hg|torr|psi", re.IGNORECASE)
#: Activities closer than this are one.
_POINT = 1e-9


def gas_to_si(sheet: Sheet, title: str, value: float, remark: str) -> Ref:
    """A gas permeability given in trade units, converted; ``value`` in SI."""
    given = sheet.give(f"{title}, as given", value * _GAS_FACTOR, _GAS_UNIT, "input", remark)
    return sheet.work(
        title,
        "P_r = P_g / (v * 1000 * d * atm)",
        _SI,
        "cm3(STP) to mol, mm to m, days to s, atm to Pa",
        P_g=given,
        v=sheet.constant("stp"),
        d=sheet.constant("day"),
        atm=sheet.constant("atm"),
    )


def water_to_si(sheet: Sheet, title: str, value: float, remark: str, origin: str = "input") -> Ref:
    """A water permeability per vapour pressure given in trade units, converted; ``value`` in SI."""
    given = sheet.give(f"{title}, as given", value * _WATER_FACTOR, _WATER_UNIT, origin, remark)
    return sheet.work(
        title,
        "P_r = P_g / (M * 1000 * 1000 * d * 1000)",
        _SI,
        "g to mol, mm to m, days to s, kPa to Pa",
        P_g=given,
        M=sheet.constant("M_H2O"),
        d=sheet.constant("day"),
    )


class Permeabilities:
    """Permeabilities on one sheet; what was worked out once is used again."""

    def __init__(self, sheet: Sheet) -> None:
        self._sheet = sheet
        self._known: dict[tuple[object, ...], Ref] = {}

    def gas(self, material: Material, gas: str, temperature: Ref, faces: tuple[Ref, Ref] | None) -> Ref:
        """Mean permeability of a layer to a gas. faces: activities at its faces, where they matter."""
        law, sheet = material.gas_law(gas), self._sheet
        name = f"{gas} permeability of {material.name}"
        if law.blocks:
            return self._nothing(name)
        sensitive = law.humidity_sensitive and faces is not None
        key = (
            material.name,
            gas,
            temperature.number,
            *((f.number for f in faces) if sensitive and faces else ()),
        )
        if key in self._known:
            return self._known[key]
        at = f" at {100 * law.activity[0]:g} %RH" if law.humidity_sensitive else ""
        base = self._once(
            (material.name, gas),
            lambda: gas_to_si(
                sheet,
                f"{name}{at}, {law.temperature - ZERO_CELSIUS:g} degC",
                law.permeability[0],
                _cited(material, gas),
            ),
        )
        equation = "P = P_r * exp(-E / R * (1 / T - 1 / T_r))"
        symbols = {"P_r": base} | self._arrhenius(name, law.activation_energy, law.temperature, temperature)
        if sensitive and faces is not None:
            equation += " * f"
            symbols["f"] = self._humidity_factor(material, gas, faces)
        value = sheet.work(
            f"{name}, at the temperature" + (" and humidity" if sensitive else ""),
            equation,
            _SI,
            "",
            **symbols,
        )
        self._known[key] = value
        return value

    def water(self, material: Material, temperature: Ref, between: tuple[float, float]) -> Ref:
        """Mean water permeability of a layer whose faces have the activities ``between``, per Pa of vapour
        pressure."""
        law, sheet = material.water_law(), self._sheet
        name = f"H2O permeability of {material.name}"
        if law.blocks:
            return self._nothing(name)
        sensitive = law.humidity_sensitive
        key: tuple[object, ...] = (material.name, "H2O", temperature.number, *(between if sensitive else ()))
        if key in self._known:
            return self._known[key]
        at = f"{law.temperature - ZERO_CELSIUS:g} degC"
        if sensitive:
            first, second = between
            mean = (
                float(law.slope_at(first))
                if abs(first - second) < _POINT
                else float((law.potential(first) - law.potential(second)) / (first - second))
            )
            said = f"between {100 * first:.4g} and {100 * second:.4g} %RH"
            base = water_to_si(sheet, f"Mean {name} {said}, {at}", mean, _water_points(material), "program")
        else:
            base = self._once(
                (material.name, "H2O"),
                lambda: water_to_si(sheet, f"{name}, {at}", float(law.slopes[0]), _cited(material, "H2O")),
            )
        symbols = {"P_r": base} | self._arrhenius(name, law.activation_energy, law.temperature, temperature)
        value = sheet.work(
            f"{name}, at the temperature", "P_w = P_r * exp(-E / R * (1 / T - 1 / T_r))", _SI, "", **symbols
        )
        self._known[key] = value
        return value

    def _arrhenius(self, name: str, energy: float, reference: float, temperature: Ref) -> dict[str, Ref]:
        sheet = self._sheet
        return {
            "E": sheet.give(
                f"Activation energy, {name}", energy, "J/mol", "input", f"{energy / 1e3:g} kJ/mol"
            ),
            "R": sheet.constant("R"),
            "T": temperature,
            "T_r": sheet.give(
                f"Temperature of the {name}", reference, "K", "input", f"{reference - ZERO_CELSIUS:g} degC"
            ),
        }

    def _humidity_factor(self, material: Material, gas: str, faces: tuple[Ref, Ref]) -> Ref:
        law = material.gas_law(gas)
        resistivity = material.mean_resistivity(gas, law.temperature, faces[0].value, faces[1].value)
        factor = 1.0 / float(resistivity) / law.permeability[0]
        points = ", ".join(
            f"{p / law.permeability[0]:.4g} at {100 * a:g} %RH"
            for a, p in zip(law.activity, law.permeability, strict=True)
        )
        first, second = (100 * f.value for f in faces)
        return self._sheet.give(
            f"Humidity factor of {material.name} for {gas}, between {first:.6g} and {second:.6g} %RH",
            factor,
            "",
            "program",
            f"mean over the layer of the curve through the measured points: {points}",
        )

    def _nothing(self, name: str) -> Ref:
        return self._sheet.give(
            name, 1.0 / BLOCKED, _SI, "constant", "lets nothing through; the program counts with this for 0"
        )

    def _once(self, key: tuple[object, ...], make: Callable[[], Ref]) -> Ref:
        if key not in self._known:
            self._known[key] = make()
        return self._known[key]


def _cited(material: Material, gas: str) -> str:
    """What the table prints for the permeability, before it was brought to the common unit."""
    rows = [n for n in material.sources if n.material == material.name and n.gas == gas]
    texts = dict.fromkeys(f"{n.value} {n.unit} ({n.grade})" for n in rows)
    told = "; ".join([*texts][:4])
    told += "".join(f", {step}" for step in _brought(gas, [(n.value, n.unit) for n in rows]))
    if not told and gas == "N2":
        return "no value: a quarter of that of O2 (common practice, no source)"
    return f"in the property table: {told}" if told else ""


def _brought(gas: str, rows: list[tuple[str, str]]) -> list[str]:
    """What was done to printed values to bring them to the common unit, beside the change of units."""
    steps = []
    if any(_RANGE.match(value) for value, _ in rows):
        steps.append("the geometric mean of the range")
    if any(_FILM.match(unit) for _, unit in rows):
        steps.append("times the thickness of its film")
    if gas == "H2O" and any(not _PRESSURE.search(unit) for _, unit in rows):
        steps.append("over the vapour pressure of its test")
    return steps


def _water_points(material: Material) -> str:
    law = material.water_law()
    steps = ", ".join(
        f"{s * _WATER_FACTOR:.5g} from {100 * a:g} to {100 * b:g} %RH"
        for s, a, b in zip(np.asarray(law.slopes), law.activity, law.activity[1:], strict=False)
    )
    return f"mean of the curve, which is {steps} {_WATER_UNIT}"
