"""A mesh to turn about, as plotly draws it."""

from __future__ import annotations

import base64
from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from optimizer.report.colours import PLAIN, UNKNOWN, quantity_colours
from optimizer.report.figures.model import MeshView
from optimizer.report.plot_style import LONGEST, Chart, layout_of, plain
from optimizer.report.wording import figure as digits

#: Diagonal of the box that plotly's first camera sees whole.
_IN_VIEW = 1.6


def mesh(view: MeshView) -> Chart:
    """Two meshes: faces with a value, coloured by it, and grey ones without."""
    colours = quantity_colours(np.asarray(view.value, dtype=float), view.legend, span=view.span)
    known = np.isfinite(view.value)
    data = []
    if known.any():
        scale = [[n / (len(colours.palette) - 2), c] for n, c in enumerate(colours.palette[:-1])]
        data.append(
            {
                **_faces(view, known),
                "intensity": _packed(view.value[known], "f4"),
                "intensitymode": "cell",
                "colorscale": scale,
                "cmin": colours.low,
                "cmax": colours.high,
                "colorbar": {
                    "title": {"text": plain(view.legend, LONGEST), "side": "right", "font": {"size": 13}},
                    "thickness": 14,
                    "len": 0.8,
                },
                "name": plain(view.legend),
                "hovertext": _near(view, known),
                "hoverinfo": "text+name",
            }
        )
    if not known.all():
        # as in the drawing: grey is for faces without a value among those that have one
        colour = UNKNOWN if known.any() else PLAIN
        data.append({**_faces(view, ~known), "color": colour, "hoverinfo": "skip"})
    hidden: Mapping[str, Any] = {"visible": False}
    scene = {
        "aspectmode": "manual",
        "aspectratio": _sizes(view),
        "xaxis": hidden,
        "yaxis": hidden,
        "zaxis": hidden,
        "dragmode": "orbit",
    }
    margin = {"l": 8, "r": 8, "t": 34, "b": 8}
    return {"data": data, "layout": layout_of(scene=scene, margin=margin, showlegend=False)}


def _faces(view: MeshView, chosen: NDArray[np.bool_]) -> Chart:
    """All vertices, and the chosen faces between them."""
    short = "u2" if len(view.vertices) < 2**16 else "i4"
    corners = {k: _packed(view.faces[chosen, n], short) for n, k in enumerate("ijk")}
    places = {k: _packed(view.vertices[:, n], "f4") for n, k in enumerate("xyz")}
    light = {"ambient": 0.8, "diffuse": 0.45, "specular": 0.05, "roughness": 0.9, "fresnel": 0.05}
    return {"type": "mesh3d", **places, **corners, "flatshading": True, "lighting": light}


def _near(view: MeshView, known: NDArray[np.bool_]) -> list[str]:
    """What is said at each vertex: the mean of the faces around it."""
    corners = view.faces[known].ravel()
    count = np.bincount(corners, minlength=len(view.vertices))
    total = np.bincount(corners, weights=np.repeat(view.value[known], 3), minlength=len(view.vertices))
    mean = total / np.maximum(count, 1)
    return [digits(m, 3) if n else "" for m, n in zip(mean.tolist(), count.tolist(), strict=True)]


def _sizes(view: MeshView) -> Chart:
    """Its own proportions, small enough that all of a tall thing is in view."""
    sides = np.ptp(view.vertices, axis=0) if len(view.vertices) else np.ones(3)
    whole = float(np.linalg.norm(sides)) or 1.0
    return {k: max(_IN_VIEW * float(side) / whole, 1e-3) for k, side in zip("xyz", sides, strict=True)}


def _packed(values: NDArray[Any], kind: str) -> Mapping[str, str]:
    """Numbers as plotly's typed array in base64, a third of the length of their digits."""
    raw = np.ascontiguousarray(values, dtype=f"<{kind}").tobytes()
    return {"dtype": kind, "bdata": base64.b64encode(raw).decode("ascii")}
