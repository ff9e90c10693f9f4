"""What a package lets through by hand: humidity in the walls, resistances, parts, closures, holes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from optimizer.constants import ATMOSPHERE, DAY, MOLAR_MASS, STP_MOLAR_VOLUME, ZERO_CELSIUS
from optimizer.physics.laminate import humidity_profile
from optimizer.physics.leaks import DIFFUSIVITY_IN_AIR
from optimizer.physics.water import saturation_pressure
from optimizer.shelflife.exchange import part_exchange
from optimizer.shelflife.package import ClosurePart, GivenConductance, HolePart, Package, Part, Wall, WallPart
from optimizer.shelflife.worked.areas import layer_thickness, worth_showing
from optimizer.shelflife.worked.materials import Permeabilities
from optimizer.shelflife.worked.sheet import Ref, Sheet

Array = NDArray[np.float64]

_CONDUCTANCE = "mol/(s Pa)"


@dataclass(frozen=True)
class Place:
    """Conditions of a stage on the sheet: temperature [K], total pressure [Pa], saturation pressure of water
    [Pa], water activity inside and outside [-]."""

    temperature: Ref
    pressure: Ref
    saturation: Ref
    inside: Ref
    outside: Ref


class Ways:
    """The ways through a package on one sheet. areas: see ``worked.areas``."""

    def __init__(self, sheet: Sheet, package: Package, areas: Mapping[str, Ref]) -> None:
        self._sheet, self._package, self._areas = sheet, package, areas
        self._permeability = Permeabilities(sheet)
        self._closures: dict[tuple[str, str], Ref] = {}
        self._water: dict[tuple[str, Place], tuple[Ref, list[Ref]]] = {}

    def conductance(self, place: Place, gas: str) -> Ref:
        """Conductance of the whole package to a gas, or to water vapour per Pa of vapour pressure."""
        sheet = self._sheet
        walls: dict[str, Ref] = {}
        parts: list[Ref] = []
        others: list[Part] = []
        for part in self._package.parts:
            if isinstance(part, WallPart):
                if not worth_showing(self._package, part):
                    others.append(part)
                    continue
                if part.wall not in walls:
                    walls[part.wall] = self._permeance(self._package.walls[part.wall], place, gas)
                area = self._areas[part.name]
                parts.append(
                    sheet.work(
                        f"Conductance of {part.name} to {gas}",
                        "G = K * A",
                        _CONDUCTANCE,
                        "",
                        K=walls[part.wall],
                        A=area,
                    )
                )
            elif isinstance(part, ClosurePart) and gas in part.transmission:
                parts.append(self._closure(part, place, gas))
            elif isinstance(part, HolePart):
                parts.append(self._hole(part, place, gas))
        if others:
            parts.append(self._rest(others, place, gas))
        if not parts:
            return sheet.give(
                f"Conductance of the package to {gas}", 0.0, _CONDUCTANCE, "input", "no way through"
            )
        total = sheet.total(f"Conductance of the package to {gas}", "G", parts, _CONDUCTANCE)
        if gas != "H2O":
            self._in_trade(total, gas)
        return total

    def _in_trade(self, total: Ref, gas: str) -> None:
        sheet = self._sheet
        sheet.work(
            f"The same in trade units, {gas}",
            "g = G * v * d * atm",
            "cm3(STP)/(package*day*atm)",
            "",
            G=total,
            v=sheet.constant("stp"),
            d=sheet.constant("day"),
            atm=sheet.constant("atm"),
        )

    def _permeance(self, wall: Wall, place: Place, gas: str) -> Ref:
        sheet = self._sheet
        if gas == "H2O":
            total, _ = self._humidity(wall, place)
        else:
            sensitive = any(x.material.gas_law(gas).humidity_sensitive for x in wall.layers)
            faces = self._humidity(wall, place)[1] if sensitive else None
            resistances = []
            for i, layer in enumerate(wall.layers):
                own = None if faces is None else (faces[i], faces[i + 1])
                p = self._permeability.gas(layer.material, gas, place.temperature, own)
                resistances.append(self._resistance(wall, i, gas, p))
            total = sheet.total(f"Resistance of wall {wall.name} to {gas}", "R", resistances, "m2 s Pa/mol")
        title = f"Permeance of wall {wall.name} to {gas}"
        return sheet.work(title, "K = 1 / R", "mol/(m2 s Pa)", "", R=total)

    def _resistance(self, wall: Wall, index: int, gas: str, permeability: Ref) -> Ref:
        material = wall.layers[index].material.name
        thickness = layer_thickness(self._sheet, wall, index)
        title = f"Resistance of layer {index + 1} of {wall.name}, {material}, to {gas}"
        return self._sheet.work(title, "R = l / P", "m2 s Pa/mol", "", l=thickness, P=permeability)

    def _humidity(self, wall: Wall, place: Place) -> tuple[Ref, list[Ref]]:
        """Water resistance of a wall, and the activities at its faces from inside to outside."""
        key = (wall.name, place)
        if key in self._water:
            return self._water[key]
        sheet, materials = self._sheet, [x.material for x in wall.layers]
        found = humidity_profile(
            materials,
            np.array([x.thickness for x in wall.layers]),
            place.temperature.value,
            place.inside.value,
            place.outside.value,
        ).faces.tolist()
        resistances = []
        for i, material in enumerate(materials):
            p = self._permeability.water(material, place.temperature, (found[i], found[i + 1]))
            resistances.append(self._resistance(wall, i, "H2O", p))
        total = sheet.total(f"Resistance of wall {wall.name} to H2O", "R", resistances, "m2 s Pa/mol")
        faces = [place.inside]
        taken = any(m.water_law().humidity_sensitive for m in materials)
        for i, own in enumerate(resistances[:-1]):
            remark = ""
            if taken:
                remark = (
                    f"the program has {100 * found[i + 1]:.6g} %RH here, from which the mean permeabilities "
                    "above are: the same flow passes every layer"
                )
            faces.append(
                sheet.work(
                    f"Water activity between layers {i + 1} and {i + 2} of {wall.name}",
                    "a = a_b + (a_o - a_i) * R_l / R",
                    "",
                    remark,
                    a_b=faces[-1],
                    a_o=place.outside,
                    a_i=place.inside,
                    R_l=own,
                    R=total,
                )
            )
        self._water[key] = total, [*faces, place.outside]
        return self._water[key]

    def _closure(self, part: ClosurePart, place: Place, gas: str) -> Ref:
        given, sheet = part.transmission[gas], self._sheet
        name = f"{gas} transmission of {part.name}"
        celsius = f"{given.temperature - ZERO_CELSIUS:g} degC"
        if (part.name, gas) not in self._closures:
            self._closures[part.name, gas] = self._as_given(given, gas, f"{name}, {celsius}")
        return sheet.work(
            f"Conductance of {part.name} to {gas}",
            "G = G_r * exp(-E / R * (1 / T - 1 / T_r))",
            _CONDUCTANCE,
            "",
            G_r=self._closures[part.name, gas],
            E=sheet.give(f"Activation energy, {name}", given.activation_energy, "J/mol", "input"),
            R=sheet.constant("R"),
            T=place.temperature,
            T_r=sheet.give(f"Temperature of the {name}", given.temperature, "K", "input", celsius),
        )

    def _as_given(self, given: GivenConductance, gas: str, title: str) -> Ref:
        """A closure's own value, from trade units to SI."""
        sheet = self._sheet
        if gas == "H2O":
            value = given.conductance * MOLAR_MASS["H2O"] * 1e3 * DAY * 1e3
            why = "rate over the vapour pressure of its test"
            return sheet.work(
                f"{title}, in SI",
                "G_r = g / (M * 1000 * d * 1000)",
                _CONDUCTANCE,
                "",
                g=sheet.give(title, value, "g/(day*kPa)", "input", why),
                M=sheet.constant("M_H2O"),
                d=sheet.constant("day"),
            )
        value = given.conductance * STP_MOLAR_VOLUME * 1e6 * DAY * ATMOSPHERE
        return sheet.work(
            f"{title}, in SI",
            "G_r = g / (v * d * atm)",
            _CONDUCTANCE,
            "",
            g=sheet.give(title, value, "cm3(STP)/(day*atm)", "input", "flow over the pressure of its test"),
            v=sheet.constant("stp"),
            d=sheet.constant("day"),
            atm=sheet.constant("atm"),
        )

    def _hole(self, part: HolePart, place: Place, gas: str) -> Ref:
        sheet = self._sheet
        drawn = "program" if part.group else "input"
        why = "one of the sizes that stand for the distribution" if part.group else ""
        d = sheet.give(f"Diameter of {part.name}", part.diameter, "m", drawn, why)
        free = sheet.work(
            f"Diffusivity of {gas} in air",
            "D = D_0 * (T / T_0) ** 1.75 * atm / p",
            "m2/s",
            "Fuller, Schettler and Giddings",
            D_0=sheet.give(
                f"Diffusivity of {gas} in air at 0 degC, 1 atm",
                DIFFUSIVITY_IN_AIR[gas],
                "m2/s",
                "constant",
                "from memory",
            ),
            T=place.temperature,
            T_0=sheet.constant("ice"),
            atm=sheet.constant("atm"),
            p=place.pressure,
        )
        speed = sheet.work(
            f"Mean molecular speed of {gas}",
            "v = sqrt(8 * R * T / (pi * M))",
            "m/s",
            "kinetic theory",
            R=sheet.constant("R"),
            T=place.temperature,
            pi=sheet.constant("pi"),
            M=sheet.constant(f"M_{gas}"),
        )
        return sheet.work(
            f"Conductance of {part.name} to {gas}",
            "G = z * pi / 4 * d ** 2 / ((1 / D + 3 / (d * v)) * (l + d / 2) * R * T)",
            _CONDUCTANCE,
            "molecular and Knudsen resistance in series; one hole radius for both ends",
            z=sheet.give(f"Number of {part.name}", part.count, "", drawn, why),
            pi=sheet.constant("pi"),
            d=d,
            D=free,
            v=speed,
            l=sheet.give(f"Length of {part.name}", part.length, "m", "input"),
            R=sheet.constant("R"),
            T=place.temperature,
        )

    def _rest(self, parts: list[Part], place: Place, gas: str) -> Ref:
        """Further pieces under the name of one that was worked out: the same calculation, not written out."""
        package = Package(tuple(parts), self._package.walls)
        value = conductance_of(package, place, gas)
        names = ", ".join(dict.fromkeys(p.group for p in parts if isinstance(p, WallPart)))
        title = f"Conductance of {len(parts)} more pieces of {names} to {gas}"
        why = "the same calculation for other thicknesses of the wall, by the program"
        return self._sheet.give(title, value, _CONDUCTANCE, "program", why)


def conductance_of(package: Package, place: Place, gas: str) -> float:
    """The program's own conductance [mol/(s Pa)] of a package at the conditions of ``place``."""
    return float(
        conductances(
            package,
            gas,
            place.inside.value,
            (
                np.array([place.temperature.value]),
                np.array([place.outside.value]),
                np.array([place.pressure.value]),
            ),
        )[0]
    )


def conductances(package: Package, gas: str, inside: float, conditions: tuple[Array, Array, Array]) -> Array:
    """The program's own conductances (U,) [mol/(s Pa)]; conditions: temperature [K], activity outside,
    pressure [Pa], (U,) each. Water: per Pa of vapour pressure, between ``inside`` and the outside."""
    t, out, _ = conditions
    if gas != "H2O":
        parts = part_exchange(package, np.array([inside]), conditions, (gas,), water=False)
        return np.asarray(sum(v[gas][0, :, 0] for v in parts.values()))
    apart = np.where(np.abs(inside - out) < 1e-3, out + 1e-3, inside)
    parts = part_exchange(package, apart, conditions, (), water=True, pairwise=True)
    flow = np.asarray(sum(v["H2O"][0, :, 0] for v in parts.values()))
    return np.asarray(flow / (saturation_pressure(t) * (apart - out)))
