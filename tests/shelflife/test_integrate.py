"""The integrator against problems with known solutions."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from optimizer.errors import SolverError
from optimizer.shelflife.integrate import State, advance, integrate


class Scalar:
    """y' = -y^2 (solution y0 / (1 + y0 t)) or y' = lam y."""

    def __init__(self, f: Callable[..., object], df: Callable[..., object]) -> None:
        self.f, self.df = f, df

    def rhs(self, y: State) -> State:
        return [self.f(y[0])]

    def factor(self, y: State, d: object) -> Callable[[State], State]:
        pivot = d - self.df(y[0])  # type: ignore[operator]
        return lambda b: [b[0] / pivot]


class Robertson:
    """Robertson's chemical kinetics (Hairer and Wanner, vol. II, eq. IV.1.4)."""

    def rhs(self, y: State) -> State:
        a, b, c = y
        return [-0.04 * a + 1e4 * b * c, 0.04 * a - 1e4 * b * c - 3e7 * b * b, 3e7 * b * b]

    def factor(self, y: State, d: float) -> Callable[[State], State]:
        _, b, c = y
        jac = np.array([[-0.04, 1e4 * c, 1e4 * b], [0.04, -1e4 * c - 6e7 * b, -1e4 * b], [0.0, 6e7 * b, 0.0]])
        matrix = d * np.eye(3) - jac
        return lambda r: np.linalg.solve(matrix, np.array(r)).tolist()  # type: ignore[no-any-return]


def fixed_steps(system: Scalar, y0: float, end: float, n: int) -> float:
    y: State = [y0]
    for _ in range(n):
        y, _ = advance(system, y, system.rhs(y), end / n)
    return float(y[0])


def test_halving_the_step_divides_the_error_by_sixteen() -> None:
    square = Scalar(lambda y: -y * y, lambda y: -2 * y)
    errors = [abs(fixed_steps(square, 1.0, 2.0, n) - 1 / 3) for n in (8, 16, 32, 64)]
    orders = [math.log2(a / b) for a, b in zip(errors, errors[1:], strict=False)]
    assert orders[-1] == pytest.approx(4.0, abs=0.15)


def test_error_estimate_is_of_third_order() -> None:
    square = Scalar(lambda y: -y * y, lambda y: -2 * y)
    size = [abs(advance(square, [1.0], square.rhs([1.0]), h)[1][0]) for h in (0.02, 0.01)]
    assert math.log2(size[0] / size[1]) == pytest.approx(4.0, abs=0.1)


def test_a_very_stiff_component_is_damped_in_one_step() -> None:
    # L-stability: R(infinity) = 0 (Hairer and Wanner, section IV.3)
    decay = Scalar(lambda y: -1e12 * y, lambda y: -1e12)
    y, _ = advance(decay, [1.0], [-1e12], 1.0)
    assert abs(y[0]) < 1e-9


def test_robertson_agrees_with_radau_of_scipy() -> None:
    *_, last = integrate(
        Robertson(), [1.0, 0.0, 0.0], 0.0, 1e4, rtol=1e-8, atol=[1e-10, 1e-14, 1e-10], first=1e-4
    )
    reference = solve_ivp(
        lambda t, y: Robertson().rhs(list(y)), (0, 1e4), [1.0, 0, 0], method="Radau", rtol=1e-10, atol=1e-14
    ).y[:, -1]
    assert last.after == pytest.approx(reference, rel=2e-7)


def test_batch_of_floats_gives_the_same_as_one_by_one() -> None:
    square = Scalar(lambda y: -y * y, lambda y: -2 * y)
    start = np.array([0.5, 1.0, 4.0])
    *_, last = integrate(square, [start], 0.0, 3.0, rtol=1e-9, atol=[1e-12], first=0.1)
    assert last.after[0] == pytest.approx(start / (1 + 3 * start), rel=1e-8)


def test_steps_join_and_end_exactly() -> None:
    square = Scalar(lambda y: -y * y, lambda y: -2 * y)
    steps = list(integrate(square, [1.0], 1.0, 7.3, rtol=1e-6, atol=[1e-9], first=0.01))
    assert steps[0].start == 1.0
    assert steps[-1].start + steps[-1].width == pytest.approx(7.3, rel=1e-14)
    for a, b in zip(steps, steps[1:], strict=False):
        assert a.start + a.width == b.start
        assert a.after == b.before


def test_dense_output_meets_the_ends_and_the_solution_between() -> None:
    square = Scalar(lambda y: -y * y, lambda y: -2 * y)
    for step in integrate(square, [1.0], 0.0, 2.0, rtol=1e-9, atol=[1e-12], first=0.01):
        assert step.at(0.0) == pytest.approx(step.before)
        assert step.at(1.0) == pytest.approx(step.after)
        t = step.start + 0.5 * step.width
        assert step.at(0.5)[0] == pytest.approx(1 / (1 + t), rel=1e-6)


def test_a_right_hand_side_that_is_no_number_is_reported() -> None:
    broken = Scalar(lambda y: float("nan"), lambda y: 0.0)
    with pytest.raises(SolverError, match="stuck"):
        list(integrate(broken, [1.0], 0.0, 1.0, rtol=1e-6, atol=[1e-9], first=0.1))
