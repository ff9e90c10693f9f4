"""``--samples``, ``--seed`` and ``--confidence``: what they answer, their exit status, what they refuse.

The pouch holds so much gas that hardly any oxygen builds up in it: the flow is constant, and

    life = limit / flow,  in proportion to thickness / permeability.

With lognormal factors its logarithm is normal (Aitchison and Brown, The Lognormal Distribution, 1957).
"""

from __future__ import annotations

import json
import math
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from statistics import NormalDist
from typing import Any

import pytest

import optimizer
from optimizer.cli import progress as bar
from optimizer.project.schema_uncertainty import SAMPLES as ALLOWED
from optimizer.results import CheckResult, PredictResult
from optimizer.uncertainty.asked import LARGEST_SEED, SAMPLES

from .projects import SLAB
from .samples import CHECKED, PASSING

ROOT = Path(__file__).parents[2]
Invoke = Callable[..., int]
Answers = Callable[..., None]
NORMAL = NormalDist()
SPREAD, VARIATION = 0.2, 0.1
SIGMA = math.sqrt(math.log1p(SPREAD**2) + math.log1p(VARIATION**2))


def pouch(
    folder: Path, name: str = "pouch.yaml", um: float = 40.0, target: str = "6 months", **own: str
) -> str:
    """The project as a file; own: lines of its ``uncertainty``. target: empty for none."""
    text = SLAB.partition("target:")[0]
    text = text.replace("humidity: 0 %,\n", f"humidity: 0 %, spread: {100 * SPREAD:g} %,\n", 1)
    text = text.replace("{volume: 50 mL, walls: flexible}", "{volume: 2 L, walls: rigid, gas: {N2: 100 %}}")
    text = text.replace("oxygen_gain: 1000 mg/kg", "oxygen_gain: 25 mg/kg")
    text = text.replace("thickness: 40 um", f"thickness: {um:g} um")
    if target:
        text += f"target: {{shelf_life: {target}}}\n"
    lines = {"thickness": f"{100 * VARIATION:g} %", "samples": "256", "seed": "3"} | own
    text += "uncertainty:\n" + "".join(f"  {key}: {value}\n" for key, value in lines.items())
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return str(path)


def layerwright(*arguments: str) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-W", "error", "-m", "optimizer", *arguments]
    return subprocess.run(command, cwd=ROOT, capture_output=True, text=True, encoding="utf-8", timeout=120)


def answer(invoke: Invoke, capsys: pytest.CaptureFixture[str], *arguments: str) -> dict[str, Any]:
    """The JSON of a command."""
    invoke(*arguments, "--json", "-")
    record: dict[str, Any] = json.loads(capsys.readouterr().out)
    return record


def chance(life_days: float, target_days: float) -> float:
    """P(life >= target) of the lognormal whose median is ``life_days``."""
    return NORMAL.cdf(math.log(life_days / target_days) / SIGMA)


def test_the_chance_of_passing_is_that_of_the_lognormal(
    tmp_path: Path, invoke: Invoke, capsys: pytest.CaptureFixture[str]
) -> None:
    record = answer(invoke, capsys, "predict", pouch(tmp_path), "--samples", "256")
    found = record["uncertainty"]
    exact = chance(record["shelf_life_days"], record["target_days"])
    assert 0.6 < exact < 0.9
    assert found["probability"] == pytest.approx(exact, abs=4 * found["probability_error"] + 0.004)
    for key, z in (("p05", -1.6448536), ("p50", 0.0), ("p95", 1.6448536)):  # normal table
        life = record["shelf_life_days"] * math.exp(z * SIGMA)
        assert found["shelf_life_days"][key] == pytest.approx(life, rel=0.05)
    assert record["passes"] is True and record["confidence_asked"] is None


def test_the_keys_of_the_answer_are_those_of_the_contract(
    tmp_path: Path, invoke: Invoke, capsys: pytest.CaptureFixture[str]
) -> None:
    record = answer(invoke, capsys, "predict", pouch(tmp_path), "--samples", "64", "--seed", "5")
    found = record["uncertainty"]
    assert set(found) >= {
        "samples",
        "seed",
        "wall",
        "probability",
        "probability_error",
        "shelf_life_days",
        "percentiles",
        "ended_by",
        "influences",
        "spreads",
        "notes",
    }
    assert (found["samples"], found["seed"], found["wall"]) == (64, 5, record["wall_model"])
    assert set(found["shelf_life_days"]) == {"p05", "p25", "p50", "p75", "p95"}
    assert set(found["percentiles"][0]) == {"percentile", "shelf_life_days", "limited_by"}
    assert record["wall_reason"]
    assert answer(invoke, capsys, "predict", pouch(tmp_path))["uncertainty"] is None


def test_one_seed_gives_one_answer_and_another_seed_another(
    tmp_path: Path, invoke: Invoke, capsys: pytest.CaptureFixture[str]
) -> None:
    project = pouch(tmp_path)
    one, same, other, own = (
        answer(invoke, capsys, "predict", project, "--samples", "64", *seed)
        for seed in (("--seed", "1"), ("--seed", "1"), ("--seed", "2"), ())
    )
    assert one == same
    assert one["uncertainty"]["shelf_life_days"] != other["uncertainty"]["shelf_life_days"]
    assert own["uncertainty"]["seed"] == 3  # that of the project


def test_a_seed_alone_draws_as_many_samples_as_the_project_says(
    tmp_path: Path, invoke: Invoke, capsys: pytest.CaptureFixture[str]
) -> None:
    found = answer(invoke, capsys, "predict", pouch(tmp_path, samples="100"), "--seed", "1")["uncertainty"]
    assert (found["samples"], found["seed"]) == (128, 1)  # the next power of two


def test_a_confidence_in_the_project_decides_once_samples_are_drawn(
    tmp_path: Path, invoke: Invoke, capsys: pytest.CaptureFixture[str]
) -> None:
    project = pouch(tmp_path, confidence="95 %")
    assert invoke("predict", project) == 0
    capsys.readouterr()
    assert invoke("predict", project, "--samples", "64") == 1
    said = " ".join(capsys.readouterr().out.split())
    assert "FAILS: " in said and "95 % asked for. With the properties as given it lasts" in said
    assert invoke("predict", pouch(tmp_path, confidence="55 %"), "--samples", "64") == 0
    assert "PASSES: lasts" in capsys.readouterr().out


def test_a_package_that_fails_as_given_fails_whatever_its_chance(
    tmp_path: Path, invoke: Invoke, capsys: pytest.CaptureFixture[str]
) -> None:
    project = pouch(tmp_path, um=30, confidence="51 %")
    assert invoke("predict", project, "--samples", "64") == 1
    assert "FAILS: lasts" in capsys.readouterr().out


def test_without_a_target_there_are_percentiles_and_no_chance(
    tmp_path: Path, invoke: Invoke, capsys: pytest.CaptureFixture[str]
) -> None:
    project = pouch(tmp_path, target="", confidence="95 %")
    record = answer(invoke, capsys, "predict", project, "--samples", "64")
    assert record["passes"] is True and record["confidence_asked"] is None
    assert record["uncertainty"]["probability"] is None
    assert record["uncertainty"]["shelf_life_days"]["p50"] > 0.0
    assert any("needs a target" in text for text in record["warnings"])


def test_check_compares_at_the_confidence_asked_for(
    tmp_path: Path, invoke: Invoke, capsys: pytest.CaptureFixture[str]
) -> None:
    baseline, changed = pouch(tmp_path, "baseline.yaml", um=44), pouch(tmp_path, um=40)
    arguments = ("check", changed, "--against", baseline, "--samples", "256")
    record = answer(invoke, capsys, *arguments, "--confidence", "90 %")
    life, target = record["changed"]["shelf_life_days"], record["changed"]["target_days"]
    error = record["changed"]["uncertainty"]["probability_error"]
    assert record["passes"] is False and record["confidence_asked"] == pytest.approx(0.9)
    assert record["confidence"] == pytest.approx(chance(life, target), abs=4 * error + 0.004)
    assert record["at_least_as_long"] == 0.0  # the same numbers for both, and 10 % less wall
    assert record["shelf_life_days"]["p05"] < record["shelf_life_days"]["p50"] < life * 1.05
    before = record["baseline"]["uncertainty"]["shelf_life_days"]
    for key, value in record["shelf_life_days"].items():
        assert before[key] == pytest.approx(1.1 * value, rel=1e-3)
    # the wall at which a lognormal passes in 90 % of the samples: target / life * exp(z sigma)
    lightest = record["lightest_passing"]
    scale = target / life * math.exp(NORMAL.inv_cdf(0.9) * SIGMA)
    assert lightest["scale"] == pytest.approx(scale, rel=0.03)
    assert lightest["confidence"] == pytest.approx(0.9)
    assert 0.9 <= lightest["probability"] < 0.93
    assert abs(lightest["fresh_probability"] - 0.9) < 5 * lightest["fresh_probability_error"]
    (part,) = record["thickness"]
    assert (part["part"], part["baseline_um"], part["now_um"]) == ("panel", *map(pytest.approx, (44.0, 40.0)))
    assert part["change_pct"] == pytest.approx(100 * (40 / 44 - 1))


def test_check_says_by_its_status_whether_the_confidence_is_reached(
    tmp_path: Path, invoke: Invoke, capsys: pytest.CaptureFixture[str]
) -> None:
    changed = pouch(tmp_path)
    check = ("check", changed, "--against", pouch(tmp_path, "baseline.yaml"), "--samples", "64")
    assert invoke(*check) == 0
    assert invoke(*check, "--confidence", "60 %") == 0
    assert "Lightest that still passes at 60 %" in capsys.readouterr().out
    assert invoke(*check, "--confidence", "99 %") == 1


def test_check_takes_the_confidence_of_the_project(
    tmp_path: Path, invoke: Invoke, capsys: pytest.CaptureFixture[str]
) -> None:
    project = pouch(tmp_path, confidence="60 %", samples="64")
    record = answer(invoke, capsys, "check", project, "--against", pouch(tmp_path, "baseline.yaml"))
    assert record["confidence_asked"] == pytest.approx(0.6)
    assert record["changed"]["uncertainty"]["samples"] == 64
    assert record["lightest_passing"]["confidence"] == pytest.approx(0.6)


def test_check_without_samples_is_of_point_estimates(
    tmp_path: Path, invoke: Invoke, capsys: pytest.CaptureFixture[str]
) -> None:
    record = answer(invoke, capsys, "check", pouch(tmp_path), "--against", pouch(tmp_path, "b.yaml"))
    assert record["confidence"] is None and record["at_least_as_long"] is None
    assert record["shelf_life_days"]["p05"] is None
    assert record["shelf_life_days"]["p50"] == record["changed"]["shelf_life_days"]
    assert record["changed"]["uncertainty"] is None
    assert record["lightest_passing"]["confidence"] is None


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("--samples", "15"), "--samples: must lie from 16 to 1000000, not 15"),
        (("--samples", "1000001"), "--samples: must lie from 16 to 1000000, not 1000001"),
        (("--seed", "-1"), "--seed: must lie from 0 to 4294967295, not -1"),
        (("--samples", "0", "--seed", "-1"), "2 problems"),
        (("--samples", "many"), "--samples"),
    ],
    ids=str,
)
@pytest.mark.parametrize("command", ["predict", "check"])
def test_a_draw_that_cannot_be_is_refused(
    tmp_path: Path,
    invoke: Invoke,
    capsys: pytest.CaptureFixture[str],
    command: str,
    arguments: tuple[str, ...],
    said: str,
) -> None:
    project = pouch(tmp_path)
    against = ("--against", project) if command == "check" else ()
    assert invoke(command, project, *against, *arguments) == 2
    out, err = capsys.readouterr()
    assert out == "" and said in err and "Traceback" not in err


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("50 %", "above 50 % and below 100 %"),
        ("100 %", "above 50 % and below 100 %"),
        ("130 %", "above 50 % and below 100 %"),
        ("0.95", "write for example '95 %'"),
        ("high", "write for example '95 %'"),
        ("nan %", "write for example '95 %'"),
    ],
)
def test_a_confidence_that_cannot_be_is_refused(
    invoke: Invoke, answers: Answers, capsys: pytest.CaptureFixture[str], text: str, said: str
) -> None:
    answers(check=AssertionError("the work was done"))
    assert invoke("check", "p.yaml", "--against", "b.yaml", "--confidence", text) == 2
    assert said in " ".join(capsys.readouterr().err.split())


def test_a_confidence_needs_a_target(
    tmp_path: Path, invoke: Invoke, capsys: pytest.CaptureFixture[str]
) -> None:
    project = pouch(tmp_path, target="")
    assert invoke("check", project, "--against", project, "--confidence", "95 %") == 2
    err = capsys.readouterr().err
    assert "--confidence: needs a target shelf life (add target: {shelf_life: 9 months}" in err


@pytest.mark.parametrize("share", [0.5, 1.0, math.nan])
def test_python_refuses_what_the_command_refuses(tmp_path: Path, share: float) -> None:
    project = pouch(tmp_path)
    with pytest.raises(optimizer.errors.InputError, match="above 50 % and below 100 %"):
        optimizer.check(project, project, confidence=share)
    with pytest.raises(optimizer.errors.InputError, match="from 16 to 1000000"):
        optimizer.predict(project, samples=3)


def test_the_command_and_the_project_let_in_the_same_numbers() -> None:
    assert SAMPLES == ALLOWED
    assert LARGEST_SEED == 2**32 - 1


def test_samples_are_drawn_for_every_project_of_a_folder(tmp_path: Path, invoke: Invoke) -> None:
    pytest.importorskip("distributed")
    (tmp_path / "one.yaml").write_text(SLAB, encoding="utf-8")
    one, table = tmp_path / "one.yaml", tmp_path / "results"
    assert invoke(
        "predict", "--projects", str(tmp_path), "--samples", "64", "--seed", "3", "--workers", "1"
    ) in (0, 1)
    (kept,) = [json.loads(f.read_text()) for f in table.rglob("*.json")]
    alone = optimizer.predict(one, samples=64, seed=3).uncertainty
    assert alone is not None
    assert kept["uncertainty"]["probability"] == alone.probability


def test_the_options_reach_the_public_functions(
    invoke: Invoke, answers: Answers, monkeypatch: pytest.MonkeyPatch
) -> None:
    given: dict[str, Any] = {}

    def predict(project: object, **options: object) -> PredictResult:
        given.update(options)
        return PASSING

    def check(project: object, against: object, **options: object) -> CheckResult:
        given.update(options)
        return CHECKED

    answers()
    monkeypatch.setattr(optimizer, "predict", predict)
    monkeypatch.setattr(optimizer, "check", check)
    invoke("predict", "p.yaml", "--samples", "64", "--seed", "7")
    assert (given["samples"], given["seed"]) == (64, 7)
    invoke(
        "check", "p.yaml", "--against", "b.yaml", "--confidence", "97.5 %", "--samples", "32", "--seed", "8"
    )
    assert (given["samples"], given["seed"], given["confidence"]) == (32, 8, pytest.approx(0.975))


def test_progress_counts_the_samples(tmp_path: Path, invoke: Invoke, monkeypatch: pytest.MonkeyPatch) -> None:
    told: list[tuple[int, int, str]] = []
    monkeypatch.setattr(bar.Progress, "step", lambda self, *numbers: told.append(numbers))
    invoke("predict", pouch(tmp_path), "--samples", "64")
    # two inputs, the O2 permeability and the thickness: 64 samples, and 4 times 8 for the indices
    assert told[0][0] < 96 and all(total == 96 for _, total, _ in told)
    assert told[-1] == (96, 96, "96 of 96 samples simulated")


def test_samples_are_silent_on_standard_error_when_piped(
    tmp_path: Path, invoke: Invoke, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """As long as nobody has waited for two seconds: the clock stands still here."""
    monkeypatch.setattr(bar.time, "monotonic", lambda: 0.0)
    project = pouch(tmp_path)
    assert invoke("predict", project, "--samples", "64") == 0
    assert invoke("check", project, "--against", project, "--samples", "64", "--confidence", "60 %") == 0
    out, err = capsys.readouterr()
    assert err == "" and "samples pass" in out and "simulated" not in out


@pytest.mark.slow
def test_two_processes_give_the_same_answer(tmp_path: Path) -> None:
    project = pouch(tmp_path)
    one, two = (layerwright("predict", project, "--samples", "16", "--json", "-") for _ in range(2))
    assert one.returncode == 0 and one.stdout == two.stdout
    assert json.loads(one.stdout)["uncertainty"]["samples"] == 64  # the least that is drawn
