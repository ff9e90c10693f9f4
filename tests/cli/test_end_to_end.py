"""The command as users run it, on project files: in its own process, or where that is not the point through
the same entry in this one, which saves its start."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

import optimizer
from optimizer.__main__ import main

from .projects import write

ROOT = Path(__file__).parents[2]
Run = Callable[..., "subprocess.CompletedProcess[str]"]


def layerwright(*arguments: str) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-W", "error", "-m", "optimizer", *arguments]
    return subprocess.run(command, cwd=ROOT, capture_output=True, text=True, encoding="utf-8", timeout=120)


@pytest.fixture
def here(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Run:
    """As ``layerwright``, in this process."""

    def run(*arguments: str) -> subprocess.CompletedProcess[str]:
        monkeypatch.setattr(sys, "argv", ["layerwright", *arguments])
        with pytest.raises(SystemExit) as stop:
            main()
        assert isinstance(stop.value.code, int)
        return subprocess.CompletedProcess(arguments, stop.value.code, *capsys.readouterr())

    return run


def test_predict_answers_in_text_and_json(tmp_path: Path, here: Run) -> None:
    project = write(tmp_path, "pouch.yaml")
    target = tmp_path / "answer.json"
    done = layerwright("predict", project, "--json", str(target))
    assert (done.returncode, done.stderr) == (0, "")
    assert "PASSES" in done.stdout
    assert max(len(line) for line in done.stdout.splitlines()) <= 80
    record = json.loads(target.read_text(encoding="utf-8"))
    assert record["version"] == optimizer.__version__
    assert len(record["inputs_sha256"]) == 64
    (film,) = [f for f in record["film_transmission"] if f["gas"] == "O2"]
    assert film["value"] == pytest.approx(1.0, rel=1e-6)  # 40 um of 40 cm3 um/(m2 day atm)
    assert here("predict", project, "--json", "-").stdout == target.read_text(encoding="utf-8")


def test_predict_fails_the_package_that_a_specification_refuses(tmp_path: Path, here: Run) -> None:
    done = here("predict", write(tmp_path, "thin.yaml", thickness="19 um"))
    assert done.returncode == 1
    assert "FAILS" in done.stdout and "Not met: transmission O2 of film." in " ".join(done.stdout.split())


def test_input_problems_are_listed_without_traceback(tmp_path: Path) -> None:
    done = layerwright("predict", write(tmp_path, "odd.yaml", thickness="40", maximum="2 furlong"))
    assert done.returncode == 2
    assert done.stdout == ""
    head, *rest = done.stderr.splitlines()
    assert head.startswith("2 problems in ") and head.endswith("odd.yaml:")
    assert len(rest) == 2
    assert all("odd.yaml:" in line for line in rest)
    assert "Traceback" not in done.stderr


def test_a_missing_project_is_wrong_input(tmp_path: Path, here: Run) -> None:
    done = here("predict", str(tmp_path / "none.yaml"))
    assert done.returncode == 2
    assert "none.yaml" in done.stderr and "Traceback" not in done.stderr


def test_design_needs_a_design_section(tmp_path: Path, here: Run) -> None:
    done = here("design", write(tmp_path, "pouch.yaml"))
    assert done.returncode == 2
    assert "no design section" in done.stderr


@pytest.mark.slow
def test_design_finds_the_thinnest_slab_in_closed_form(tmp_path: Path, here: Run) -> None:
    project = Path(write(tmp_path, "pouch.yaml"))
    rules = "design: {walls: [film], minimise: cost, choose_from: [slab]}\n"
    project.write_text(project.read_text(encoding="utf-8") + rules, encoding="utf-8")
    done = here("design", str(project), "--time-limit", "5 min", "--json", "-")
    assert done.returncode == 0, done.stderr
    record = json.loads(done.stdout)
    # 40/l <= 2 needs l = 20 um, so 400 cm2 x 20 um x 1000 kg/m3 x 2 EUR/kg = 0.0016 EUR
    assert record["status"] == "optimal"
    (layer,) = record["structure"]["film"]
    assert layer["thickness_um"] == pytest.approx(20.0, rel=1e-3)
    assert layer["mass_g"] == pytest.approx(0.8, rel=1e-3)
    assert record["objective"] == pytest.approx(0.0016, rel=1e-3)
    assert record["lower_bound"] <= 0.0016 * (1 + 1e-9)
    assert record["passes"] is True


@pytest.mark.slow
def test_design_that_cannot_be_ends_with_one_and_says_why(tmp_path: Path, here: Run) -> None:
    project = Path(write(tmp_path, "pouch.yaml"))
    rules = (
        "design:\n  walls: [film]\n  minimise: cost\n  choose_from: [slab]\n"
        "  rules: {total_thickness: {max: 15 um}}\n"
    )
    project.write_text(project.read_text(encoding="utf-8") + rules, encoding="utf-8")
    done = here("design", str(project), "--time-limit", "5 min")
    assert done.returncode == 1, done.stderr
    assert "INFEASIBLE" in done.stdout and "15 um" in done.stdout


def test_check_finds_the_lightest_that_passes_in_closed_form(tmp_path: Path, here: Run) -> None:
    baseline = write(tmp_path, "baseline.yaml")
    changed = write(tmp_path, "changed.yaml", thickness="30 um")
    done = here("check", changed, "--against", baseline, "--json", "-")
    assert done.returncode == 0, done.stderr
    record = json.loads(done.stdout)
    # 40/l <= 2 needs l = 20 um: 2/3 of the changed 30 um; mass 400 cm2 x 20 um x 1000 kg/m3 = 0.8 g
    lightest = record["lightest_passing"]
    assert 2 / 3 <= lightest["scale"] <= 2 / 3 * 1.0011
    (layer,) = lightest["walls"]["film"]
    assert 20.0 <= layer["thickness_um"] <= 20.03
    assert lightest["mass_g"] == pytest.approx(0.8, rel=1.2e-3)
    assert lightest["cost_per_package"] == pytest.approx(0.0016, rel=1.2e-3)
    assert [c["what"] for c in record["changes"]][:2] == ["wall film, layer 1 slab", "wall film, total"]
    assert record["confidence"] is None
    assert set(record["shelf_life_days"]) == {"p05", "p50", "p95"}


def test_check_makes_a_failing_package_thicker_until_it_passes(tmp_path: Path) -> None:
    changed = write(tmp_path, "changed.yaml", thickness="15 um")
    result = optimizer.check(changed, write(tmp_path, "baseline.yaml"))
    assert not result.passes
    assert result.lightest_passing is not None
    assert 20 / 15 <= result.lightest_passing["scale"] <= 20 / 15 * 1.0011
    assert result.baseline.passes


def test_check_reports_the_problems_of_both_files(tmp_path: Path, here: Run) -> None:
    changed = write(tmp_path, "changed.yaml", thickness="30")
    baseline = write(tmp_path, "baseline.yaml", thickness="40")
    done = here("check", changed, "--against", baseline)
    assert done.returncode == 2
    assert done.stderr.startswith("2 problems in ")
    assert "changed.yaml:" in done.stderr and "baseline.yaml:" in done.stderr


def test_text_outside_ascii_survives_a_plain_locale(tmp_path: Path) -> None:
    import os

    project = write(tmp_path, "pouch.yaml", title="Tütensuppe, süß (erfunden)")
    environment = {**os.environ, "LC_ALL": "C", "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0"}
    done = subprocess.run(
        [sys.executable, "-m", "optimizer", "predict", project],
        cwd=ROOT,
        capture_output=True,
        env=environment,
        timeout=120,
    )
    assert done.returncode == 0, done.stderr
    assert done.stdout.decode("utf-8").startswith("Tütensuppe, süß (erfunden)\n")


def test_lint_reads_the_tables_of_a_project(tmp_path: Path, here: Run) -> None:
    done = here("materials", "lint", write(tmp_path, "pouch.yaml"))
    assert done.returncode == 0, done.stdout + done.stderr


def test_materials_of_a_project_are_shown(tmp_path: Path, here: Run) -> None:
    done = here("materials", "show", "slab", "--project", write(tmp_path, "pouch.yaml"))
    assert done.returncode == 0, done.stderr
    assert "slab, family PE" in done.stdout and "given by the user" in done.stdout
