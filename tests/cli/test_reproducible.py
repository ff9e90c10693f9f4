"""The same project gives the same answer, byte for byte."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

import optimizer
from optimizer.report.record import to_json

PROJECT = Path(__file__).parents[2] / "examples" / "sparkling_bottle" / "project.yaml"


@pytest.mark.slow
def test_two_designs_of_one_project_differ_only_in_the_seconds_they_took() -> None:
    texts = [to_json(optimizer.solve_design(PROJECT)) for _ in range(2)]
    solvers = [json.loads(text)["solver"] for text in texts]
    assert list(solvers[0])[-1] == "seconds"
    same = [
        text.replace(f'"seconds": {json.dumps(solver["seconds"])}', '"seconds": 0')
        for text, solver in zip(texts, solvers, strict=True)
    ]
    assert all('"seconds": 0\n' in text for text in same)
    assert same[0] == same[1]
