"""Unsteady diffusion through the walls of a package, coupled to what is inside (docs/method.md, 17 to 19).

Each layer is a Legendre-Gauss-Lobatto element, each wall (at each of its thicknesses) a column of elements
between the inside and the outside. What is conserved is an amount of substance; pressures and activities
follow.
"""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress

from numpy.typing import ArrayLike

from optimizer.shelflife.package import Case
from optimizer.shelflife.simulate import Trajectory


def simulate_walls(
    case: Case,
    *,
    until: float | None = None,
    extremes_until: float | None = None,
    sample_times: ArrayLike | None = None,
    say: Callable[[str], None] | None = None,
) -> Trajectory:
    """As ``simulate.simulate``, with the walls in transient: by the compiled march where there are many
    segments and numba is installed, else in numpy. say: told before a long wait."""
    from optimizer.shelflife.transient import run, single
    from optimizer.shelflife.transient.compiled import CannotCompile

    many = single.has_many_segments(case, until)
    if many and single.can_be_compiled(case):
        with suppress(CannotCompile):
            return single.by_compiled_march(case, until, extremes_until, sample_times, say)
    if many and say is not None:
        say("following the walls hour by hour, without the compiled march: this takes a minute or less")
    return run.simulate_walls(case, until=until, extremes_until=extremes_until, sample_times=sample_times)
