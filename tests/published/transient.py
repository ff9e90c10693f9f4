"""Walls in transient against six-digit values of closed forms (Crank, The Mathematics of Diffusion)."""

from __future__ import annotations

from collections.abc import Callable

from transient.slabs import bathed, emptied, filled, lane_of, reacting

from published.registry import CHECKS, Check

CRANK = (
    "Crank, The Mathematics of Diffusion: series summed apart from this code, checked by a Laplace inversion"
)


def _note(
    name: str, what: str, value: float, tolerance: float, compute: Callable[[], float], source: str = CRANK
) -> None:
    CHECKS.append(
        Check(name, "Walls in transient", what, source, value, "-", tolerance, False, "worked out", compute)
    )


def _lag(stored: float) -> float:
    late = 20.0
    return late - emptied(lane_of((1.0, 1.0, 1.0)), stored, late)


def _laminate_lag() -> float:
    late = 60.0
    return late - emptied(lane_of((1.0, 1.0, 1.0), (0.5, 0.1, 2.0)), 0.0, late) / (1 / 3.5)


_note(
    "transient-laminate-lag",
    "Time lag of two layers (l, D, S) = (1, 1, 1) and (0.5, 0.1, 2)",
    1.05952381,
    5e-9,
    _laminate_lag,
    "Result of Ash, Barrer and Palmer, by the weighted-integral method",
)
_note(
    "transient-air-film",
    "Lag of a film stored in air, tested with pure oxygen, over l^2/D",
    0.0616667,
    5e-8,
    lambda: _lag(0.21),
)
for _h, _values in {
    0.01: (0.0082730, 0.0470323, 0.1793640),
    0.1: (0.0776114, 0.3736233, 0.8532627),
    1.0: (0.4661406, 0.9723552, 0.9999996),
}.items():
    for _tau, _value in zip((1.0, 5.0, 20.0), _values, strict=True):
        _note(
            f"transient-vessel-{_h}-{_tau}",
            f"Pressure in a vessel behind a slab of {_h:g} of its capacity, at D t/l^2 = {_tau:g}",
            _value,
            1e-7,
            lambda tau=_tau, h=_h: float(filled([tau], h, 8)[0]),
        )
for _alpha, _value in {0.25: 0.899078, 1.0: 0.711629, 4.0: 0.572552}.items():
    _note(
        f"transient-bath-{_alpha}",
        f"Uptake of a sheet from a bath of {_alpha:g} times its capacity, of the final one, at D t/l^2 = 0.2",
        _value,
        1e-6,
        lambda alpha=_alpha: float(bathed([0.2], alpha)[0]),
    )
for _phi, _passed, _uptake in ((1.0, 0.850918, 1.313035), (3.0, 0.299465, 3.014909)):
    _note(
        f"transient-film-{_phi}",
        f"Share that passes a film with first-order use, l sqrt(k/D) = {_phi:g}",
        _passed,
        6e-7,
        lambda phi=_phi: reacting(phi)[0],
        "phi / sinh phi, checked by collocation",
    )
    _note(
        f"transient-uptake-{_phi}",
        f"Flux into that film at its face, over that without use, l sqrt(k/D) = {_phi:g}",
        _uptake,
        6e-7,
        lambda phi=_phi: reacting(phi)[1],
        "phi / tanh phi, checked by collocation",
    )
