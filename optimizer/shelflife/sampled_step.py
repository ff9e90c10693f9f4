"""The method both ways of simulating a batch share: ROS34PW2, and the search for an excess of zero.

A Rosenbrock W-method of order 3 with an embedded solution of order 2, four stages, stiffly accurate and
L-stable; its order does not depend on an exact Jacobian.
Source: Rang and Angermann, BIT Numerical Mathematics 45 (2005) 761, table of ROS34PW2.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

GAMMA = 4.3586652150845900e-01
_ALPHA = np.array(
    [
        [0.0, 0.0, 0.0, 0.0],
        [8.7173304301691801e-01, 0.0, 0.0, 0.0],
        [8.4457060015369423e-01, -1.1299064236484185e-01, 0.0, 0.0],
        [0.0, 0.0, 1.0, 0.0],
    ]
)
_GAMMAS = np.array(
    [
        [GAMMA, 0.0, 0.0, 0.0],
        [-8.7173304301691801e-01, GAMMA, 0.0, 0.0],
        [-9.0338057013044082e-01, 5.4180672388095326e-02, GAMMA, 0.0],
        [2.4212380706095346e-01, -1.2232505839045147e00, 5.4526025533510214e-01, GAMMA],
    ]
)
_B = np.array([2.4212380706095346e-01, -1.2232505839045147e00, 1.5452602553351020e00, 4.3586652150845900e-01])
_LOWER = np.array(
    [3.7810903145819369e-01, -9.6042292212423178e-02, 5.0000000000000000e-01, 2.1793326075422950e-01]
)
_INVERSE = np.linalg.inv(_GAMMAS)

#: For U = GAMMAS k: stage i solves (I - h g J) U_i = h g f(y + sum A_ij U_j) + sum C_ij U_j; the step is
#: sum M_j U_j, its error sum E_j U_j.
A: Array = _ALPHA @ _INVERSE
C: Array = np.eye(4) - GAMMA * _INVERSE
M: Array = _B @ _INVERSE
E: Array = (_B - _LOWER) @ _INVERSE
#: Local error allowed by default, relative to the state. Of ten thousand coupled samples 99 in 100 cross
#: their limits within a tenth of it, and the worst (that barely touches its limit) within about it.
TOLERANCE = 1e-3
#: Floor of the error scale, as a share of the typical size of a component.
FLOOR = 0.1
#: Growth and decrease of the step.
SAFETY, MOST, LEAST = 0.85, 6.0, 0.15
#: First step, as a share of the first row of time.
FIRST = 0.02
#: Changes below this share of the limit are taken as rounding when a turning point is looked for.
FLAT = 1e-9
