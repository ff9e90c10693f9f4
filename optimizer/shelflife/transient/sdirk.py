"""SDIRK4(3): five stages, order 4, L-stable, stiffly accurate, embedded order 3.

Source: Hairer and Wanner, Solving Ordinary Differential Equations II, 2nd ed. (1996), section IV.6, table
6.5.
"""

from __future__ import annotations

#: Share of a step that each stage treats implicitly.
GAMMA = 0.25
#: Weights of earlier stages' rates in each stage.
A = (
    (),
    (1.0 / 2.0,),
    (17.0 / 50.0, -1.0 / 25.0),
    (371.0 / 1360.0, -137.0 / 2720.0, 15.0 / 544.0),
    (25.0 / 24.0, -49.0 / 48.0, 125.0 / 16.0, -85.0 / 12.0),
)
#: Times of the stages.
C = (1.0 / 4.0, 3.0 / 4.0, 11.0 / 20.0, 1.0 / 2.0, 1.0)
#: Weights of the step are those of the last stage; the embedded solution's:
EMBEDDED = (59.0 / 48.0, -17.0 / 96.0, 225.0 / 32.0, -85.0 / 12.0, 0.0)
#: Their difference, which gives the error.
ERROR = tuple(b - e for b, e in zip((*A[4], GAMMA), EMBEDDED, strict=True))
