"""The march of ``march`` and ``segment`` compiled: one sample after the other, samples in parallel.

Rigid packages without creep and without layers that use a gas up. The answer of a sample depends on that sample
alone, so that it is the same for any number of threads.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit, prange

from optimizer.shelflife.transient.kernel_data import Work
from optimizer.shelflife.transient.kernel_parts import (
    GAS_CONSTANT,
    OPTIONS,
    activity_of,
    compiled,
    condense,
    element,
    element_of_points,
    factor,
    hermite,
    hermite_root,
    hold,
    pick,
    potential,
    respond,
    saturating,
)
from optimizer.shelflife.transient.sdirk import A as _A
from optimizer.shelflife.transient.sdirk import C as _C
from optimizer.shelflife.transient.sdirk import ERROR as _ERROR

A = np.zeros((5, 5))
for _i, _row in enumerate(_A):
    A[_i, : len(_row)] = _row
C = np.array(_C)
ERROR = np.array(_ERROR)
GAMMA = 0.25
SETTLING = 1.0
BLOCKED = 1e36


@compiled
def prepare(b, s, layout, laws, climate, work):
    """Storage and conduction of every layer in segment s."""
    t = pick(climate.temperature, s, b)
    psat = pick(climate.saturation, s, b)
    for c in range(layout.first.shape[0] - 1):
        area = pick(layout.areas, c, b)
        for e in range(layout.first[c], layout.first[c + 1]):
            length = pick(layout.lengths, e, b)
            m = layout.material[e]
            half = 0.5 * area * length
            if layout.wet:
                law = laws.water[m]
                kappa = psat * factor(law[0], t, law[1]) * pick(laws.water_factor, m, b)
                work.wet_conduction[e] = 2.0 * area * kappa / length
                if law[2] > 0.0:
                    d = law[2] * factor(law[3], t, law[4]) * pick(laws.water_speed, m, b)
                    work.wet_stored[e] = half * kappa / d
                    work.wet_keeps[e] = 1
                else:
                    work.wet_stored[e] = half * kappa * SETTLING / (length * length)
                    work.wet_keeps[e] = 0
            for g in range(laws.gas.shape[0]):
                law = laws.gas[g, m]
                p = law[0] * factor(law[1], t, law[2]) if law[0] > 0.0 else 1.0 / BLOCKED
                p *= pick(laws.gas_factor[g], m, b)
                work.conduction[g, e] = 2.0 * area * p / length
                if law[3] > 0.0:
                    d = law[3] * factor(law[4], t, law[5]) * pick(laws.gas_speed[g], m, b)
                    work.stored[g, e] = half * p / d
                    work.keeps[g, e] = 1
                else:
                    work.stored[g, e] = half * p * SETTLING / (length * length)
                    work.keeps[g, e] = 0


@compiled
def factor_step(share, layout, laws, work):
    """Matrices of a step without their inner nodes, where nothing changes from stage to stage."""
    for e in range(layout.nodes.shape[0]):
        n = layout.nodes[e]
        w, k = layout.weights[n - 1], layout.conduct[n - 1]
        if layout.wet:
            element(work.wet_stored[e], work.wet_conduction[e], share, w, k, n, work.matrix)
            condense(work.matrix, n, work.wet_faces[e], work.wet_pull[e], work.wet_inverse[e])
        for g in range(work.faces.shape[0]):
            if laws.table[g, layout.material[e]] < 0:
                element(work.stored[g, e], work.conduction[g, e], share, w, k, n, work.matrix)
                condense(work.matrix, n, work.faces[g, e], work.pull[g, e], work.inverse[g, e])


@compiled
def wet_stage(b, i, s, share, activity, layout, laws, climate, contents, work):
    """Activities and rates of stage i; returns that inside. work.joints holds the activities at the joints."""
    hist, heads, joints = work.wet_hist, work.heads[0], work.joints
    columns = layout.first.shape[0] - 1
    outside = pick(climate.humidity, s, b)
    leak = pick(climate.leak, s, b) * pick(climate.saturation, s, b)
    for e in range(layout.nodes.shape[0]):
        at = layout.at[e]
        a0 = 0.0
        a1 = 0.0
        for j in range(layout.nodes[e] - 2):
            a0 -= work.wet_pull[e, 0, j] * hist[at + j]
            a1 -= work.wet_pull[e, 1, j] * hist[at + j]
        heads[e, 0], heads[e, 1] = a0, a1
    scale = pick(contents.hold, 0, b)
    alpha, beta = work.alpha[0], work.beta[0]
    for _ in range(40):
        residual, slope = 0.0, 1.0
        if contents.moving:
            held, slope = hold(contents.content, contents.steep, contents.low, contents.inverse, scale, activity)
            residual = held + share * leak * (activity - outside) - work.total_hist[0]
            slope += share * leak
        for c in range(columns):
            first, last = layout.first[c], layout.first[c + 1]
            joints[first + c], joints[last + c] = activity, outside
            m = layout.material[last - 1]
            u1, s1 = potential(laws.knots[m], laws.slopes[m], laws.levels[m], int(laws.water[m, 5]), outside)
            al, be = 0.0, 0.0
            for e in range(last - 1, first - 1, -1):
                m = layout.material[e]
                u0, s0 = potential(
                    laws.knots[m], laws.slopes[m], laws.levels[m], int(laws.water[m, 5]), joints[e + c]
                )
                f = work.wet_faces[e]
                if e == first:
                    residual += f[0] * u0 + f[1] * u1 - heads[e, 0] + f[1] * s1 * al
                    slope += f[0] * s0 + f[1] * s1 * be
                else:
                    m = layout.material[e - 1]
                    count = int(laws.water[m, 5])
                    v0, t0 = potential(laws.knots[m], laws.slopes[m], laws.levels[m], count, joints[e - 1 + c])
                    v1, t1 = potential(laws.knots[m], laws.slopes[m], laws.levels[m], count, joints[e + c])
                    o = work.wet_faces[e - 1]
                    rhs = hist[layout.at[e] - 1] + heads[e, 0] + heads[e - 1, 1]
                    r = f[0] * u0 + f[1] * u1 + o[1] * v0 + o[2] * v1 - rhs
                    pivot = 1.0 / (f[0] * s0 + o[2] * t1 + f[1] * s1 * be)
                    al = (-r - f[1] * s1 * al) * pivot
                    be = -o[1] * t0 * pivot
                    alpha[e + c], beta[e + c] = al, be
                    u1, s1 = v1, t1
        step = 0.0
        if contents.moving:
            step = min(max(-residual / slope, -0.2), 0.2)
        most = abs(step)
        for c in range(columns):
            d = step
            for e in range(layout.first[c] + 1, layout.first[c + 1]):
                d = alpha[e + c] + beta[e + c] * d
                joints[e + c] += d
                most += abs(d)
        activity += step
        if most < 1e-11:
            break
    inner = leak * (activity - outside)
    for c in range(columns):
        first, last = layout.first[c], layout.first[c + 1]
        joints[first + c] = activity
        carried = 0.0
        for e in range(first, last):
            n, m, at = layout.nodes[e], layout.material[e], layout.at[e]
            count = int(laws.water[m, 5])
            u0, _ = potential(laws.knots[m], laws.slopes[m], laws.levels[m], count, joints[e + c])
            u1, _ = potential(laws.knots[m], laws.slopes[m], laws.levels[m], count, joints[e + c + 1])
            stored, w, f = work.wet_stored[e], layout.weights[n - 1], work.wet_faces[e]
            out0 = (f[0] * u0 + f[1] * u1 - heads[e, 0] - stored * w[0] * u0) / share
            out1 = (f[1] * u0 + f[2] * u1 - heads[e, 1] - stored * w[n - 1] * u1) / share
            work.activity[e, 0], work.activity[e, n - 1] = joints[e + c], joints[e + c + 1]
            for j in range(n - 2):
                u = -work.wet_pull[e, 0, j] * u0 - work.wet_pull[e, 1, j] * u1
                for k in range(n - 2):
                    u += work.wet_inverse[e, j, k] * hist[at + k]
                work.wet_rates[i, at + j] = (stored * w[j + 1] * u - hist[at + j]) / share
                work.activity[e, j + 1] = activity_of(laws.knots[m], laws.slopes[m], laws.levels[m], count, u)
            if e == first:
                inner += out0
            else:
                work.wet_rates[i, at - 1] = -(carried + out0)
            carried = out1
    work.total_rates[i, 0] = -inner
    return activity


@compiled
def gas_stage(b, i, g, s, share, layout, laws, climate, contents, work):
    """Rates of stage i of one gas; returns its pressure inside."""
    hist, heads, alpha, beta = work.dry_hist[g], work.heads[g], work.alpha[g], work.beta[g]
    columns = layout.first.shape[0] - 1
    outside = pick(climate.outside[g], s, b)
    through = pick(climate.conductance[g], s, b)
    q = work.total_hist[1 + g] + share * through * outside
    slack = share * through
    for c in range(columns):
        first, last = layout.first[c], layout.first[c + 1]
        al, be = outside, 0.0
        for e in range(last - 1, first - 1, -1):
            n, at, m = layout.nodes[e], layout.at[e], layout.material[e]
            table = laws.table[g, m]
            if table >= 0:
                for j in range(n):
                    work.row[j] = work.conduction[g, e] * respond(laws.responses[table], work.activity[e, j])
                w, points = layout.weights[n - 1], layout.points[n - 1]
                element_of_points(work.stored[g, e], work.row, share, w, points, n, work.matrix)
                condense(work.matrix, n, work.faces[g, e], work.pull[g, e], work.inverse[g, e])
            a0 = 0.0
            a1 = 0.0
            for j in range(n - 2):
                a0 -= work.pull[g, e, 0, j] * hist[at + j]
                a1 -= work.pull[g, e, 1, j] * hist[at + j]
            heads[e, 0], heads[e, 1] = a0, a1
            f = work.faces[g, e]
            if e < last - 1:
                # the joint outside this layer
                o = work.faces[g, e + 1]
                pivot = 1.0 / (o[0] + f[2] + o[1] * be)
                rhs = hist[at + n - 2] + heads[e + 1, 0] + a1
                al = (rhs - o[1] * al) * pivot
                be = -f[1] * pivot
                alpha[e + 1 + c], beta[e + 1 + c] = al, be
            if e == first:
                slack += f[0] + f[1] * be
                q += a0 - f[1] * al
    own = contents.volume / (GAS_CONSTANT * pick(climate.temperature, s, b)) + pick(climate.dissolving[g], s, b)
    used = 0.0
    if g == contents.oxygen:
        linear = pick(climate.linear, s, b) + pick(climate.amount, s, b) * own
        most = pick(climate.most, s, b)
        p = saturating(own + slack + share * linear, share * most, contents.half, q)
        used = linear * p + most * p / (abs(p) + contents.half)
        work.total_rates[i, work.total_rates.shape[1] - 1] = used
    else:
        p = q / (own + slack)
    inner = through * (p - outside) + used
    for c in range(columns):
        first, last = layout.first[c], layout.first[c + 1]
        u0, carried = p, 0.0
        for e in range(first, last):
            n, at = layout.nodes[e], layout.at[e]
            u1 = outside if e == last - 1 else alpha[e + 1 + c] + beta[e + 1 + c] * u0
            stored, w, f = work.stored[g, e], layout.weights[n - 1], work.faces[g, e]
            out0 = (f[0] * u0 + f[1] * u1 - heads[e, 0] - stored * w[0] * u0) / share
            out1 = (f[1] * u0 + f[2] * u1 - heads[e, 1] - stored * w[n - 1] * u1) / share
            for j in range(n - 2):
                u = -work.pull[g, e, 0, j] * u0 - work.pull[g, e, 1, j] * u1
                for k in range(n - 2):
                    u += work.inverse[g, e, j, k] * hist[at + k]
                work.dry_rates[i, g, at + j] = (stored * w[j + 1] * u - hist[at + j]) / share
            if e == first:
                inner += out0
            else:
                work.dry_rates[i, g, at - 1] = -(carried + out0)
            carried = out1
            u0 = u1
    work.total_rates[i, 1 + g] = -inner
    return p


@compiled
def step(b, s, h, activity, layout, laws, climate, contents, work):
    """All stages of a step of width h from the state in ``work``; the last stage's history stays there."""
    share = GAMMA * h
    factor_step(share, layout, laws, work)
    gases = laws.gas.shape[0]
    for i in range(5):
        work.total_hist[:] = work.total
        if layout.wet:
            work.wet_hist[:] = work.wet
        for g in range(gases):
            work.dry_hist[g, :] = work.dry[g]
        for j in range(i):
            x = h * A[i, j]
            for k in range(work.total.shape[0]):
                work.total_hist[k] += x * work.total_rates[j, k]
            if layout.wet:
                for k in range(layout.size):
                    work.wet_hist[k] += x * work.wet_rates[j, k]
            for g in range(gases):
                for k in range(layout.size):
                    work.dry_hist[g, k] += x * work.dry_rates[j, g, k]
        if layout.wet:
            activity = wet_stage(b, i, s, share, activity, layout, laws, climate, contents, work)
        for g in range(gases):
            work.pressure[g] = gas_stage(b, i, g, s, share, layout, laws, climate, contents, work)
    return activity


@compiled
def miss(k, kind, layout, work, h):
    """Sum of the errors at the nodes of layers that store: of water (kind 0) or gas k."""
    total = 0.0
    for c in range(layout.first.shape[0] - 1):
        last = layout.first[c + 1] - 1
        for e in range(layout.first[c], last + 1):
            keeps = work.wet_keeps[e] if kind == 0 else work.keeps[k, e]
            n, at = layout.nodes[e], layout.at[e]
            count = n - 2
            if not keeps:
                following = e < last and (work.wet_keeps[e + 1] if kind == 0 else work.keeps[k, e + 1])
                if not following:
                    continue
                at, count = at + n - 2, 1
            elif e < last:
                count = n - 1
            for j in range(at, at + count):
                x = 0.0
                for i in range(5):
                    x += ERROR[i] * (work.wet_rates[i, j] if kind == 0 else work.dry_rates[i, k, j])
                total += abs(x)
    return h * total


@compiled
def size_of(h, rtol, layout, laws, contents, work):
    """Error of the step in units of the tolerance."""
    worst = 0.0
    share = GAMMA * h
    last = work.total.shape[0] - 1
    for k in range(work.total.shape[0]):
        e = 0.0
        for i in range(5):
            e += ERROR[i] * work.total_rates[i, k]
        e = abs(e) * h
        new = work.total_hist[k] + share * work.total_rates[4, k]
        if k == 0:
            if layout.wet:
                if contents.moving:
                    worst = max(worst, e / (rtol * (abs(new) + contents.floors[0])))
                capacity = 0.0
                for x in range(layout.nodes.shape[0]):
                    if work.wet_keeps[x]:
                        m = layout.material[x]
                        steepest = 0.0
                        for j in range(int(laws.water[m, 5])):
                            steepest = max(steepest, laws.slopes[m, j])
                        capacity += 2.0 * work.wet_stored[x] * steepest
                if capacity > 0.0:
                    worst = max(worst, miss(0, 0, layout, work, h) / (10.0 * rtol * capacity))
        elif k == last:
            if contents.oxygen >= 0:
                worst = max(worst, e / (rtol * (abs(new) + contents.floors[k])))
        else:
            scale = rtol * (max(abs(work.total[k]), abs(new)) + contents.floors[k])
            worst = max(worst, e / scale, miss(k - 1, 1, layout, work, h) / scale)
    return worst


@compiled
def accept(h, layout, work):
    share = GAMMA * h
    for k in range(work.total.shape[0]):
        work.total[k] = work.total_hist[k] + share * work.total_rates[4, k]
    if layout.wet:
        for k in range(layout.size):
            work.wet[k] = work.wet_hist[k] + share * work.wet_rates[4, k]
    for g in range(work.dry.shape[0]):
        for k in range(layout.size):
            work.dry[g, k] = work.dry_hist[g, k] + share * work.dry_rates[4, g, k]


@compiled
def show(b, s, activity, layout, laws, climate, contents, work, y, f):
    """Inside of the state into y (water, activity, amounts, pressures, oxygen used) and the rates of it into f,
    where those of the last stage hold."""
    gases = laws.gas.shape[0]
    columns = layout.first.shape[0] - 1
    y[0], f[0] = work.total[0], work.total_rates[4, 0]
    if contents.moving:
        scale = pick(contents.hold, 0, b)
        for _ in range(40):
            held, slope = hold(contents.content, contents.steep, contents.low, contents.inverse, scale, activity)
            total, steep = held, slope
            for c in range(columns):
                e = layout.first[c]
                m = layout.material[e]
                u, d = potential(laws.knots[m], laws.slopes[m], laws.levels[m], int(laws.water[m, 5]), activity)
                x = work.wet_stored[e] * layout.weights[layout.nodes[e] - 1, 0]
                total += x * u
                steep += x * d
            change = min(max((work.total[0] - total) / steep, -0.2), 0.2)
            activity += change
            if abs(change) < 1e-13:
                break
        held, slope = hold(contents.content, contents.steep, contents.low, contents.inverse, scale, activity)
        y[0] = held
        f[1] = work.total_rates[4, 0] / steep
        f[0] = slope * f[1]
    y[1] = activity
    for g in range(gases):
        own = contents.volume / (GAS_CONSTANT * pick(climate.temperature, s, b)) + pick(climate.dissolving[g], s, b)
        face = 0.0
        for c in range(columns):
            e = layout.first[c]
            face += work.stored[g, e] * layout.weights[layout.nodes[e] - 1, 0]
        p = work.total[1 + g] / (own + face)
        y[2 + g], y[2 + gases + g] = p * own, p
        f[2 + gases + g] = work.total_rates[4, 1 + g] / (own + face)
        f[2 + g] = own * f[2 + gases + g]
    y[2 + 2 * gases] = work.total[gases + 1]
    f[2 + 2 * gases] = work.total_rates[4, gases + 1]
    return activity


@compiled
def quantity(k, b, s, y, f, climate, asked):
    """Quantity of limit k and its slope."""
    kind, g = asked.kind[k], asked.gas[k]
    gases = (y.shape[0] - 3) // 2
    start = pick(asked.start, k, b)
    if kind == 0:
        return asked.scale[k] * (y[0] - start), asked.scale[k] * f[0]
    if kind == 1:
        return y[1], f[1]
    if kind == 2:
        return 1.0 - y[2 + g] / start, -f[2 + g] / start
    if kind == 3:
        total = 1e-300
        change = 0.0
        for j in range(gases):
            total += y[2 + gases + j]
            change += f[2 + gases + j]
        p, d = y[2 + gases + g], f[2 + gases + g]
        return p / total, (d * total - p * change) / (total * total)
    last = 2 + 2 * gases
    if asked.whole:
        return asked.scale[k] * (y[2 + g] - start), asked.scale[k] * f[2 + g]
    h = pick(climate.dissolving[g], s, b)
    n, d = h * y[2 + gases + g] + y[last], h * f[2 + gases + g] + f[last]
    return asked.scale[k] * (n - start), asked.scale[k] * d


@compiled
def room(shapes, layout, laws):
    c, e = layout.first.shape[0] - 1, layout.nodes.shape[0]
    g, w, n = laws.gas.shape[0], layout.size, shapes
    m = max(n - 2, 1)
    h = max(g, 1)
    return Work(
        np.zeros(w), np.zeros((g, w)), np.zeros((5, w)), np.zeros((5, g, w)), np.zeros(w), np.zeros((g, w)),
        np.zeros(g + 2), np.zeros((5, g + 2)), np.zeros(g + 2),
        np.zeros((g, e)), np.zeros((g, e)), np.zeros((g, e), np.int64),
        np.zeros(e), np.zeros(e), np.zeros(e, np.int64),
        np.zeros((e, 3)), np.zeros((e, 2, m)), np.zeros((e, m, m)),
        np.zeros((g, e, 3)), np.zeros((g, e, 2, m)), np.zeros((g, e, m, m)),
        np.zeros(e + c), np.zeros((h, e + c)), np.zeros((h, e + c)), np.zeros((h, e, 2)),
        np.zeros((e, n)), np.zeros((n, n)), np.zeros(n), np.zeros(g), np.zeros((h, 2)),
    )  # fmt: skip


@compiled
def begin(b, layout, laws, contents, work):
    """State at closing: contents as given, walls in equilibrium with what was before."""
    gases = laws.gas.shape[0]
    before = pick(contents.before, 0, b)
    work.total[0] = pick(contents.amounts, 0, b)
    for g in range(gases):
        work.total[1 + g] = pick(contents.amounts, 1 + g, b)
    for c in range(layout.first.shape[0] - 1):
        first, last = layout.first[c], layout.first[c + 1]
        for e in range(first, last):
            n, at, m = layout.nodes[e], layout.at[e], layout.material[e]
            w = layout.weights[n - 1]
            if layout.wet:
                u, _ = potential(laws.knots[m], laws.slopes[m], laws.levels[m], int(laws.water[m, 5]), before)
                x = work.wet_stored[e] * u
                for j in range(n - 2):
                    work.wet[at + j] = x * w[j + 1]
                if e > first:
                    work.wet[at - 1] += x * w[0]
                elif contents.moving:
                    work.total[0] += x * w[0]
                if e < last - 1:
                    work.wet[at + n - 2] = x * w[n - 1]
                work.joints[e + c] = before
            for g in range(gases):
                x = work.stored[g, e] * pick(contents.before, 1 + g, b)
                for j in range(n - 2):
                    work.dry[g, at + j] = x * w[j + 1]
                if e > first:
                    work.dry[g, at - 1] += x * w[0]
                else:
                    work.total[1 + g] += x * w[0]
                if e < last - 1:
                    work.dry[g, at + n - 2] = x * w[n - 1]


@compiled
def follow(b, time, width, q0, s0, q1, s1, fresh, asked, crossing, extreme):
    """Crossings and extremes of a step; q: excess over each limit, s: its slope times the width."""
    for k in range(asked.kind.shape[0]):
        sign, value = asked.sign[k], pick(asked.value, k, b)
        m0, m1 = sign * (q0[k] - value), sign * (q1[k] - value)
        if m1 >= 0.0 > m0 and crossing[b, k] == np.inf:
            crossing[b, k] = time + width * hermite_root(m0, m1, sign * s0[k], sign * s1[k], fresh)
        seen = q1[k]
        if time + width > asked.target * (1.0 + 1e-12):
            if time >= asked.target:
                continue
            seen = hermite(q0[k], q1[k], s0[k], s1[k], fresh, (asked.target - time) / width)
        if sign * (seen - extreme[b, k]) > 0.0:
            extreme[b, k] = seen


@compiled
def march_one(b, largest, layout, laws, climate, contents, asked, crossing, extreme, closing, record, final):
    work = room(largest, layout, laws)
    gases, limits = laws.gas.shape[0], asked.kind.shape[0]
    ny = 3 + 2 * gases
    y0, f0, y1, f1 = np.zeros(ny), np.zeros(ny), np.zeros(ny), np.zeros(ny)
    q0, s0, q1, s1 = np.zeros(limits), np.zeros(limits), np.zeros(limits), np.zeros(limits)
    activity, time, opening, steps, at = contents.activity, 0.0, 0.0, 0, 0
    for s in range(climate.duration.shape[0]):
        span = pick(climate.duration, s, b)
        if s > 0 and time >= asked.end * (1.0 - 1e-12):
            break
        prepare(b, s, layout, laws, climate, work)
        if s == 0:
            begin(b, layout, laws, contents, work)
            opening = 0.01 * span
        work.total_rates[4, :] = 0.0
        activity = show(b, s, activity, layout, laws, climate, contents, work, y0, f0)
        for k in range(limits):
            q0[k], s0[k] = quantity(k, b, s, y0, f0, climate, asked)
            if s == 0:
                closing[b, k] = q0[k]
                extreme[b, k] = q0[k]
            elif time <= asked.target and asked.sign[k] * (q0[k] - extreme[b, k]) > 0.0:
                extreme[b, k] = q0[k]
            value = pick(asked.value, k, b)
            slack = 1e-12 * abs(value) if s == 0 else 0.0
            if asked.sign[k] * (q0[k] - value) > slack and crossing[b, k] == np.inf:
                crossing[b, k] = time
        while at < asked.times.shape[0] and asked.times[at] <= time:
            record[b, at, :] = y0
            at += 1
        done, fresh, rejected = 0.0, True, False
        h = span / asked.steps if asked.steps > 0 else min(span, opening)
        while done < span * (1.0 - 1e-13):
            left = span - done
            if h >= 0.999 * left:
                h = left
            elif h > 0.5 * left and asked.steps == 0:
                h = 0.5 * left
            reached = step(b, s, h, activity, layout, laws, climate, contents, work)
            size = 0.0
            if asked.steps == 0:
                size = size_of(h, asked.rtol, layout, laws, contents, work)
            if size <= 1.0:
                accept(h, layout, work)
                activity = show(b, s, reached, layout, laws, climate, contents, work, y1, f1)
                for k in range(limits):
                    q, d = quantity(k, b, s, y1, f1, climate, asked)
                    q1[k], s1[k] = q, d * h
                    s0[k] *= h
                follow(b, time, h, q0, s0, q1, s1, fresh, asked, crossing, extreme)
                while at < asked.times.shape[0] and asked.times[at] <= (time + h) * (1.0 + 1e-14):
                    t = min(1.0, (asked.times[at] - time) / h)
                    for k in range(ny):
                        record[b, at, k] = hermite(y0[k], y1[k], h * f0[k], h * f1[k], fresh, t)
                    at += 1
                time, done, steps = time + h, done + h, steps + 1
                for k in range(ny):
                    y0[k], f0[k] = y1[k], f1[k]
                for k in range(limits):
                    q0[k], s0[k] = q1[k], s1[k] / h
                growth = min(5.0, 0.9 * size**-0.25) if size > 1e-4 else 5.0
                if fresh:
                    opening = h * min(growth, 3.0)
                if asked.steps == 0:
                    h *= min(1.0, growth) if rejected else growth
                fresh, rejected = False, False
            else:
                h *= max(0.1, 0.9 * size**-0.25) if size < 1e300 else 0.1
                rejected = True
                if not h > 1e-9:
                    for k in range(limits):
                        crossing[b, k] = np.nan
                    return -1
    final[b, :] = y0
    return steps


@njit(parallel=True, nogil=True, **OPTIONS)
def march_all(largest, layout, laws, climate, contents, asked, crossing, extreme, closing, record, final, steps):
    for b in prange(crossing.shape[0]):
        steps[b] = march_one(
            np.int64(b), largest, layout, laws, climate, contents, asked, crossing, extreme, closing, record, final
        )
