"""What is simulated: the package, its contents, the storage and the limits. SI units; frozen; no text to
parse.

Conventions
* Layers run from inside to outside. Several parts are in parallel.
* A wall part has patches (area, thickness ratio): every layer of the wall is scaled by the ratio, so the
  humidity inside the wall does not change and the part is one effective area, sum(area / ratio), for
  permeation and one mass area, sum(area * ratio), for mass and cost.
* Gas amounts are mol; cm3(STP) is only a way to write them.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from optimizer.constants import DRY_AIR
from optimizer.geometry.surface import Patch, Unevenness
from optimizer.physics.material import Material
from optimizer.physics.sorption import Isotherm


@dataclass(frozen=True)
class Layer:
    """One layer: a material and its nominal thickness [m]."""

    material: Material
    thickness: float


@dataclass(frozen=True)
class Wall:
    """A named structure, inside to outside."""

    name: str
    layers: tuple[Layer, ...]

    @property
    def thickness(self) -> float:
        return sum(layer.thickness for layer in self.layers)


@dataclass(frozen=True)
class WallPart:
    """A part made of a wall. unevenness: how its thickness was found and how uneven it is, for the answer;
    seal: what kind of closure with a geometry of its own it is (gasket, O-ring, ...), empty for a wall: its
    wall has one layer as thick as the way of the gas is long, and is never designed. group: name under which
    tables show it together with others, empty for its own. sealed: patches of the same wall that lie under a
    seal: they weigh and nothing passes them. base: of a piece under a label, the wall under it. fitted: a
    region of a mesh, or the cover of an opening: made to fit another part, so that no check thins it."""

    name: str
    wall: str
    patches: tuple[Patch, ...]
    unevenness: Unevenness | None = None
    seal: str = ""
    group: str = ""
    sealed: tuple[Patch, ...] = ()
    base: str = ""
    fitted: bool = False

    def permeation_area(self, thickness: float) -> float:
        """sum(area / ratio) [m2] at the wall's nominal thickness [m]: conductance per permeance."""
        return sum(p.area_at(thickness) / p.ratio for p in self.patches)

    def mass_area(self, thickness: float) -> float:
        """sum(area * ratio) [m2] at the wall's nominal thickness [m]: volume of material per metre of
        thickness, with what lies under a seal."""
        return sum(p.area_at(thickness) * p.ratio for p in (*self.patches, *self.sealed))

    def mean_ratio(self, thickness: float) -> float:
        """Mean thickness by area, over the wall's nominal thickness [m]; 0 without area."""
        area = self.area(thickness)
        return sum(p.area_at(thickness) * p.ratio for p in self.patches) / area if area else 0.0

    def area(self, thickness: float) -> float:
        """That gas passes [m2]."""
        return sum(p.area_at(thickness) for p in self.patches)


@dataclass(frozen=True)
class GivenConductance:
    """Transmission given as measured: conductance at ``temperature`` [K] with ``activation_energy`` [J/mol].

    For gases [mol/(s Pa)]; for H2O the same, per Pa of water-vapour pressure difference.
    """

    conductance: float
    temperature: float
    activation_energy: float
    energy_assumed: bool = False


@dataclass(frozen=True)
class ClosurePart:
    """A part whose transmission is given per gas (cap, lid, valve). A gas that is absent is taken as zero,
    with a warning."""

    name: str
    transmission: Mapping[str, GivenConductance]


@dataclass(frozen=True)
class HolePart:
    """``count`` straight round holes or channels of ``diameter`` and ``length`` [m]. group: name under which
    tables show them together with others (holes of a distribution of sizes), empty for their own."""

    name: str
    diameter: float
    length: float
    count: float = 1.0
    group: str = ""


Part = WallPart | ClosurePart | HolePart


@dataclass(frozen=True)
class Stage:
    """Constant surroundings: duration [s], temperature [K], outside water activity [-], total pressure
    [Pa]. gas: dry mole shares of what surrounds the package (see ``nested``), None for air."""

    name: str
    duration: float
    temperature: float
    humidity: float
    pressure: float = 101325.0
    gas: Mapping[str, float] | None = None

    @property
    def around(self) -> Mapping[str, float]:
        """Dry mole shares of what surrounds the package."""
        return DRY_AIR if self.gas is None else self.gas


@dataclass(frozen=True)
class Consumption:
    """How the product uses oxygen up.

    order 0: rate [mol/s] for the whole product; 1: rate [1/s] on the oxygen in the product (on the
    headspace oxygen if the product dissolves none); "michaelis-menten": rate [mol/s] at saturation,
    half_pressure [Pa] the partial pressure at which it runs at half that. ``temperature`` [K],
    ``activation_energy`` [J/mol].
    """

    order: int | str
    rate: float
    temperature: float
    activation_energy: float = 0.0
    half_pressure: float = 0.0


@dataclass(frozen=True)
class OxygenModel:
    """dissolves_like: water, oil, nothing, or custom with ``solubility`` [mol/(m3 Pa)].
    dissolved_at_closing [mol/m3 of product]. factor: multiplies the solubility (sugar, salt), default 1."""

    dissolves_like: str = "nothing"
    solubility: float | None = None
    dissolved_at_closing: float = 0.0
    factor: float = 1.0
    consumption: Consumption | None = None


@dataclass(frozen=True)
class MoistureModel:
    """dry_mass [kg]; isotherm: water content [kg/kg dry] against water activity; initial water activity
    [-]."""

    dry_mass: float
    isotherm: Isotherm
    initial_activity: float


@dataclass(frozen=True)
class Carbonation:
    """CO2 in the liquid at closing: ``volumes`` of gas at STP per volume of liquid, in equilibrium with the
    headspace at ``temperature`` [K]."""

    volumes: float
    temperature: float


@dataclass(frozen=True)
class Headspace:
    """volume [m3] at closing; rigid (volume kept) or flexible (total pressure kept); gas: dry mole shares of
    1 atm less water vapour; over a carbonated product they hold for the gases beside CO2.

    creep: points (time since closing [s], growth of the inside volume as a share of product and headspace
    volume [-]) of a rigid package under pressure, straight between them, constant after the last; empty for
    none."""

    volume: float
    rigid: bool = True
    gas: Mapping[str, float] = field(default_factory=lambda: {"O2": 0.2095, "N2": 0.7905})
    creep: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True)
class Limit:
    """name as in the project file: oxygen_gain [kg O2/kg product], headspace_oxygen [mole share, dry],
    water_gain and water_loss [kg/kg product], water_activity_max and _min [-], co2_loss [share of the CO2 at
    closing]. value in those units."""

    name: str
    value: float


#: limit name -> (gas it follows, +1 if it is an upper bound that ingress approaches or a loss that grows)
LIMIT_GAS = {
    "oxygen_gain": "O2",
    "headspace_oxygen": "O2",
    "water_gain": "H2O",
    "water_loss": "H2O",
    "water_activity_max": "H2O",
    "water_activity_min": "H2O",
    "co2_loss": "CO2",
}


@dataclass(frozen=True)
class Product:
    """mass [kg]; volume of product (liquid or solid) [m3]; water_activity fixed inside, or None when
    ``moisture`` gives it; closing_temperature [K]: the temperature at which the headspace was closed."""

    mass: float
    volume: float
    headspace: Headspace
    water_activity: float | None = None
    oxygen: OxygenModel = OxygenModel()
    moisture: MoistureModel | None = None
    carbonation: Carbonation | None = None
    closing_temperature: float = 296.15
    limits: tuple[Limit, ...] = ()


@dataclass(frozen=True)
class TransmissionLimit:
    """A buyer's specification. gas; maximum: for gases permeance [mol/(m2 s Pa)] of ``wall`` or, if wall is
    None, conductance of the whole package [mol/(s Pa)]; for H2O a rate [kg/(m2 s)] or [kg/s]. Tested at
    temperature [K] with ``humidity`` on both faces for a gas; for H2O wet side ``humidity`` against
    ``humidity_far``. text: as written."""

    gas: str
    maximum: float
    wall: str | None
    temperature: float
    humidity: float
    humidity_far: float = 0.0
    text: str = ""


@dataclass(frozen=True)
class Cover:
    """A label or sleeve ``name`` outside on ``share`` [-] of the area of the wall part ``part``; layers from
    inside to outside. Covers of one part lie beside each other."""

    name: str
    part: str
    share: float
    layers: tuple[Layer, ...]


@dataclass(frozen=True)
class Package:
    """Parts in parallel, and the walls they are made of.

    covers: labels, which the simulators turn into parts of their own (see ``covered``); opening_pressure: of
    one-way valves, by part: how far the pressure inside may rise above that outside [Pa]."""

    parts: tuple[Part, ...]
    walls: Mapping[str, Wall]
    covers: tuple[Cover, ...] = ()
    opening_pressure: Mapping[str, float] = field(default_factory=dict)

    def with_walls(self, walls: Mapping[str, Wall]) -> Package:
        return replace(self, walls={**self.walls, **walls})


@dataclass(frozen=True)
class Surroundings:
    """What the walls were in equilibrium with until closing. humidity: water activity [-], None for that of
    the first stage; gas: dry mole shares at 1 atm in all, the air's by default."""

    humidity: float | None = None
    gas: Mapping[str, float] = field(default_factory=lambda: dict(DRY_AIR))


@dataclass(frozen=True)
class Uncertainty:
    """What is uncertain beside the properties of materials (those carry ``Material.bands``).

    Relative standard deviations, of a factor that is lognormal with median 1: thickness by wall or by part
    (a part's own comes on top of its wall's); layers: by (wall, material); durations by stage; limits by
    name; consumption: rate of the product's oxygen use; isotherm: water that the product holds at an
    activity; headspace_oxygen: oxygen at closing; transmission by (closure, gas). temperature: standard
    deviation of one offset common to all stages [K]; humidity: likewise of water activity outside [-].
    correlation: share of the variance of properties from one source that is common to them. properties: used
    for a permeability without a band of its own, None for the standing assumption. confidence: asked for, as
    a share, or None. samples, seed: of the draw.
    """

    thickness: Mapping[str, float] = field(default_factory=dict)
    layers: Mapping[tuple[str, str], float] = field(default_factory=dict)
    durations: Mapping[str, float] = field(default_factory=dict)
    limits: Mapping[str, float] = field(default_factory=dict)
    transmission: Mapping[tuple[str, str], float] = field(default_factory=dict)
    consumption: float = 0.0
    isotherm: float = 0.0
    headspace_oxygen: float = 0.0
    temperature: float = 0.0
    humidity: float = 0.0
    correlation: float = 0.5
    properties: float | None = None
    confidence: float | None = None
    samples: int = 4096
    seed: int = 20261125


@dataclass(frozen=True)
class OuterPack:
    """A second pack around ``count`` equal packages. package: its walls, closures and holes; volume: of the
    gas between it and the packages at closing [m3]; rigid: volume kept, else the pressure outside is kept;
    gas: dry mole shares at closing; humidity: water activity of that gas at closing, None for that of the
    first stage. storage: what surrounds the outer pack (``Case.storage`` is then what surrounds a package in
    it). history: of the gas between, as followed: time since closing [s], share of O2 in the dry gas,
    activity, total pressure [Pa]."""

    count: int
    package: Package
    volume: float
    rigid: bool = False
    gas: Mapping[str, float] = field(default_factory=lambda: dict(DRY_AIR))
    humidity: float | None = None
    storage: tuple[Stage, ...] = ()
    history: tuple[tuple[float, float, float, float], ...] = field(default=(), compare=False)


#: How the wall is simulated: steady at every moment, transient, or whichever the lag and the stored gas ask
#: for.
WALL_MODES = ("auto", "steady", "transient")


@dataclass(frozen=True)
class Case:
    """Everything that ``predict`` needs. target [s] or None; horizon [s]: how long to look; wall: one of
    ``WALL_MODES``; before: what the walls were in equilibrium with until closing; outer: a second pack around
    several of these, see ``nested``."""

    title: str
    product: Product
    package: Package
    storage: tuple[Stage, ...]
    target: float | None
    horizon: float
    transmission_limits: tuple[TransmissionLimit, ...] = ()
    warnings: tuple[str, ...] = ()
    assumptions: tuple[str, ...] = ()
    wall: str = "auto"
    before: Surroundings = Surroundings()
    uncertainty: Uncertainty = Uncertainty()
    outer: OuterPack | None = None
