"""Inside by hand: gases at closing, what the product dissolves and uses, isotherms."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from optimizer.constants import DRY_AIR, MOLAR_MASS, ZERO_CELSIUS
from optimizer.physics import solubility as laws
from optimizer.physics.sorption import GAB, Henderson, Isotherm, Oswin, TableIsotherm
from optimizer.physics.water import saturation_pressure
from optimizer.shelflife.contents import headspace_gas, inside_activity, is_liquid, solubility
from optimizer.shelflife.package import Product
from optimizer.shelflife.worked.sheet import Ref, Sheet

_STEAM = "IAPWS-IF97; any steam table"


def saturation(sheet: Sheet, temperature: float) -> Ref:
    """Saturation pressure of water, as a steam table has it."""
    value = float(saturation_pressure(temperature))
    return sheet.give(
        f"Saturation pressure of water at {temperature - ZERO_CELSIUS:.6g} degC", value, "Pa", "table", _STEAM
    )


@dataclass(frozen=True)
class Closing:
    """Amounts at closing [mol] by gas: in headspace and product, and in the headspace alone (of O2)."""

    amounts: Mapping[str, Ref]
    headspace: Mapping[str, Ref]
    dissolved: Ref | None


class Inside:
    """Product and headspace on one sheet."""

    def __init__(self, sheet: Sheet, product: Product) -> None:
        self._sheet, self._product = sheet, product
        self.headspace = sheet.give(
            "Headspace volume",
            product.headspace.volume,
            "m3",
            "input",
            f"{product.headspace.volume * 1e6:.6g} mL",
        )
        self._oil: Ref | None = None

    def volume(self) -> Ref:
        value = self._product.volume
        return self._sheet.give("Volume of the product", value, "m3", "input", f"{value * 1e3:.6g} L")

    def mass(self) -> Ref:
        return self._sheet.give("Mass of the product", self._product.mass, "kg", "input")

    def dry_mass(self) -> Ref:
        """Of a product with a moisture model."""
        moisture = self._product.moisture
        assert moisture is not None
        return self._sheet.give("Dry mass of the product", moisture.dry_mass, "kg", "input")

    def activity(self) -> Ref:
        """Water activity inside at closing."""
        return self._sheet.give(
            "Water activity inside at closing", inside_activity(self._product), "", "input"
        )

    def closing(self, gases: tuple[str, ...]) -> Closing:
        """Gases at closing, at 1 atm in all with the water vapour."""
        sheet, product = self._sheet, self._product
        t = sheet.give(
            "Temperature at closing",
            product.closing_temperature,
            "K",
            "input",
            f"{product.closing_temperature - ZERO_CELSIUS:.6g} degC",
        )
        dry = sheet.work(
            "Pressure of the dry gas at closing",
            "p_d = atm - a * p_s",
            "Pa",
            "1 atm in all, with the water vapour",
            atm=sheet.constant("atm"),
            a=self.activity(),
            p_s=saturation(sheet, product.closing_temperature),
        )
        amounts, heads = {}, {}
        dissolved = None
        for gas in gases:
            heads[gas] = self._head(gas, t, dry)
            amounts[gas] = heads[gas]
            extra = self._dissolved(gas, t, heads[gas])
            if extra is not None:
                amounts[gas] = sheet.work(
                    f"{gas} in the package at closing", "n = n_h + n_d", "mol", "", n_h=heads[gas], n_d=extra
                )
                dissolved = extra if gas == "O2" else dissolved
        return Closing(amounts, heads, dissolved)

    def _head(self, gas: str, t: Ref, dry: Ref) -> Ref:
        sheet = self._sheet
        share = headspace_gas(self._product).get(gas, 0.0)
        carbonation = gas == "CO2" and self._product.carbonation is not None
        beside = ", beside the carbonation's" if carbonation else ""
        return sheet.work(
            f"{gas} in the headspace at closing",
            "n_h = y * p_d * V / (R * T)",
            "mol",
            "",
            y=sheet.give(f"Share of {gas} in the dry headspace at closing{beside}", share, "", "input"),
            p_d=dry,
            V=self.headspace,
            R=sheet.constant("R"),
            T=t,
        )

    def _dissolved(self, gas: str, t: Ref, head: Ref) -> Ref | None:
        """Gas in the product at closing, with CO2 of a carbonated one above it; None where there is none."""
        sheet, product = self._sheet, self._product
        if gas == "O2":
            if not (
                float(solubility(product, "O2", product.closing_temperature)) > 0
                and product.oxygen.dissolved_at_closing
            ):
                return None
            given = product.oxygen.dissolved_at_closing * MOLAR_MASS["O2"] * 1e3
            c = sheet.give("O2 dissolved at closing", given, "g/m3", "input", f"{given:.6g} mg/L")
            return sheet.work(
                "O2 dissolved in the product at closing",
                "n_d = c / (M * 1000) * V_p",
                "mol",
                "",
                c=c,
                M=sheet.constant("M_O2"),
                V_p=self.volume(),
            )
        if gas == "CO2" and product.carbonation is not None:
            return self._carbonation(t)
        h = self.solubility(gas, product.closing_temperature)
        if h is None:
            return None
        return sheet.work(
            f"{gas} dissolved in the product at closing",
            "n_d = n_h * R * T / V * H * V_p",
            "mol",
            "in equilibrium with the headspace",
            n_h=head,
            R=sheet.constant("R"),
            T=t,
            V=self.headspace,
            H=h,
            V_p=self.volume(),
        )

    def _carbonation(self, t: Ref) -> Ref:
        sheet, c = self._sheet, self._product.carbonation
        assert c is not None
        amount = sheet.work(
            "CO2 per volume of the liquid",
            "c = z / v * 1000000",
            "mol/m3",
            "",
            z=sheet.give("Volumes of CO2 at STP in the liquid", c.volumes, "", "input"),
            v=sheet.constant("stp"),
        )
        h = self.solubility("CO2", c.temperature)
        assert h is not None
        return sheet.work(
            "CO2 in the liquid, and above it in equilibrium",
            "n_d = c * V_p + c / H * V / (R * T)",
            "mol",
            "",
            c=amount,
            V_p=self.volume(),
            H=h,
            V=self.headspace,
            R=sheet.constant("R"),
            T=t,
        )

    def solubility(self, gas: str, temperature: float) -> Ref | None:
        """Solubility of a gas in the product [mol/(m3 Pa)] at a temperature [K]; None where it dissolves
        none."""
        product, sheet, model = self._product, self._sheet, self._product.oxygen
        if float(solubility(product, gas, temperature)) == 0.0:
            return None
        title = f"Solubility of {gas} in the product at {temperature - ZERO_CELSIUS:.6g} degC"
        unit = "mol/(m3 Pa)"
        if gas == "O2" and model.solubility is not None:
            base = sheet.give("Solubility of O2, as given", model.solubility, unit, "input")
            return self._times(title, base)
        if gas == "O2" and model.dissolves_like == "oil":
            base = sheet.work(
                f"{title}, before the factor",
                "H = z * H_w",
                unit,
                "an estimate, at every temperature",
                z=sheet.give("O2 in oil over O2 in water at 25 degC", laws.OIL_FACTOR, "", "constant"),
                H_w=self._water("O2", 298.15),
            )
            return self._times(title, base)
        assert is_liquid(product)
        return self._times(title, self._water(gas, temperature))

    def _times(self, title: str, base: Ref) -> Ref:
        factor = self._product.oxygen.factor
        if factor == 1.0:
            return base
        z = self._sheet.give("Solubility of the product over that of water", factor, "", "input")
        return self._sheet.work(title, "H = z * H_w", "mol/(m3 Pa)", "", z=z, H_w=base)

    def _water(self, gas: str, temperature: float) -> Ref:
        """Solubility in water, by Benson and Krause or Sander."""
        sheet = self._sheet
        t = sheet.give(f"Temperature {temperature - ZERO_CELSIUS:.6g} degC", temperature, "K", "input")
        title = f"Solubility of {gas} in water at {temperature - ZERO_CELSIUS:.6g} degC"
        if gas != "O2":
            h, slope = laws.SANDER[gas]
            return sheet.work(
                title,
                "H = H_0 * exp(B * (1 / T - 1 / T_0))",
                "mol/(m3 Pa)",
                "Sander 2023",
                H_0=sheet.give(
                    f"Solubility of {gas} in water at 25 degC", h, "mol/(m3 Pa)", "constant", "Sander 2023"
                ),
                B=sheet.give(f"Its change with 1/T, {gas}", slope, "K", "constant", "Sander 2023"),
                T=t,
                T_0=sheet.give("25 degC", 298.15, "K", "constant"),
            )
        names = dict(zip(("A_0", "A_1", "A_2", "A_3", "A_4"), laws.BENSON_KRAUSE, strict=True))
        symbols = {
            name: sheet.give(f"Benson and Krause, coefficient {i}", value, "", "constant", digits=9)
            for i, (name, value) in enumerate(names.items())
        }
        oxygen = sheet.work(
            f"O2 in water under air at {temperature - ZERO_CELSIUS:.6g} degC",
            "c = exp(A_0 + A_1 / T + A_2 / T ** 2 + A_3 / T ** 3 + A_4 / T ** 4)",
            "g/m3",
            "Benson and Krause 1984, humid air at 1 atm",
            T=t,
            **symbols,
        )
        return sheet.work(
            title,
            "H = c / (M * 1000 * y * (atm - p_s))",
            "mol/(m3 Pa)",
            "over the pressure of O2 in that air",
            c=oxygen,
            M=sheet.constant("M_O2"),
            y=sheet.give("Share of O2 in dry air", DRY_AIR["O2"], "", "constant"),
            atm=sheet.constant("atm"),
            p_s=saturation(sheet, temperature),
        )


def content(sheet: Sheet, isotherm: Isotherm, activity: Ref, where: str) -> Ref:
    """Water content [kg/kg dry] of the product at an activity."""
    title, unit = f"Water content of the product {where}", "kg/kg dry"

    def number(name: str, value: float) -> Ref:
        return sheet.give(f"Isotherm, {name}", value, "", "input")

    if isinstance(isotherm, GAB):
        return sheet.work(
            title,
            "X = m * c * k * a / ((1 - k * a) * (1 - k * a + c * k * a))",
            unit,
            "GAB",
            m=number("monolayer", isotherm.monolayer),
            c=number("c", isotherm.c),
            k=number("k", isotherm.k),
            a=activity,
        )
    if isinstance(isotherm, Oswin):
        return sheet.work(
            title,
            "X = A * (a / (1 - a)) ** b",
            unit,
            "Oswin",
            A=number("a", isotherm.a),
            b=number("b", isotherm.b),
            a=activity,
        )
    if isinstance(isotherm, Henderson):
        return sheet.work(
            title,
            "X = (-ln(1 - a) / (k * (t + c))) ** (1 / n) / 100",
            unit,
            "modified Henderson",
            k=number("k", isotherm.k),
            n=number("n", isotherm.n),
            c=number("c", isotherm.c),
            t=number("temperature in degC", isotherm.temperature_celsius),
            a=activity,
        )
    if isinstance(isotherm, TableIsotherm) and len(isotherm.points) == 2:
        (a1, x1), (a2, x2) = isotherm.points
        return sheet.work(
            title,
            "X = X_1 + (X_2 - X_1) * (a - a_1) / (a_2 - a_1)",
            unit,
            "straight between the two points",
            X_1=number("content 1", x1),
            X_2=number("content 2", x2),
            a_1=number("activity 1", a1),
            a_2=number("activity 2", a2),
            a=activity,
        )
    value = float(isotherm.content(activity.value))
    return sheet.give(title, value, unit, "program", "read from the curve through the points of the isotherm")


def activity_at(sheet: Sheet, isotherm: Isotherm, water: Ref, where: str) -> Ref:
    """Activity at which the product has a water content [kg/kg dry]: the isotherm solved for it."""
    title = f"Water activity {where}"

    def number(name: str, value: float) -> Ref:
        return sheet.give(f"Isotherm, {name}", value, "", "input")

    if isinstance(isotherm, GAB):
        m, c, k = (
            number(x, v) for x, v in (("monolayer", isotherm.monolayer), ("c", isotherm.c), ("k", isotherm.k))
        )
        b = sheet.work(
            "For the GAB equation, solved for a", "b = m * c - (c - 2) * X", "", "", m=m, c=c, X=water
        )
        return sheet.work(
            title,
            "a = 2 / k * X / (b + sqrt(b ** 2 + 4 * (c - 1) * X ** 2))",
            "",
            "GAB",
            k=k,
            X=water,
            b=b,
            c=c,
        )
    if isinstance(isotherm, Oswin):
        z = sheet.work(
            "For the Oswin equation, solved for a",
            "z = (X / A) ** (1 / b)",
            "",
            "",
            X=water,
            A=number("a", isotherm.a),
            b=number("b", isotherm.b),
        )
        return sheet.work(title, "a = z / (1 + z)", "", "Oswin", z=z)
    if isinstance(isotherm, Henderson):
        return sheet.work(
            title,
            "a = 1 - exp(-(k * (t + c) * (100 * X) ** n))",
            "",
            "modified Henderson",
            k=number("k", isotherm.k),
            t=number("temperature in degC", isotherm.temperature_celsius),
            c=number("c", isotherm.c),
            n=number("n", isotherm.n),
            X=water,
        )
    if isinstance(isotherm, TableIsotherm) and len(isotherm.points) == 2:
        (a1, x1), (a2, x2) = isotherm.points
        return sheet.work(
            title,
            "a = a_1 + (a_2 - a_1) * (X - X_1) / (X_2 - X_1)",
            "",
            "straight between the two points",
            X_1=number("content 1", x1),
            X_2=number("content 2", x2),
            a_1=number("activity 1", a1),
            a_2=number("activity 2", a2),
            X=water,
        )
    value = float(isotherm.activity(water.value))
    return sheet.give(title, value, "", "program", "read from the curve through the points of the isotherm")
