"""Which layers and how thick, at the least cost, mass or thickness, with a proof.

The folder carries the name of the public function ``optimizer.design``, and importing it binds that name to
this module: so the module itself can be called, and ``from optimizer import design`` works either way.
"""

from __future__ import annotations

import sys
from types import ModuleType
from typing import Any


class _Called(ModuleType):
    def __call__(self, *project: Any, **options: Any) -> Any:
        """The same as ``optimizer.solve_design``; the package that it stands in is loaded before this is."""
        return sys.modules["optimizer"].solve_design(*project, **options)


sys.modules[__name__].__class__ = _Called
