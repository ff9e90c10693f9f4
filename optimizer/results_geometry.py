"""What ``geometry`` answers, as frozen dataclasses; keys carry their unit. The producer is
``geometry.survey``."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import ClassVar

from optimizer.results_answer import Answer


@dataclass(frozen=True)
class OpeningFound:
    """A hole with an even edge. diameter_mm: of the circle of the same area; height_mm: of its centre above
    the lowest point; faces: up, down or the coordinate axis nearest to the way out of it; off_axis_deg: the
    angle between the two; unevenness_um: farthest that the edge leaves its plane."""

    number: int
    area_cm2: float
    diameter_mm: float
    perimeter_mm: float
    height_mm: float
    centre_mm: tuple[float, float, float]
    faces: str
    off_axis_deg: float
    unevenness_um: float


@dataclass(frozen=True)
class BodyFound:
    """A named object of the file, as ``body`` of a region names it."""

    name: str
    faces: int
    area_cm2: float


@dataclass(frozen=True)
class ThicknessFound:
    """Wall thickness by area: 5 % and 95 % of it are thinner than p05_um and p95_um. unknown_pct: share of
    the area whose thickness could not be told."""

    method: str
    mean_um: float
    least_um: float
    p05_um: float
    p50_um: float
    p95_um: float
    most_um: float
    unknown_pct: float


@dataclass(frozen=True)
class GeometryResult(Answer):
    """Answer of ``geometry``. title: name of the file.

    unit: as asked for. size_mm: along x, y, z; height_mm: along ``up`` (x, y, z, -x, -y or -z), which
    ``up_reason`` explains. area_cm2: of all faces; wall_area_cm2: that of the wall, half where the mesh has
    both faces of it. volume_ml: inside, openings capped, None where that cannot be told. kind: "surface" one
    face of the wall, "walls" both. pieces: connected ones; closed: no open edge; used_pct: share of the area
    that is used. assumptions: what was assumed in reading. project: lines for the project file (YAML).
    picture: name of the file, or None. shows_given: whether the kind is as the user said; room_ml: inside the
    inner face, where it was given.
    """

    title: str
    version: str
    inputs_sha256: str
    warnings: tuple[str, ...]
    assumptions: tuple[str, ...]
    unit: str
    size_mm: tuple[float, float, float]
    height_mm: float
    up: str
    up_reason: str
    area_cm2: float
    wall_area_cm2: float
    volume_ml: float | None
    kind: str
    faces: int
    vertices: int
    pieces: int
    closed: bool
    open_edges: int
    merged_vertices: int
    dropped_faces: int
    turned_faces: int
    used_pct: float
    openings: tuple[OpeningFound, ...]
    bodies: tuple[BodyFound, ...]
    wall_thickness: ThicknessFound | None
    repairs: tuple[str, ...]
    project: str
    picture: str | None = None
    shows_given: bool = False
    room_ml: float | None = None
    sources: tuple[Mapping[str, str], ...] = ()
    command: str = "geometry"
    main_table: ClassVar[str] = "openings"
    shown: ClassVar[tuple[str, ...]] = ("height_mm", "wall_area_cm2", "volume_ml", "kind", "pieces", "closed")
