"""The transient problem of a package as ordinary differential equations, for the solvers of the tests.

Written from the equations, apart from the engine. Nodes lie on the faces of every layer and within it; each
owns the half cells next to it (conservative, second order in the width of a cell; the widths follow one
smooth map, so that Richardson extrapolation works). Because a node lies on every interface, the pressure and
the water activity are continuous there and no average over two materials is needed; within a layer the
permeability of an edge is the harmonic mean of its ends.

* Gas: d(S p)/dt = d/dx(P dp/dx) - k S p s; water: d/dt[psat f Phi(a) / D] = d/dx[psat f dPhi(a)/dx].
* The inside is the node 0 of all columns: headspace, product and the half cells at the inner faces in one.
* A node that stores nothing (layers without a diffusivity side by side) gets what flows through it in one
  second; a single layer without a diffusivity is one edge.
* At a step of the surroundings the amount at every node is kept and p, a follow from it.

The unknowns are ordered by the distance from the inside, so that the Jacobian is banded.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator
from scipy.sparse import csc_matrix

from optimizer.constants import GAS_CONSTANT
from optimizer.physics.material import Material
from optimizer.physics.water import saturation_pressure
from optimizer.shelflife.contents import (
    contents_of,
    inside_activity,
    simulated_gases,
    solubility,
    water_matters,
)
from optimizer.shelflife.exchange import _fixed, has_law, with_nitrogen
from optimizer.shelflife.package import Case, WallPart
from optimizer.shelflife.segments import Segments, lay_out

Array = NDArray[np.float64]
Index = NDArray[np.intp]

#: Width of a cell at a face over the mean width in its layer is 1 - GRADING.
GRADING = 0.85


class Edges(NamedTuple):
    """One entry per edge: nodes at its ends, area over width [m], area times half the width [m3],
    material."""

    left: Index
    right: Index
    shape: Array
    half: Array
    material: Index


def graded(cells: int) -> Array:
    """Places of the nodes of one layer of thickness 1, (cells + 1,)."""
    x = np.linspace(0.0, 1.0, cells + 1)
    return x - GRADING * np.sin(2 * np.pi * x) / (2 * np.pi)


def arrhenius(energy: float, temperature: float, reference: float) -> float:
    return float(np.exp(-energy / GAS_CONSTANT * (1 / temperature - 1 / reference)))


class Network:
    """Nodes, edges and unknowns of a case. ``enter`` a segment before ``rate``, ``amount`` and ``slope``.

    cells: per layer that stores something. Unknowns: water activity, partial pressure per gas and share of
    scavenger at the nodes; amount of every gas inside [mol]; water gained by the product where its activity
    is fixed; oxygen used; cumulative flow out through the walls and through closures and holes [mol].
    """

    def __init__(self, case: Case, cells: int = 20) -> None:
        self.case, product = case, case.product
        self.gases = simulated_gases(product)
        self.package = with_nitrogen(case.package) if "N2" in self.gases else case.package
        self.moves = water_matters(product) or has_law(self.package, "H2O")
        self.contents = contents_of(product, self.gases, self.moves)
        creep = product.headspace.creep
        self.segments: Segments = lay_out(case.storage, case.horizon, [t for t, _ in creep if t > 0])
        self._build(cells)
        self._unknowns()

    # --- mesh ---------------------------------------------------------------------------------------------

    def _stores(self, material: Material) -> bool:
        fields = (*self.gases, "H2O") if self.moves else self.gases
        return any(f in material.diffusivity for f in fields) or material.scavenger is not None

    def _build(self, cells: int) -> None:
        self.materials: list[Material] = []
        rows: list[tuple[int, int, float, float, int]] = []
        depth, outer = [0], []
        for part in self.package.parts:
            if not isinstance(part, WallPart):
                continue
            wall = self.package.walls[part.wall]
            for patch in part.patches:
                area, node = patch.area_at(wall.thickness), 0
                for layer in wall.layers:
                    if layer.material not in self.materials:
                        self.materials.append(layer.material)
                    kind = self.materials.index(layer.material)
                    places = graded(cells if self._stores(layer.material) else 1)
                    for width in np.diff(places) * layer.thickness * patch.ratio:
                        depth.append(depth[node] + 1)
                        rows.append((node, len(depth) - 1, area / width, 0.5 * area * width, kind))
                        node = len(depth) - 1
                outer.append(node)
        columns = list(zip(*rows, strict=True)) if rows else [(), (), (), (), ()]
        self.edges = Edges(
            np.array(columns[0], dtype=np.intp),
            np.array(columns[1], dtype=np.intp),
            np.array(columns[2], dtype=float),
            np.array(columns[3], dtype=float),
            np.array(columns[4], dtype=np.intp),
        )
        self.count, self.depth = len(depth), np.array(depth)
        self.outer = np.array(outer, dtype=np.intp)
        self.free = np.setdiff1d(np.arange(1, self.count), self.outer)
        self.ends = np.flatnonzero(np.isin(self.edges.right, self.outer))
        self.of = [np.flatnonzero(self.edges.material == k) for k in range(len(self.materials))]
        self.volume = [self._nodes(self.edges.half * (self.edges.material == k)) for k in range(len(self.of))]
        self.logs = {
            (k, g): PchipInterpolator(law.activity, np.log(law.permeability))
            for k, m in enumerate(self.materials)
            for g in self.gases
            if (law := m.gas_law(g)).humidity_sensitive
        }

    def _nodes(self, per_edge: Array) -> Array:
        """Sum at the nodes of what each edge gives to both its ends."""
        return np.bincount(self.edges.left, per_edge, self.count) + np.bincount(
            self.edges.right, per_edge, self.count
        )

    def _unknowns(self) -> None:
        place, self.at = 0, {}

        def take(name: str, size: int) -> None:
            nonlocal place
            self.at[name] = slice(place, place + size)
            place += size

        product = self.case.product
        self.scavengers = [
            (k, np.flatnonzero(self.volume[k]), self.volume[k][self.volume[k] > 0])
            for k, m in enumerate(self.materials)
            if m.scavenger is not None and m.scavenger.gas in self.gases
        ]
        keys: list[tuple[Array, float]] = []
        fields = [*self.gases] + (["H2O"] if self.moves else [])
        # the flow out of each column stands behind its last free node
        inside, ends = np.zeros(1), self.depth[self.outer] - 0.4
        if self.moves:
            # where the product's activity is fixed, what it gains; else the activity inside
            take("inside H2O", 1)
            keys.append((inside, 0.0))
            take("a", len(self.free))
            keys.append((self.depth[self.free], 0.1))
        for n, g in enumerate(self.gases):
            take(f"inside {g}", 1)
            keys.append((inside, 0.3 + 0.01 * n))
            take(f"p {g}", len(self.free))
            keys.append((self.depth[self.free], 0.3 + 0.01 * n))
        for k, nodes, _ in self.scavengers:
            take(f"s {k}", len(nodes))
            keys.append((self.depth[nodes], 0.2))
        take("used", 1)
        keys.append((inside, -0.1))
        for n, g in enumerate(fields):
            take(f"out {g}", len(self.outer))
            keys.append((ends, 0.01 * n))
            take(f"leak {g}", 1)
            keys.append((inside, -0.2 - 0.01 * n))
        self.size, self.fields = place, fields
        key = np.concatenate([d + small for d, small in keys])
        #: y[order] has its unknowns from inside to outside
        self.order = np.argsort(key, kind="stable")
        self.back = np.argsort(self.order)
        self.fixed_water = product.moisture is None
        self.reach = np.floor(key[self.order] + 0.5 + 1e-9).astype(int)

    def pattern(self) -> csc_matrix:
        """Where the Jacobian in the order of ``order`` may differ from zero: unknowns of neighbouring
        nodes."""
        depth = self.reach
        near = np.abs(depth[:, None] - depth[None, :]) <= 1
        return csc_matrix(near.astype(float))

    @property
    def band(self) -> int:
        rows, columns = self.pattern().nonzero()
        return int(np.abs(rows - columns).max())

    # --- one segment --------------------------------------------------------------------------------------

    def enter(self, k: int) -> None:
        """Take the surroundings of segment ``k``."""
        s, e, product = self.segments, self.edges, self.case.product
        t = float(s.temperature[k])
        self.temperature, self.total = t, float(s.pressure[k])
        self.psat = float(saturation_pressure(t))
        self.outside = {g: float(s.outside_pressure(g)[k]) for g in self.gases}
        self.humidity = float(s.humidity[k])
        self.product_room = {g: product.volume * float(solubility(product, g, t)) for g in self.gases}
        self.capacity, self.permeance = {}, {}
        for g in self.gases:
            dissolves = np.zeros(len(self.materials))
            permeability = np.zeros(len(self.materials))
            for m, material in enumerate(self.materials):
                value = material.solubility(g, t)
                dissolves[m] = 0.0 if value is None else float(value)
                law = material.gas_law(g)
                permeability[m] = law.permeability[0] * float(law.factor(t))
            self.permeance[g] = permeability[e.material] * e.shape
            stored = self._nodes(e.half * dissolves[e.material])
            self.capacity[g] = np.where(stored > 0, stored, self._nodes(self.permeance[g]) + 1e-40)
            self.capacity[g][0], self.capacity[g][self.outer] = stored[0], stored[self.outer]
        if self.moves:
            self._enter_water(t)
        self.rates = []
        for m, nodes, volume in self.scavengers:
            scavenger = self.materials[m].scavenger
            speed = scavenger.rate * arrhenius(scavenger.activation_energy, t, scavenger.temperature)
            held = self.materials[m].solubility(scavenger.gas, t)
            speed *= 0.0 if held is None else float(held)
            self.rates.append((f"s {m}", scavenger.gas, nodes, volume, speed, scavenger.capacity))
        air = [
            (p, {f: float(_fixed(p, f, np.array([t]), np.array([self.total]), (1,))[0]) for f in self.fields})
            for p in self.package.parts
            if not isinstance(p, WallPart)
        ]
        self.closures = {f: sum(c[f] for _, c in air) for f in self.fields}
        self.reaction = self._reaction(t)

    def _enter_water(self, t: float) -> None:
        """Per material: Phi at the nodes it touches, with what is stored there [mol], and its flow."""
        self.water_flow = [self.psat * float(m.water_law().factor(t)) for m in self.materials]
        stores = [
            0.0 if (d := m.diffusivity.get("H2O")) is None else flow / float(d.at(t))
            for m, flow in zip(self.materials, self.water_flow, strict=True)
        ]
        held = [c * v for c, v in zip(stores, self.volume, strict=True)]
        empty = (sum(held) if held else np.zeros(self.count)) == 0
        empty[0] = False
        empty[self.outer] = False
        self.water_held = []
        for m, weight in enumerate(held):
            own = self._nodes(self.edges.shape * (self.edges.material == m)) * self.water_flow[m]
            weight = np.where(empty, own, weight)
            touched = np.flatnonzero(weight > 0)
            self.water_held.append((m, touched, weight[touched]))

    def _reaction(self, t: float) -> tuple[float, float, float, float]:
        """(per pressure, per amount in the headspace, most, half pressure) of the product's use of oxygen."""
        c = self.case.product.oxygen.consumption
        if c is None or not self.contents.reacts:
            return (0.0, 0.0, 0.0, 1.0)
        rate = c.rate * arrhenius(c.activation_energy, t, c.temperature)
        if c.order == 1:
            room = self.product_room["O2"]
            return (rate * room, 0.0, 0.0, 1.0) if room > 0 else (0.0, rate, 0.0, 1.0)
        return (0.0, 0.0, rate, 10.0 if c.order == 0 else c.half_pressure)

    # --- states -------------------------------------------------------------------------------------------

    def wall_water(self, a: Array) -> Array:
        """Water at the nodes [mol] for activities (nodes,)."""
        held = np.zeros(self.count)
        for m, nodes, weight in self.water_held:
            held[nodes] += weight * self.materials[m].water_law().potential(a[nodes])
        return held

    def _wall_slope(self, a: Array) -> Array:
        held = np.zeros(self.count)
        for m, nodes, weight in self.water_held:
            held[nodes] += weight * self.materials[m].water_law().slope_at(a[nodes])
        return held

    def activities(self, y: Array) -> Array:
        """Water activity at the nodes (nodes,) of a state in natural order."""
        a = np.empty(self.count)
        if not self.moves:
            a[:] = inside_activity(self.case.product)
            return a
        a[self.free] = y[self.at["a"]]
        a[self.outer] = self.humidity
        a[0] = inside_activity(self.case.product) if self.fixed_water else y[self.at["inside H2O"]][0]
        return a

    def headspace(self, time: float) -> float:
        """Volume of a rigid headspace [m3]."""
        head = self.case.product.headspace
        if not head.creep:
            return head.volume
        growth = np.interp(time, *zip(*head.creep, strict=True))
        return head.volume + float(growth) * (head.volume + self.case.product.volume)

    def inside(self, time: float, y: Array, activity: float) -> tuple[dict[str, float], float]:
        """Partial pressures inside [Pa] and the volume of the headspace [m3]."""
        n = {g: float(y[self.at[f"inside {g}"]][0]) for g in self.gases}
        fixed = {g: self.product_room[g] + self.capacity[g][0] for g in self.gases}
        rt = GAS_CONSTANT * self.temperature
        volume = self.headspace(time)
        if not self.case.product.headspace.rigid:
            dry = self.total - activity * self.psat
            # decreasing and convex in v: Newton from the left rises to the root
            v = max(0.0, max((n[g] / dry - fixed[g] for g in self.gases), default=0.0))
            for _ in range(60):
                excess = sum(n[g] / (v + fixed[g]) for g in self.gases) - dry
                step = excess / sum(n[g] / (v + fixed[g]) ** 2 for g in self.gases)
                v += step
                if abs(step) <= 1e-15 * v:
                    break
            volume = v * rt
        return {g: n[g] / (volume / rt + fixed[g]) for g in self.gases}, volume

    def rate(self, time: float, y: Array) -> Array:
        """d(amount)/dt [mol/s; shares of scavenger 1/s] of a state, both in natural order."""
        e, f = self.edges, np.zeros(self.size)
        a = self.activities(y)
        if self.moves:
            flow = np.empty(len(e.left))
            for m, edges in enumerate(self.of):
                phi = self.materials[m].water_law().potential
                flow[edges] = self.water_flow[m] * (phi(a[e.left[edges]]) - phi(a[e.right[edges]]))
            self._spread(f, "H2O", "a", flow * e.shape)
            self._leave(f, "H2O", self.closures["H2O"] * self.psat * (a[0] - self.humidity))
        inside, volume = self.inside(time, y, float(a[0]))
        pressure = {}
        for g in self.gases:
            p = pressure[g] = np.empty(self.count)
            p[0], p[self.free], p[self.outer] = inside[g], y[self.at[f"p {g}"]], self.outside[g]
            flow = self.permeance[g] * (p[e.left] - p[e.right])
            for (m, gas), log in self.logs.items():
                if gas == g:
                    edges, law = self.of[m], self.materials[m].gases[g]
                    low, high = law.activity[0], law.activity[-1]
                    dry = np.log(law.permeability[0])
                    left = np.exp(log(np.clip(a[e.left[edges]], low, high)) - dry)
                    right = np.exp(log(np.clip(a[e.right[edges]], low, high)) - dry)
                    flow[edges] *= 2 * left * right / (left + right)
            self._spread(f, g, f"p {g}", flow)
            self._leave(f, g, self.closures[g] * (inside[g] - self.outside[g]))
        for name, g, nodes, litres, speed, capacity in self.rates:
            use = speed * pressure[g][nodes] * y[self.at[name]]
            lost = np.bincount(nodes, litres * use, self.count)
            f[self.at[f"p {g}"]] -= lost[self.free]
            f[self.at[f"inside {g}"]] -= lost[0]
            # what is used in the half cells at the outer faces comes straight from outside
            f[self.at[f"out {g}"]] -= lost[self.outer]
            if capacity is not None:
                f[self.at[name]] = -use / capacity
        if self.contents.reacts:
            per_p, per_n, most, half = self.reaction
            p0 = inside["O2"]
            head = p0 * volume / (GAS_CONSTANT * self.temperature)
            used = per_p * p0 + per_n * head + most * p0 / (abs(p0) + half)
            f[self.at["inside O2"]] -= used
            f[self.at["used"]] += used
        return f

    def _spread(self, f: Array, field: str, name: str, flow: Array) -> None:
        change = np.bincount(self.edges.right, flow, self.count) - np.bincount(
            self.edges.left, flow, self.count
        )
        f[self.at[name]] += change[self.free]
        f[self.at[f"inside {field}"]] += change[0]
        f[self.at[f"out {field}"]] += flow[self.ends]

    def _leave(self, f: Array, field: str, flow: float) -> None:
        f[self.at[f"inside {field}"]] -= flow
        f[self.at[f"leak {field}"]] += flow
