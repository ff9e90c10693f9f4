"""The compiled march of transient walls: the same equations as in numpy, whatever the threads.

The two are written apart, one in numpy for one sample or for many with lists of arrays, one in compiled code
for eight samples in vectors, so that with the same fixed steps they must agree to rounding and to the end of
Newton's method. What both of them solve is checked against closed forms and other solvers in the other files
of this folder.
"""

from __future__ import annotations

import functools
import os
import subprocess
import sys
import threading
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

pytest.importorskip("numba")

import numba

from optimizer.constants import DAY
from optimizer.errors import SolverError
from optimizer.geometry.surface import Patch
from optimizer.shelflife.package import (
    Case,
    ClosurePart,
    GivenConductance,
    HolePart,
    Limit,
    Package,
    Surroundings,
    WallPart,
)
from optimizer.shelflife.segments import lay_out
from optimizer.shelflife.transient import compiled, run
from optimizer.shelflife.transient.compiled import compiled_march
from optimizer.shelflife.transient.kernel_data import LANES, Answer
from optimizer.shelflife.transient.march import March
from optimizer.shelflife.transient.plan import plan_of
from optimizer.shelflife.transient.samples import transient_samples
from optimizer.shelflife.variation import Variation
from optimizer.shelflife.varied import varied

from .coupled import (
    carbonated_bottle,
    coupled,
    flushed_bottle,
    foil,
    hourly,
    package,
    pet,
    skin,
)

#: With the same steps: Newton's method ends at 1e-12 in numpy and is off by the square of 1e-7 here, and the
#: isotherm is a table of cubics.
SAME = 1e-7


def drawn(case: Case, count: int, seed: int = 3) -> Variation:
    """Every kind of variation at once."""
    rng = np.random.default_rng(seed)

    def factor(spread: float) -> np.ndarray:
        return np.exp(spread * rng.standard_normal(count))

    names = {x.material.name for w in case.package.walls.values() for x in w.layers}
    wall = next(iter(case.package.walls))
    return Variation(
        count,
        permeability={(m, g): factor(0.1) for m in sorted(names) for g in ("H2O", "O2", "CO2")},
        diffusivity={(m, "O2"): factor(0.2) for m in sorted(names)},
        thickness={wall: factor(0.05)},
        layer_thickness={(wall, sorted(names)[0]): factor(0.05)},
        transmission={("cap", "O2"): factor(0.2), ("cap", "CO2"): factor(0.2)},
        duration={case.storage[-1].name: factor(0.1), case.storage[0].name: factor(0.1)},
        limit={x.name: factor(0.1) for x in case.product.limits},
        consumption=factor(0.2),
        isotherm=factor(0.03),
        headspace_oxygen=factor(0.1),
        temperature=rng.standard_normal(count),
        humidity=0.02 * rng.standard_normal(count),
    )


def march(case: Case, variation: Variation | None = None, degree: int = 3, **more: object) -> Answer:
    given = {"rtol": 1e-5, "end": case.horizon, "target": case.horizon, **more}
    plan = plan_of(case, variation, degree=degree)
    return compiled_march(plan, lay_out(case.storage, case.horizon), **given)  # type: ignore[arg-type]


def closed(given: dict[str, float]) -> ClosurePart:
    return ClosurePart("cap", {g: GivenConductance(v, 296.15, 20e3) for g, v in given.items()})


def with_cap_and_hole(case: Case) -> Case:
    parts = (
        *case.package.parts,
        closed({"O2": 3e-16, "CO2": 6e-15, "N2": 1e-16, "H2O": 4e-15}),
        HolePart("leak", 2e-6, 1e-3),
    )
    return replace(case, package=Package(parts, case.package.walls))


def two_parts() -> Case:
    """A carbonated bottle whose base is thicker than its body, with a cap and a leak."""
    case = carbonated_bottle()
    parts = (
        WallPart("body", "wall", (Patch(0.05, 0.8), Patch(0.01, 1.0))),
        WallPart("base", "wall", (Patch(0.006, 2.5),)),
    )
    return with_cap_and_hole(replace(case, package=Package(parts, case.package.walls)))


def behind_foil() -> Case:
    """Foil on the outside, and a skin whose diffusivities are not known."""
    still = replace(skin(), name="skin of unknown diffusivity", diffusivity={})
    return replace(coupled(), package=package((pet(), 60.0), (still, 40.0), (foil(), 9.0)))


def share_of_oxygen() -> Case:
    """Oxygen and nitrogen, no product that uses it up, walls stored dry in a gas of their own."""
    case = coupled()
    product = replace(
        case.product,
        oxygen=replace(case.product.oxygen, consumption=None),
        limits=(Limit("headspace_oxygen", 0.03), Limit("water_gain", 0.01)),
    )
    before = Surroundings(humidity=0.1, gas={"O2": 0.05, "N2": 0.95})
    return with_cap_and_hole(replace(case, product=product, before=before))


def first_order(dissolves: str) -> Case:
    case = coupled(dissolves)
    used = replace(case.product.oxygen.consumption, order=1, rate=2e-7, half_pressure=None)
    return replace(case, product=replace(case.product, oxygen=replace(case.product.oxygen, consumption=used)))


CASES = {
    "powder behind a barrier": coupled,
    "liquid of fixed activity, uneven wall": flushed_bottle,
    "carbonated, two parts, closures": two_parts,
    "foil, unknown diffusivity": behind_foil,
    "share of oxygen": share_of_oxygen,
    "first order, dissolved": lambda: first_order("oil"),
    "first order, headspace": lambda: first_order("nothing"),
}


def fixed(monkeypatch: pytest.MonkeyPatch, steps: int) -> None:
    monkeypatch.setattr(March, "strides", functools.partialmethod(March.strides, fixed=steps))


@pytest.mark.parametrize("name", CASES)
def test_with_the_same_steps_both_marches_agree(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    case = replace(CASES[name](), target=None)
    segments = lay_out(case.storage, case.horizon)
    fixed(monkeypatch, 3)
    exact = run.simulate_walls(case, sample_times=segments.end, degree=3, exact=False)
    found = march(case, steps=3, times=segments.end)
    gases = len(exact.pressures)
    inside = np.stack([*exact.amounts.values(), *exact.pressures.values()])[:, 0]
    record = found.record[0].T
    assert record[2 : 2 + 2 * gases] == pytest.approx(inside, rel=SAME, abs=1e-12)
    assert record[1] == pytest.approx(exact.activity[0], rel=SAME)
    assert record[2 + 2 * gases] == pytest.approx(exact.used[0], rel=SAME, abs=1e-15)
    assert record[3 + 2 * gases :] == pytest.approx(exact.quantities[0], rel=1e-6, abs=1e-12)


@pytest.mark.parametrize("name", ["powder behind a barrier", "carbonated, two parts, closures"])
def test_samples_are_the_cases_that_they_stand_for(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    case = replace(CASES[name](), target=None)
    # stages of varied length do not end together, so that only their own ends can be compared
    variation = drawn(case, 3)
    found = march(case, variation, steps=3)
    fixed(monkeypatch, 3)
    for i in range(variation.size):
        own = varied(case, variation, i)
        end = run.simulate_walls(own, until=case.horizon, degree=3, exact=False)
        assert found.extreme[i] == pytest.approx(end.extreme[0], rel=1e-5)


@pytest.mark.parametrize("name", ["powder behind a barrier", "liquid of fixed activity, uneven wall"])
def test_samples_end_when_their_cases_end(name: str) -> None:
    """Steps as wide as the tolerance of samples allows, against numpy at 1e-4."""
    case = CASES[name]()
    case = replace(case, target=0.6 * case.horizon)
    variation = drawn(case, 2)
    found = transient_samples(case, variation, engine="compiled")
    for i in range(variation.size):
        own = varied(case, variation, i)
        exact = run.simulate_walls(own, until=case.horizon, extremes_until=case.target, rtol=1e-4, degree=3)
        inner = np.where(exact.crossing[0] > case.horizon, np.inf, exact.crossing[0])
        assert found.crossing[i] == pytest.approx(inner, rel=3e-4)
        assert found.extreme[i] == pytest.approx(exact.extreme[0], rel=1e-3)


@pytest.mark.parametrize(
    ("name", "rtol", "close"),
    [("liquid of fixed activity, uneven wall", 0.1, 3e-6), ("carbonated, two parts, closures", 1e-2, 3e-5)],
)
def test_a_crossing_is_where_the_integrator_puts_it(name: str, rtol: float, close: float) -> None:
    """Wide steps and narrow ones find the same time; by interpolation they are five times as far apart."""
    case = replace(CASES[name](), target=None)
    wide, narrow = march(case, rtol=rtol), march(case, rtol=1e-8)
    assert narrow.steps[0] > 10 * wide.steps[0]
    assert np.isfinite(narrow.crossing[0, 0])
    assert wide.crossing[0, 0] == pytest.approx(narrow.crossing[0, 0], rel=close)


def test_threads_do_not_change_the_answer() -> None:
    case = coupled()
    variation = drawn(case, 5 * LANES + 3)
    told: list[int] = []
    one = transient_samples(case, variation, engine="compiled", threads=1)
    two = transient_samples(case, variation, engine="compiled", threads=2, progress=told.append)
    assert np.array_equal(one.crossing, two.crossing) and np.array_equal(one.extreme, two.extreme)
    assert told == sorted(told) and told[-1] == variation.size and len(told) > 2


def test_the_fellows_of_a_block_change_a_sample_within_the_tolerance() -> None:
    case = coupled()
    variation = drawn(case, LANES)
    together = transient_samples(case, variation, engine="compiled")
    alone = transient_samples(case, variation.take(slice(2, 3)), engine="compiled")
    assert alone.crossing[0] == pytest.approx(together.crossing[2], rel=5e-4)


@pytest.mark.parametrize(("method", "order"), [(0, 3.4), (1, 1.8), (2, 0.9)])
def test_methods_of_fixed_steps_have_their_orders(method: int, order: float) -> None:
    """Orders 4, 2 and 1: Hairer and Wanner (1996), table IV.6.5; Alexander (1977); implicit Euler. Smooth
    case: the response of a barrier to humidity has kinks, so that the order is that of plain walls."""
    case = replace(flushed_bottle(), target=None)
    exact = march(case, rtol=1.0, steps=600, times=[case.horizon], degree=2).record
    few, many = (
        march(case, rtol=1.0, steps=n, method=method, times=[case.horizon], degree=2).record for n in (40, 80)
    )
    oxygen = 3  # its amount inside
    assert exact.shape == few.shape
    errors = [abs(x[0, 0, oxygen] / exact[0, 0, oxygen] - 1.0) for x in (few, many)]
    assert np.log2(errors[0] / errors[1]) > order


def test_hourly_weather_needs_one_step_an_hour() -> None:
    """Twelve days; against SDIRK4(3) with two steps an hour on finer elements."""
    case = replace(hourly(coupled(), 288 / 8760), target=None)
    exact = march(case, rtol=1.0, steps=2, times=[case.horizon], degree=4).record[0, 0]
    cheap = march(case, rtol=1.0, steps=1, method=1, times=[case.horizon], degree=2).record[0, 0]
    euler = march(case, rtol=1.0, steps=1, method=2, times=[case.horizon], degree=2).record[0, 0]
    changed = np.abs(exact[:4]) > 0
    assert cheap[:4][changed] == pytest.approx(exact[:4][changed], rel=1e-4)
    assert euler[:4][changed] == pytest.approx(exact[:4][changed], rel=3e-3)


def test_hourly_samples_agree_with_hourly_cases() -> None:
    case = replace(hourly(coupled(), 450 / 8760), target=None)
    case = replace(case, product=replace(case.product, limits=(Limit("oxygen_gain", 2e-6),)))
    variation = replace(drawn(case, 3), duration={})
    found = transient_samples(case, variation, engine="compiled")
    for i in range(2):
        plan = plan_of(varied(case, variation, i), degree=3)
        segments = lay_out(plan.case.storage, case.horizon)
        exact = compiled_march(plan, segments, end=case.horizon, target=case.horizon, rtol=1.0, steps=2)
        assert found.extreme[i] == pytest.approx(exact.extreme[0], rel=1e-4)


def test_a_long_stage_beside_hourly_weather_takes_more_than_one_step() -> None:
    case = replace(hourly(coupled(), 420 / 8760), target=None)
    depot = replace(case.storage[0], name="depot", duration=300 * DAY, temperature=303.15)
    case = replace(case, storage=(*case.storage, depot), horizon=case.horizon + depot.duration)
    found = transient_samples(case, Variation(1), engine="compiled")
    exact = march(case, rtol=1e-6)
    assert found.extreme == pytest.approx(exact.extreme, rel=2e-4)
    careless = march(case, rtol=1.0, steps=1, method=1)
    assert careless.extreme != pytest.approx(exact.extreme, rel=1e-3)


def test_a_step_that_cannot_be_taken_is_an_error() -> None:
    case = coupled()
    variation = replace(drawn(case, 2), consumption=np.array([1.0, np.nan]))
    with pytest.raises(SolverError, match="got stuck"):
        transient_samples(case, variation, engine="compiled")


def test_a_wait_is_announced(monkeypatch: pytest.MonkeyPatch) -> None:
    from optimizer.shelflife.transient import kernel

    told: list[str] = []
    march(coupled())
    monkeypatch.setattr(compiled, "_ready", False)
    monkeypatch.setattr(compiled, "_PATIENCE", 0.0)
    heard = threading.Event()

    def say(text: str) -> None:
        told.append(text)
        heard.set()

    monkeypatch.setattr(kernel, "load", lambda *_: heard.wait(120))  # as long as nothing is said
    march(coupled(), say=say)
    assert told == [compiled.COMPILING]
    march(coupled(), say=say)
    assert len(told) == 1


def test_another_version_of_the_code_is_never_run(monkeypatch: pytest.MonkeyPatch) -> None:
    """The place of compiled code on disk depends on a stamp of all sources."""
    from optimizer.shelflife.transient import kernel

    stamps = []
    read = Path.read_bytes
    for more in (b"", b"# changed"):
        monkeypatch.setattr(
            Path, "read_bytes", lambda p, m=more: read(p) + (m if p.name == "kernel_parts.py" else b"")
        )
        stamps.append(kernel._stamp())
    assert stamps[0] != stamps[1]
    keys = []
    for stamp in stamps:
        cache = kernel._entry(stamp)._cache
        keys.append(cache._index_key("(int64,)", kernel.march_block.targetctx.codegen()))
    assert keys[0] != keys[1]


def test_without_a_folder_to_write_to_it_still_compiles(tmp_path: Path) -> None:
    """Compiled code is then kept in memory; nothing is compiled here, as making the function is what
    fails."""
    if not hasattr(numba.config, "CACHE_LOCATOR_CLASSES"):
        pytest.skip("this numba cannot be told where not to keep code")
    file = tmp_path / "file"
    file.write_text("")
    code = "from optimizer.shelflife.transient import kernel; print(type(kernel.march_block._cache).__name__)"
    root = Path(__file__).resolve().parents[2]
    environment = {**os.environ, "NUMBA_CACHE_DIR": str(file / "below"), "PYTHONPATH": str(root)}
    environment["NUMBA_CACHE_LOCATOR_CLASSES"] = "UserProvidedCacheLocator"
    done = subprocess.run(
        [sys.executable, "-c", code], env=environment, capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == "NullCache"
