"""The results made by hand for the report's tests, loaded by path: tests/ itself need not be a package."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path

_spec = importlib.util.spec_from_file_location(
    "results_by_hand", Path(__file__).parents[1] / "report/samples.py"
)
assert _spec is not None and _spec.loader is not None
_module = importlib.util.module_from_spec(_spec)
sys.modules[_spec.name] = _module
_spec.loader.exec_module(_module)

PASSING, FAILING = _module.PASSING, _module.FAILING
DESIGNED, INFEASIBLE, OUT_OF_TIME = _module.DESIGNED, _module.INFEASIBLE, _module.OUT_OF_TIME
CHECKED = _module.CHECKED
