"""From the chosen rows to the laws of the physics: Arrhenius and humidity response.

Several temperatures at one humidity: least squares of ln P over 1/T with one common activation energy and one
intercept per humidity. One temperature: the energy of the rows, else of activation.csv, else an assumption
that is said. Everything that a reader of a result must know comes back as notes.
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Sequence
from dataclasses import dataclass

from optimizer.catalog.averaged import averaged
from optimizer.catalog.choose import EVALUATED, SAME_TEMPERATURE, Candidate
from optimizer.constants import GAS_CONSTANT, ZERO_CELSIUS
from optimizer.errors import InputError
from optimizer.physics.permeability import GasLaw, WaterLaw

#: Assumed where neither the row nor activation.csv gives an energy [J/mol]; common practice, no source.
ASSUMED_GAS_ENERGY, ASSUMED_WATER_ENERGY = 40e3, 35e3
#: No rows of one material fall or rise more steeply over the temperature [J/mol]; what is steeper overflows
#: (common practice, no source).
STEEPEST = 500e3
#: Laws are referred to the measured temperature that is nearest to this [K]; 23 degC is the trade's test
#: temperature.
USUAL_TEMPERATURE = ZERO_CELSIUS + 23.0
#: Humidities closer than this count as one [-].
_SAME_HUMIDITY = 1e-3
#: Below this a test tells little of a barrier polymer in use [-] (common practice, no source).
_DRY = 0.3


@dataclass(frozen=True)
class KnownEnergy:
    """Activation energy [J/mol] from activation.csv, with its source."""

    value: float
    printed: str
    source: str
    grade: str
    note: str = ""


@dataclass(frozen=True)
class EnergyUsed:
    """The energy [J/mol] that a law uses. origin: fitted, row, table or assumed."""

    value: float
    origin: str


@dataclass(frozen=True)
class _Point:
    temperature: float
    humidity: float
    permeability: float
    far: float = 0.0

    @property
    def condition(self) -> tuple[float, float]:
        """Far and near humidity, rounded so that 50 % and 0.5 written differently are one."""
        return round(self.far, 4), round(self.humidity, 4)


def _energy_of(
    points: Sequence[_Point], chosen: Sequence[Candidate], known: KnownEnergy | None, assumed: float
) -> tuple[EnergyUsed, list[str]]:
    fitted = fit_energy([(p.temperature, p.condition, p.permeability) for p in points])
    if fitted is not None:
        if abs(fitted) > STEEPEST:
            message = f"with the other rows it makes an activation energy of {fitted / 1e3:.3g} kJ/mol"
            hint = "compare values, units and temperatures of the rows; 20 to 70 kJ/mol is usual"
            raise InputError(chosen[-1].row.problem("value", message, hint=hint))
        notes = []
        if not 0.0 < fitted < 120e3:
            notes.append(f"fitted activation energy of {fitted / 1e3:.0f} kJ/mol is unusual, check the rows")
        return EnergyUsed(fitted, "fitted"), notes
    given = [c.record.activation_energy for c in chosen if c.record.activation_energy is not None]
    if given:
        notes = (
            [] if max(given) - min(given) < 1.0 else ["rows give different activation energies, mean used"]
        )
        return EnergyUsed(sum(given) / len(given), "row"), notes
    if known is not None:
        weak = {"memory": "from memory", "estimate": "estimated"}.get(known.grade)
        return EnergyUsed(known.value, "table"), [f"activation energy {weak}"] if weak else []
    return EnergyUsed(assumed, "assumed"), [f"activation energy assumed, {assumed / 1e3:.0f} kJ/mol"]


def fit_energy(points: Sequence[tuple[float, Hashable, float]]) -> float | None:
    """Common activation energy [J/mol] of (temperature [K], condition, permeability) points by least squares
    of ln P over 1/T with one intercept per condition (humidity); None when no condition has two temperatures.

    E = -R sum (x - mean_g x)(y - mean_g y) / sum (x - mean_g x)^2 with x = 1/T, y = ln P and g the condition.
    """
    groups: dict[Hashable, list[tuple[float, float]]] = {}
    for temperature, condition, permeability in points:
        groups.setdefault(condition, []).append((temperature, permeability))
    numerator = denominator = 0.0
    for group in groups.values():
        if max(t for t, _ in group) - min(t for t, _ in group) < SAME_TEMPERATURE:
            continue
        xs = [1.0 / t for t, _ in group]
        ys = [math.log(p) for _, p in group]
        x0, y0 = sum(xs) / len(xs), sum(ys) / len(ys)
        numerator += sum((x - x0) * (y - y0) for x, y in zip(xs, ys, strict=True))
        denominator += sum((x - x0) ** 2 for x in xs)
    return -GAS_CONSTANT * numerator / denominator if denominator else None


def _at_reference(points: Sequence[_Point], energy: float, reference: float) -> list[tuple[float, float]]:
    """(humidity, permeability at the reference temperature), the geometric mean where a humidity has several
    rows."""
    groups: dict[float, list[float]] = {}
    for p in sorted(points, key=lambda p: p.humidity):
        shift = energy / GAS_CONSTANT * (1.0 / p.temperature - 1.0 / reference)
        groups.setdefault(p.condition[1], []).append(math.log(p.permeability) + shift)
    return [(humidity, math.exp(sum(logs) / len(logs))) for humidity, logs in groups.items()]


def _reference(points: Sequence[_Point]) -> float:
    return min((p.temperature for p in points), key=lambda t: (abs(t - USUAL_TEMPERATURE), t))


def _row_notes(gas: str, chosen: Sequence[Candidate]) -> list[str]:
    notes = []
    grades = {c.grade for c in chosen}
    if "memory" in grades:
        notes.append(f"{gas}: value from memory, confirm it")
    if "estimate" in grades:
        rules = list(dict.fromkeys(c.record.note for c in chosen if c.record.grade == "estimate"))
        what = "evaluated between the sources" if chosen[0].source == EVALUATED else "estimated value"
        notes.append(f"{gas}: {what} ({'; '.join(rules)})")
    if any(c.record.ranged for c in chosen):
        notes.append(f"{gas}: geometric mean of a printed range")
    if any(c.record.best == 0.0 and c.grade == "user" for c in chosen):
        notes.append(f"{gas}: taken as impermeable, because a value of 0 is given")
    notes += averaged(gas, chosen)
    return notes


def gas_law(
    gas: str, chosen: Sequence[Candidate], known: KnownEnergy | None, sensitive: bool
) -> tuple[GasLaw, EnergyUsed, list[str]]:
    """Law of one gas from the chosen rows. ``sensitive``: the family is known to respond to humidity."""
    notes = _row_notes(gas, chosen)
    points = [_Point(c.record.temperature or 0.0, c.record.humidity or 0.0, c.record.best) for c in chosen]
    if any(c.record.humidity is None for c in chosen):
        notes.append(taken_as_dry(gas))
    span = min(p.temperature for p in points), max(p.temperature for p in points)
    reference = _reference(points)
    if any(p.permeability == 0.0 for p in points):
        return GasLaw(gas, reference, (0.0,), (0.0,), 0.0, span), EnergyUsed(0.0, "row"), notes
    energy, said = _energy_of(points, chosen, known, ASSUMED_GAS_ENERGY)
    notes += [f"{gas}: {text}" for text in said]
    at = _at_reference(points, energy.value, reference)
    if len(at) > 1 and max(p for _, p in at) <= min(p for _, p in at) * (1 + 1e-9):
        at = at[:1]
        sensitive = False
    law = GasLaw(
        gas,
        reference,
        tuple(h for h, _ in at),
        tuple(p for _, p in at),
        energy.value,
        span,
        energy.origin == "assumed",
    )
    notes += _humidity_notes(gas, [h for h, _ in at], sensitive)
    if sensitive and len(at) == 1 and at[0][0] < _DRY and any(_of_the_user(c) for c in chosen):
        notes.append(
            f"{gas}: a test at {100 * at[0][0]:.0f} %RH may overstate the barrier in use; ask for a value at "
            "65 %RH, or near the humidity in use"
        )
    return law, energy, notes


def taken_as_dry(gas: str) -> str:
    """What is said of a test without a humidity."""
    return f"{gas}: humidity of the test not given, taken as dry"


def _of_the_user(candidate: Candidate) -> bool:
    """A row of the project or of an offer, not of the shipped table."""
    return candidate.rank > 0


def _humidity_notes(gas: str, known_at: Sequence[float], sensitive: bool) -> list[str]:
    if not sensitive and len(known_at) == 1:
        return []
    if len(known_at) == 1:
        only = f"known at {100 * known_at[0]:.0f} %RH only"
        return [f"{gas}: {only} although the material responds to humidity; held constant"]
    low, high = known_at[0], known_at[-1]
    notes = []
    if low > 0.005:
        notes.append(f"{gas}: humidity response flat below {100 * low:.0f} %RH, the driest measured")
    if high < 0.995:
        notes.append(f"{gas}: humidity response flat above {100 * high:.0f} %RH, the wettest measured")
    return notes


def water_law(
    chosen: Sequence[Candidate], known: KnownEnergy | None, sensitive: bool
) -> tuple[WaterLaw, EnergyUsed, list[str]]:
    """Law of water from the chosen rows.

    A row is a mean permeability between its two humidities, so it gives Phi(humidity) - Phi(humidity_far).
    Rows with a dry far side are points of Phi; a row whose far side is the humidity of another row continues
    from there.
    """
    gas = "H2O"
    notes = _row_notes(gas, chosen)
    points = [_water_point(c) for c in chosen]
    span = min(p.temperature for p in points), max(p.temperature for p in points)
    reference = _reference(points)
    if any(p.permeability == 0.0 for p in points):
        return WaterLaw(reference, (0.0, 1.0), (0.0, 0.0), 0.0, span), EnergyUsed(0.0, "row"), notes
    energy, said = _energy_of(points, chosen, known, ASSUMED_WATER_ENERGY)
    notes += [f"{gas}: {text}" for text in said]
    assumed = energy.origin == "assumed"
    activity, phi = [0.0], [0.0]
    means: list[float] = []
    for far in sorted({p.far for p in points}):
        at = _at_reference([p for p in points if p.far == far], energy.value, reference)
        means += [p for _, p in at]
        start = next((i for i, a in enumerate(activity) if abs(a - far) < _SAME_HUMIDITY), None)
        if start is None:
            continue
        for humidity, mean in at:
            if humidity > activity[-1] + _SAME_HUMIDITY:
                activity.append(humidity)
                phi.append(phi[start] + mean * (humidity - far))
    rising = all(b > a for a, b in zip(phi, phi[1:], strict=False))
    if len(activity) == 1 or not rising or (len(activity) == 2 and len(means) == 1):
        level = math.exp(sum(map(math.log, means)) / len(means))
        if len(means) > 1:
            notes.append(f"{gas}: the rows do not give an increasing humidity response; their mean is used")
        law = WaterLaw(reference, (0.0, 1.0), (0.0, level), energy.value, span, assumed)
        if sensitive:
            notes.append(
                f"{gas}: one permeability at all humidities although the material responds to humidity"
            )
        return law, energy, notes
    law = WaterLaw(reference, tuple(activity), tuple(phi), energy.value, span, assumed)
    return law, energy, notes


def _water_point(candidate: Candidate) -> _Point:
    """A permeability per pressure may come without humidity: it then holds up to saturation."""
    record = candidate.record
    humidity = 1.0 if record.humidity is None else record.humidity
    return _Point(record.temperature or 0.0, humidity, record.best, record.humidity_far or 0.0)
