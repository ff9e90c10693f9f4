"""The solvers of this folder among themselves and against closed forms: what the engine will be held against.

Finite volumes with TR-BDF2 (``volumes``), the same finite volumes by LSODA and Radau of scipy (``lines``),
finite elements of scikit-fem (``elements``), series (``series``, from Crank's book).
"""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from shelflife.builders import T23

from optimizer.constants import ATMOSPHERE, DAY, GAS_CONSTANT
from optimizer.physics.material import Scavenger
from optimizer.physics.water import saturation_pressure
from optimizer.shelflife.exchange import exchange_of
from optimizer.shelflife.package import Case, Headspace, Limit, OxygenModel, Stage
from transient import coupled, lines, series, states, volumes
from transient.network import Network

REFERENCES = json.loads(Path(__file__).with_name("reference.json").read_text())
AIR = 0.2095 * ATMOSPHERE
THICK = 300.0  # um
PET = coupled.pet()
D, S = float(PET.diffusivity["O2"].at(T23)), float(PET.solubility("O2", T23))
#: Unit of time of the plain wall [s].
UNIT = (THICK * 1e-6) ** 2 / D


def vessel(h: float, area: float = 0.05) -> float:
    """Volume [m3] behind a PET wall for a ratio h of what the wall holds to what the vessel holds."""
    return area * THICK * 1e-6 * S * GAS_CONSTANT * T23 / h


def exact(case: Case, times: list[float], cells: int = 10) -> dict[str, np.ndarray]:
    """No error in time, Richardson's limit in space."""
    return volumes.extrapolated(lines.exponential, case, times, cells)[0]


@pytest.mark.parametrize(("h", "wall", "start"), [(0.1, 0.0, 0.0), (0.1, 1.0, 0.0), (1.0, 1.0, 0.2)])
def test_vessel_fills_through_the_finite_volumes_as_by_the_series(
    h: float, wall: float, start: float
) -> None:
    tau = np.array([0.2, 1.0, 3.0, 8.0])
    case = coupled.linear(
        (PET, THICK),
        volume=vessel(h),
        inside=0.2095 * start,
        wall=0.2095 * wall,
        days=8 * UNIT / DAY,
    )
    found = exact(case, list(tau * UNIT))["p O2"] / AIR
    assert found == pytest.approx(series.headspace_from(tau, h, wall, start), abs=2e-8)


def test_lag_of_the_finite_volumes_is_that_of_the_laminate() -> None:
    layers = ((PET, 200.0), (coupled.tie(), 50.0), (PET, 100.0))
    case = coupled.linear(*layers, volume=1e4, wall=0.0, days=40.0)
    found = exact(case, [20 * DAY, 40 * DAY])
    parts = (
        [um * 1e-6 for _, um in layers],
        [float(m.diffusivity["O2"].at(T23)) for m, _ in layers],
        [float(m.solubility("O2", T23)) for m, _ in layers],
    )
    flow = 0.05 * series.laminate_flux(*parts) * AIR
    assert found["n O2"][1] == pytest.approx(flow * (40 * DAY - series.laminate_lag(*parts)), rel=1e-7)
    # what the wall holds in the steady state follows from the lags seen from both sides
    assert -found["out O2"][1] - found["n O2"][1] == pytest.approx(found["wall O2"][1], rel=1e-5)


def test_sheet_between_two_airs_takes_up_as_by_the_series() -> None:
    tau = np.array([0.02, 0.05, 0.2, 0.5])
    case = coupled.linear((PET, THICK), volume=1e6, inside=0.2095, wall=0.0, days=UNIT / DAY)
    full = 0.05 * THICK * 1e-6 * S * AIR
    found = exact(case, list(tau * UNIT), 16)["wall O2"] / full
    assert found == pytest.approx(series.sheet_uptake(tau), abs=1e-6)


@pytest.mark.parametrize("alpha", [0.25, 4.0])
def test_wall_behind_foil_takes_up_from_the_headspace_as_from_a_limited_bath(alpha: float) -> None:
    tau = np.array([0.05, 0.2, 1.0])
    case = coupled.linear(
        (PET, THICK), (coupled.foil(), 9.0), volume=vessel(1 / alpha), inside=0.5, wall=0.0, days=UNIT / DAY
    )
    found = exact(case, list(tau * UNIT), 16)
    total = found["n O2"] + found["wall O2"]
    assert found["wall O2"] / total * (1 + alpha) == pytest.approx(series.bath_uptake(tau, alpha), abs=1e-6)
    assert found["out O2"] == pytest.approx(0.0, abs=1e-12 * total[0])


@pytest.mark.parametrize("phi", [0.5, 3.0])
def test_film_that_uses_oxygen_up_passes_and_takes_what_thiele_says(phi: float) -> None:
    k = phi**2 / UNIT
    eater = replace(coupled.pet(scavenger=Scavenger("O2", k, T23)), name="eater")
    case = coupled.linear((eater, THICK), volume=1e8, wall=0.0, days=20 * UNIT / DAY)
    found = exact(case, [10 * UNIT, 20 * UNIT], 16)
    steady = 0.05 * D * S / (THICK * 1e-6) * AIR * 10 * UNIT
    # the flows between the two times are steady: phi / sinh phi in, phi / tanh phi taken from the air
    assert np.diff(found["n O2"])[0] / steady == pytest.approx(series.reacting_transmission(phi), rel=1e-7)
    assert -np.diff(found["out O2"])[0] / steady == pytest.approx(series.reacting_uptake(phi), rel=1e-7)


def test_scavenger_with_capacity_uses_that_and_no_more() -> None:
    case = coupled.scavenging()
    cap = case.package.walls["cap"].layers[0]
    full = cap.material.scavenger.capacity * 8e-4 * cap.thickness
    assert REFERENCES["scavenging"]["values"]["scavenged"][-1] == pytest.approx(full, rel=1e-6)
    assert REFERENCES["scavenging"]["values"]["scavenged"][0] < 0.2 * full


def test_finite_elements_agree_with_the_series() -> None:
    pytest.importorskip("skfem")
    from transient.elements import laminate

    h, tau = 0.4, np.array([0.3, 1.0, 4.0])
    room = vessel(h) / (GAS_CONSTANT * T23 * 0.05)
    found = laminate(
        [THICK * 1e-6], [D * S], [S], list(tau * UNIT), outside=AIR, inside=0.0, wall=AIR, vessel=room
    )
    assert found.inside / AIR == pytest.approx(series.headspace_from(tau, h, 1.0), abs=1e-6)


@pytest.mark.slow
def test_finite_elements_agree_with_finite_volumes_on_a_laminate() -> None:
    pytest.importorskip("skfem")
    from transient.elements import laminate

    layers = ((coupled.skin(), 400.0), (PET, 100.0), (coupled.tie(), 30.0))
    times = [0.5 * DAY, 2 * DAY, 10 * DAY]
    other = exact(coupled.linear(*layers, volume=2e-5, days=10.0), times)
    mesh = laminate(
        [um * 1e-6 for _, um in layers],
        [float(m.gases["O2"].at(T23, 0.0)) for m, _ in layers],
        [float(m.solubility("O2", T23)) for m, _ in layers],
        times,
        outside=AIR,
        inside=0.0,
        wall=AIR,
        vessel=2e-5 / (GAS_CONSTANT * T23 * 0.05),
        steps=120,
    )
    assert mesh.inside == pytest.approx(other["p O2"], rel=1e-6)
    assert 0.05 * mesh.wall == pytest.approx(other["wall O2"], rel=1e-6)
    # what came in through the outer face is what the vessel and the wall gained
    start = other["n O2"] + other["wall O2"] + other["out O2"]
    assert 0.05 * mesh.passed == pytest.approx(start - other["n O2"] - other["wall O2"], rel=1e-5)


def test_step_of_temperature_keeps_the_moles_and_moves_the_pressures() -> None:
    net = Network(coupled.flushed_bottle(), 8)
    y = states.start(net)
    before, row = states.amount(net, y), states.observe(net, 0.0, y)
    after_y = states.step(net, y, 1)
    after, moved = states.amount(net, after_y), states.observe(net, 0.0, after_y)
    flows = np.concatenate(
        [np.arange(net.size)[net.at[f"out {f}"]] for f in net.fields] + [[net.at["inside H2O"].start]]
    )
    kept = np.setdiff1d(np.arange(net.size), flows)
    assert after[kept] == pytest.approx(before[kept], rel=1e-13)
    for f in ("O2", "H2O"):
        inside = "n O2" if f == "O2" else "gain"
        total = [r[inside] + r[f"wall {f}"] + r[f"out {f}"] for r in (row, moved)]
        assert total[1] == pytest.approx(total[0], rel=1e-12)
    assert moved["wall O2"] != pytest.approx(row["wall O2"], rel=1e-3)


@pytest.mark.parametrize(
    "name",
    [
        "carbonated bottle with creep",
        *(pytest.param(x, marks=pytest.mark.slow) for x in ("flushed bottle", "pouch", "scavenging")),
    ],
)
def test_tr_bdf2_keeps_the_moles_and_agrees_with_the_reference(name: str) -> None:
    case = coupled.CASES[name]()
    times, values = REFERENCES[name]["times"], REFERENCES[name]["values"]
    found, _ = volumes.extrapolated(volumes.solve, case, times, 6, rtol=1e-6)
    gas = "CO2" if name.startswith("carbonated") else "O2"
    total = sum(found[f"{k} {gas}"] for k in ("n", "wall", "out")) + found["scavenged"]
    assert total == pytest.approx(total[0], rel=1e-9)
    for key in (f"p {gas}", "gain"):
        expected = np.array(values[key])
        assert found[key] == pytest.approx(expected, rel=1e-5, abs=1e-6 * np.abs(expected).max())
    if name == "pouch":
        net = Network(case, 2)
        dry = [
            net.segments.pressure[k] - 0.4 * saturation_pressure(net.segments.temperature[k]) for k in (0, 1)
        ]
        pressure = sum(found[f"p {g}"] for g in ("O2", "N2", "CO2"))
        assert pressure == pytest.approx([dry[t > 20 * DAY] for t in times], rel=1e-12)


@pytest.mark.parametrize(
    "name",
    [
        "carbonated bottle with creep",
        *(pytest.param(x, marks=pytest.mark.slow) for x in ("scavenging", "pouch")),
    ],
)
def test_lsoda_agrees_with_the_reference(name: str) -> None:
    times, values = REFERENCES[name]["times"], REFERENCES[name]["values"]
    found, _ = volumes.extrapolated(lines.solve, coupled.CASES[name](), times, 12, rtol=1e-8)
    for key, expected in values.items():
        size = np.abs(expected).max()
        assert found[key] == pytest.approx(np.array(expected), rel=3e-6, abs=1e-6 * size), key


@pytest.mark.parametrize(
    "name",
    [
        "carbonated bottle",
        *(pytest.param(x, marks=pytest.mark.slow) for x in ("flushed bottle", "scavenging without end")),
    ],
)
def test_matrix_exponential_agrees_with_the_reference(name: str) -> None:
    times, values = REFERENCES[name]["times"], REFERENCES[name]["values"]
    found, _ = volumes.extrapolated(lines.exponential, coupled.CASES[name](), times, 12)
    for key, expected in values.items():
        size = np.abs(expected).max()
        assert found[key] == pytest.approx(np.array(expected), rel=1e-6, abs=1e-7 * size), key


def test_error_of_the_finite_volumes_falls_with_the_square_of_the_width() -> None:
    times, values = REFERENCES["flushed bottle"]["times"], REFERENCES["flushed bottle"]["values"]
    case = coupled.flushed_bottle()
    last = values["p O2"][1]
    errors = [lines.exponential(case, times[:2], cells=n)["p O2"][1] / last - 1 for n in (6, 12, 24)]
    orders = np.log2(np.abs(np.array(errors[:-1]) / errors[1:]))
    assert orders == pytest.approx([2.0, 2.0], abs=0.15)


def test_error_of_tr_bdf2_falls_with_its_tolerance() -> None:
    case = coupled.linear((PET, THICK), volume=vessel(1.0), days=UNIT / DAY)
    times = [0.3 * UNIT, UNIT]
    best = lines.exponential(case, times, cells=6)["p O2"]
    found = [volumes.solve(case, times, cells=6, rtol=r)["p O2"] for r in (1e-3, 1e-6)]
    errors = [np.max(np.abs(p / best - 1)) for p in found]
    # a third-order estimate held at rtol, a second-order result: error ~ rtol^(2/3)
    assert 20 < errors[0] / errors[1] < 1000
    assert errors[1] < 1e-5


@pytest.mark.slow
def test_steady_flows_through_a_moist_laminate_are_those_of_the_steady_wall() -> None:
    # the steady model integrates P over the humidity inside each layer by tables good to 1e-5
    case = coupled.coupled()
    product = replace(
        case.product,
        moisture=None,
        water_activity=0.35,
        oxygen=OxygenModel(),
        headspace=Headspace(1e4, True, {"N2": 1.0}),
        limits=(Limit("oxygen_gain", 1.0), Limit("water_gain", 1.0)),
    )
    # long enough for the water in the barrier, which settles within two weeks or so
    still = (Stage("store", 240 * DAY, 298.15, 0.92),)
    case = replace(case, product=product, storage=still, horizon=240 * DAY)
    times = [220 * DAY, 240 * DAY]
    found, _ = volumes.extrapolated(lines.radau, case, times, 8, rtol=1e-8)
    exchange = exchange_of(case)
    oxygen = exchange.conductance["O2"][0, 0, 0] * exchange.outside["O2"][0]
    assert np.diff(found["n O2"])[0] == pytest.approx(oxygen * 20 * DAY, rel=2e-6)
    assert np.diff(found["gain"])[0] == pytest.approx(-exchange.water[0, 0, 0] * 20 * DAY, rel=2e-6)


@pytest.mark.slow
@pytest.mark.filterwarnings("ignore")
def test_fipy_comes_close_to_the_finite_volumes() -> None:
    pytest.importorskip("fipy")
    from benchmarks.fipy_rival import fipy, lsoda

    case = coupled.coupled()
    case = replace(case, storage=case.storage[:1], horizon=case.storage[0].duration)
    exact_end, rough, fine = lsoda(case, cells=30), fipy(case, steps=10), fipy(case, steps=80)
    for k in range(4):
        # implicit Euler: first order in the step
        assert fine[k] == pytest.approx(exact_end[k], rel=2e-3)
    assert abs(fine.pressure - exact_end.pressure) < 0.3 * abs(rough.pressure - exact_end.pressure)


def test_references_are_settled_to_a_millionth() -> None:
    for name, entry in REFERENCES.items():
        # the hours after closing are the hardest for a mesh
        assert max(entry["doubt"].values()) < (3e-6 if "weather" in name else 2e-7), name
    assert set(REFERENCES) == set(coupled.CASES)


def test_lsoda_and_tr_bdf2_agree_over_hours_of_weather() -> None:
    case = coupled.hourly(coupled.coupled(), years=6 / 8760)
    times = [3 * 3600.0, 6 * 3600.0]
    a = volumes.solve(case, times, cells=3, rtol=1e-5)
    b = lines.solve(case, times, cells=3, rtol=1e-7)
    for key in ("p O2", "used", "wall O2", "wall H2O"):
        assert a[key] == pytest.approx(b[key], rel=2e-5), key
    assert a["gain"] == pytest.approx(b["gain"], rel=1e-3, abs=1e-8)


@pytest.mark.slow
@pytest.mark.parametrize("name", ["coupled", "coupled headspace"])
def test_solvers_agree_on_the_coupled_case_to_a_hundred_thousandth(name: str) -> None:
    case = coupled.CASES[name]()
    times, values = REFERENCES[name]["times"], REFERENCES[name]["values"]
    lsoda, _ = volumes.extrapolated(lines.solve, case, times, 8, rtol=1e-7)
    marching, _ = volumes.extrapolated(volumes.solve, case, times, 8, rtol=1e-6)
    for key, expected in values.items():
        size = np.abs(expected).max()
        # what the wall holds of water follows the steps most closely in time
        rel = 2e-5 if key == "wall H2O" else 1e-5
        for found in (lsoda, marching):
            assert found[key] == pytest.approx(np.array(expected), rel=rel, abs=1e-6 * size), key
