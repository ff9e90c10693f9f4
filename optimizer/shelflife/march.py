"""The steps of ``chain`` written out for the case met most: one sample, water that moves, one gas.

Same equations, same method, same control of the step as ``integrate`` with ``Chain``, with no list and few
calls between them: twice as fast. A test holds the two together on random packages.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from optimizer.errors import SolverError
from optimizer.shelflife.chain import DEFECT, WATER_DEFECT, Chain
from optimizer.shelflife.integrate import Step
from optimizer.shelflife.phi import phi_float, stages_float

Value = Any
State = list[Value]

_SIXTH, _TWENTY_FOURTH = 1.0 / 6.0, 1.0 / 24.0
_A3, _B3, _S2, _S3 = -250.0 / 81.0, 500.0 / 27.0, 27.0 / 25.0, 729.0 / 125.0


def fits(chain: Chain) -> bool:
    """Whether ``march`` may stand in for ``integrate``."""
    return chain.scalar and chain.moving and len(chain.gases) == 1 and chain.cells is not None


def march(
    chain: Chain, y: State, start: float, end: float, *, rtol: float, atol: State, first: float
) -> Iterator[Step]:
    """As ``integrate``. Names: w water, n gas, u used up; suffixes 2 and 3 the stages."""
    assert chain.cells is not None and chain.isotherm is not None
    known, fetch, low, inverse, count = chain.cells
    activity, slope, per_mole = chain.isotherm.activity, chain.isotherm.slope, chain.per_mole
    ((c, outside),) = chain.gases
    reacting, linear, most, half = chain.oxygen >= 0, chain.linear, chain.most, chain.half
    bends = most > 0.0
    most_half = most * half * c
    atol_w, atol_n = atol[0], atol[1]
    atol_u = atol[2] if reacting else 1.0
    top = count - 1
    t, remaining = start, end - start
    h = min(first, remaining)
    w, n = y[0], y[1]
    u = y[2] if reacting else 0.0
    state: State | None = None
    rates: State = []
    rejected = False
    r = use = r_new = use_new = g = s = f = jw = fn = jn = drift = 0.0
    w_new, n_new, u_new = w, n, u
    expected_w = expected_n = expected_u = weight_w = weight_n = v = 0.0
    while True:
        # rates at the new state, and the linear equation there
        a = activity(w_new * per_mole)
        x = (a - low) * inverse
        k = int(x) if 0.0 <= x < count else top if x > 0.0 else 0
        x -= k
        j0, j1, j2, j3, g0, g1, g2, g3 = known.get(k) or fetch(k)
        da = per_mole / slope(a)
        f_new = -(j0 + x * (j1 + x * (j2 + x * j3)))
        jw_new = -inverse * (j1 + x * (2.0 * j2 + x * (3.0 * j3))) * da
        g_new = g0 + x * (g1 + x * (g2 + x * g3))
        s_new = inverse * (g1 + x * (2.0 * g2 + x * (3.0 * g3))) * da
        p = n_new * c
        drive = outside - p
        fn_new = g_new * drive
        jn_new = -c * g_new
        drift_new = s_new * f_new * drive
        if reacting:
            use_new = linear
            r_new = linear * n_new
            if bends:
                root = abs(p) + half
                r_new += most * p / root
                use_new += most_half / (root * root)
            fn_new -= r_new
            jn_new -= use_new
        if state is not None:
            # judge the step that led here (amounts are not negative, beyond rounding)
            q = w if w > w_new else w_new
            size = abs(WATER_DEFECT * weight_w * (f_new - expected_w)) / (atol_w + rtol * q)
            q = n if n > n_new else n_new
            other = abs(DEFECT * weight_n * (fn_new - expected_n)) / (atol_n + rtol * q)
            if not other <= size:
                size = other
            if reacting:
                q = u if u > u_new else u_new
                other = abs(DEFECT * h * (r_new - expected_u)) / (atol_u + rtol * q)
                if not other <= size:
                    size = other
            if size <= 1.0:
                after = [w_new, n_new, u_new] if reacting else [w_new, n_new]
                rates_after = [f_new, fn_new, r_new] if reacting else [f_new, fn_new]
                yield Step(t, h, state, rates, after, rates_after, size, chain)
                if h == remaining:
                    return
                t += h
                state, rates = after, rates_after
                growth = 0.9 * size**-0.2 if size > 1e-5 else 8.0
                if growth > 8.0:
                    growth = 8.0
                if rejected and growth > 1.0:
                    growth = 1.0
                h *= growth
                rejected = False
                w, n, u = w_new, n_new, u_new
                f, jw, g, s, fn, jn, drift, r, use = (
                    f_new,
                    jw_new,
                    g_new,
                    s_new,
                    fn_new,
                    jn_new,
                    drift_new,
                    r_new,
                    use_new,
                )
            else:
                h *= max(0.1, 0.9 * size**-0.2) if size < 1e300 else 0.1
                rejected = True
                if not h > 1e-14 * max(abs(t), abs(end)):
                    raise SolverError(f"the integration got stuck at {t:.6g} s; please report this case")
        else:
            state, rates = y, [f_new, fn_new, r_new] if reacting else [f_new, fn_new]
            f, jw, g, s, fn, jn, drift, r, use = (
                f_new,
                jw_new,
                g_new,
                s_new,
                fn_new,
                jn_new,
                drift_new,
                r_new,
                use_new,
            )
        remaining = end - t
        if h >= 0.999 * remaining:
            h = remaining
        elif h > 0.5 * remaining:
            h = 0.5 * remaining
        # water
        z = h * jw
        p1, _, p3, p4, _ = phi_float(z)
        q1, _, q3, s1, _, s3 = stages_float(z)
        d = h * (0.5 * q1 * f)
        x = (activity((w + d) * per_mole) - low) * inverse
        k = int(x) if 0.0 <= x < count else top if x > 0.0 else 0
        x -= k
        j0, j1, j2, j3, g0, g1, g2, g3 = known.get(k) or fetch(k)
        e2 = -f - (j0 + x * (j1 + x * (j2 + x * j3))) - jw * d
        conductance2 = g0 + x * (g1 + x * (g2 + x * g3))
        lead = (_S2 * q3 + _S3 * s3) * e2
        d = h * (0.9 * s1 * f + lead)
        x = (activity((w + d) * per_mole) - low) * inverse
        k = int(x) if 0.0 <= x < count else top if x > 0.0 else 0
        x -= k
        j0, j1, j2, j3, g0, g1, g2, g3 = known.get(k) or fetch(k)
        e3 = -f - (j0 + x * (j1 + x * (j2 + x * j3))) - jw * d
        aa, b = 18.0 * e2 + _A3 * e3, _B3 * e3 - 60.0 * e2
        d = h * (p1 * f + p3 * aa + p4 * b)
        w_new = w + d
        expected_w = f + jw * d + 0.5 * aa + _SIXTH * b
        weight_w = h * p1
        rise2 = conductance2 - g + s * (h * q3 * (0.125 * aa + 0.015625 * b))
        rise3 = g0 + x * (g1 + x * (g2 + x * g3)) - g
        rise3 += s * (h * (s3 * (0.729 * aa + 0.164025 * b) - lead))
        # gas, and what is used up
        z = h * jn
        v = h * drift
        p1, p2, p3, p4, p5 = phi_float(z)
        q1, q2, q3, s1, s2, s3 = stages_float(z)
        d = h * (0.5 * q1 * fn + 0.25 * q2 * v)
        p = c * (n + d)
        e2 = rise2 * (outside - p) - 0.5 * v
        if bends:
            u2 = linear * (n + d) + most * p / (abs(p) + half) - r - use * d
            e2 -= u2
        d = h * (0.9 * s1 * fn + (_S2 * q3 + _S3 * s3) * e2 + 0.81 * s2 * v)
        p = c * (n + d)
        e3 = rise3 * (outside - p) - 0.9 * v
        if bends:
            u3 = linear * (n + d) + most * p / (abs(p) + half) - r - use * d
            e3 -= u3
        aa, b = 18.0 * e2 + _A3 * e3, _B3 * e3 - 60.0 * e2
        d = h * (p1 * fn + p2 * v + p3 * aa + p4 * b)
        n_new = n + d
        expected_n = fn + v + jn * d + 0.5 * aa + _SIXTH * b
        weight_n = h * p1
        if reacting:
            change = r + h * use * (p2 * fn + p3 * v + p4 * aa + p5 * b)
            expected_u = r + use * d
            if bends:
                aa, b = 18.0 * u2 + _A3 * u3, _B3 * u3 - 60.0 * u2
                change += _SIXTH * aa + _TWENTY_FOURTH * b
                expected_u += 0.5 * aa + _SIXTH * b
            u_new = u + h * change
