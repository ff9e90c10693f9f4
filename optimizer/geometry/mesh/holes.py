"""What the rims of a mesh mean: openings to be closed by another part, or area that is missing."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from optimizer.geometry.mesh.fault import several
from optimizer.geometry.mesh.findings import Findings, cm2, percent, place
from optimizer.geometry.mesh.model import Opening, Vertices
from optimizer.geometry.mesh.openings import FEW_EDGES, Rims, cornered
from optimizer.geometry.mesh.shells import SHEET, Shells
from optimizer.units.figures import figure

#: How an opening is told among the notes of a mesh.
CAPPED = "capped for the volume and not part of the area"
#: Missing facets may be this share of the area.
MOST_MISSING = 0.01


@dataclass(frozen=True)
class Holes:
    """Rims, and which of them (r,) are those of missing facets or of curved sheets and not openings."""

    rims: Rims
    missing: NDArray[np.bool_]

    def accounted(self, shells: Shells, solid: NDArray[np.bool_], findings: Findings) -> float:
        """Share of the area that is there; raises GeometryError where too much is missing.

        solid (s,): pieces that are the solid of a wall, in which any hole is one of missing facets.
        """
        rims = self.rims
        edge_of_sheet = shells.sheet[rims.piece] & (rims.span > SHEET * shells.area[rims.piece])
        holes = np.flatnonzero((self.missing | solid[rims.piece]) & ~edge_of_sheet)
        lost = float(rims.span[holes].sum())
        share = lost / (lost + float(shells.area.sum()))
        if not len(holes):
            return 1.0
        largest = rims.centre[holes[rims.span[holes].argmax()]]
        said = (
            f"{several(len(holes), 'hole')} in the wall (missing facets or edges that do not meet), the "
            f"largest at {place(largest)}: {percent(share)} of the area"
        )
        if share > MOST_MISSING:
            raise findings.fault(
                f"{said} is missing, and no more than {100 * MOST_MISSING:.0f} % may be",
                "close the holes in the CAD program; an opening that is meant must end in a plane, "
                f"and one in the middle of a wall needs more than {FEW_EDGES} edges",
            )
        findings.warnings.append(f"{said} is missing and left out")
        return 1.0 - share

    def necks(self, shells: Shells, pieces: NDArray[np.bool_]) -> NDArray[np.int64]:
        """Numbers of the rims that are openings of some of the pieces."""
        return np.flatnonzero(~self.missing & (pieces & shells.encloses)[self.rims.piece])

    def say(self, vertices: Vertices, found: tuple[Opening, ...], findings: Findings) -> None:
        """Name the openings, and warn of those that look cut into the wall."""
        if not found:
            return
        each = ", ".join(f"{cm2(o.area)} ({figure(1000 * o.diameter)} mm across)" for o in found[:3])
        more = f" and {len(found) - 3} more" if len(found) > 3 else ""
        what = several(len(found), "opening")
        findings.notes.append(f"{what}, {CAPPED}: {each}{more}")
        odd = cornered(vertices, self.rims, np.flatnonzero(~self.missing))
        if odd:
            findings.warnings.append(
                f"{several(len(odd), 'opening')} with corners in a wall that goes on all round: are facets "
                "missing?"
            )
