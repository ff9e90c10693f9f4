"""What differs from sample to sample of a batch: factors and offsets on a case's own values.

Arrays have the shape (B,), one value for each of B samples; what a mapping does not name is as in the case.
Both simulators, of steady and of transient walls, take a ``Variation``; ``optimizer.uncertainty`` draws one.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, fields, replace

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Variation:
    """size: B.

    Factors on: permeability by (material name, gas or ``H2O``) at every temperature and humidity (the
    solubility goes with it where the diffusivity is not varied); diffusivity by the same; thickness by wall
    name, for all its layers; part_thickness by part name, on top; layer_thickness by (wall, material name),
    on top; transmission by (closure name, gas); duration by stage name; limit by limit name; consumption:
    rate of the product's use of oxygen; isotherm: water content at an activity; headspace_oxygen: oxygen at
    closing. Offsets: temperature [K] and humidity (water activity outside) [-], on every stage.
    """

    size: int
    permeability: Mapping[tuple[str, str], Array] = field(default_factory=dict)
    diffusivity: Mapping[tuple[str, str], Array] = field(default_factory=dict)
    thickness: Mapping[str, Array] = field(default_factory=dict)
    part_thickness: Mapping[str, Array] = field(default_factory=dict)
    layer_thickness: Mapping[tuple[str, str], Array] = field(default_factory=dict)
    transmission: Mapping[tuple[str, str], Array] = field(default_factory=dict)
    duration: Mapping[str, Array] = field(default_factory=dict)
    limit: Mapping[str, Array] = field(default_factory=dict)
    consumption: Array | None = None
    isotherm: Array | None = None
    headspace_oxygen: Array | None = None
    temperature: Array | None = None
    humidity: Array | None = None

    def take(self, index: slice | NDArray[np.intp]) -> Variation:
        """The samples at ``index``."""
        changed: dict[str, object] = {"size": len(np.arange(self.size)[index])}
        for item in fields(self):
            value = getattr(self, item.name)
            if isinstance(value, np.ndarray):
                changed[item.name] = value[index]
            elif isinstance(value, Mapping):
                changed[item.name] = {k: v[index] for k, v in value.items()}
        return replace(self, **changed)  # type: ignore[arg-type]


@dataclass(frozen=True)
class Outcomes:
    """Of B samples and L limits in the product's order. crossing: when a limit is first reached [s], inf
    where it is not within the time looked at, 0 where exceeded at closing (B, L); extreme: worst value of
    each quantity up to the target, in the limit's unit (B, L); excess: by how much that lies beyond the
    sample's own limit, as a share of the limit, negative where it is kept (B, L)."""

    crossing: Array
    extreme: Array
    excess: Array

    @property
    def life(self) -> Array:
        """When the first limit is reached (B,) [s], inf where none is."""
        if self.crossing.shape[1] == 0:
            return np.full(len(self.crossing), np.inf)
        value: Array = self.crossing.min(axis=1)
        return value

    @property
    def ended_by(self) -> NDArray[np.intp]:
        """Index of the limit reached first (B,), -1 where none is."""
        if self.crossing.shape[1] == 0:
            return np.full(len(self.crossing), -1)
        return np.where(np.isfinite(self.life), self.crossing.argmin(axis=1), -1)
