"""Meshes as a reader hands them over, made by hand."""

from __future__ import annotations

import numpy as np

from optimizer.geometry.mesh import RawBody, RawMesh, clean


def raw(*shells, stated=None, notes=(), names=None):
    """A RawMesh of some (vertices, faces), a body for each."""
    names = names or [f"body {k}" for k in range(1, len(shells) + 1)]
    bodies = tuple(
        RawBody(name, np.array(v, dtype=float), np.array(f, dtype=np.int64).reshape(-1, 3))
        for name, (v, f) in zip(names, shells, strict=True)
    )
    return RawMesh("made.stl", bodies, stated, tuple(notes))


def cleaned(*shells, unit=1.0, **more):
    return clean(raw(*shells, **more), unit)


def joined(*shells):
    """Several shells as one body of one file."""
    starts = np.cumsum([0, *(len(v) for v, _ in shells)])
    faces = [np.asarray(f) + k for (_, f), k in zip(shells, starts, strict=False)]
    return np.concatenate([v for v, _ in shells]), np.concatenate(faces)


def moved(shell, by):
    return shell[0] + np.asarray(by, dtype=float), shell[1]


def without(shell, which):
    """Without some faces, by number or mask."""
    kept = np.ones(len(shell[1]), dtype=bool)
    kept[which] = False
    return shell[0], shell[1][kept]


def centres(shell):
    return shell[0][shell[1]].mean(axis=1)


def soup(shell):
    """Every face with vertices of its own, as in an STL file."""
    points = shell[0][shell[1]].reshape(-1, 3)
    return points, np.arange(len(points)).reshape(-1, 3)


def moebius(steps=60):
    """A band with half a twist."""
    turn = 2 * np.pi * np.arange(steps) / steps
    rows = []
    for side in (-0.3, 0.3):
        radius = 1 + side * np.cos(turn / 2)
        rows.append(np.stack([radius * np.cos(turn), radius * np.sin(turn), side * np.sin(turn / 2)], 1))
    here = np.arange(steps)
    there = np.roll(here, -1)
    low, high, low_next, high_next = here, here + steps, there.copy(), there + steps
    low_next[-1], high_next[-1] = steps, 0  # the twist
    faces = np.concatenate([np.stack([low, low_next, high_next], 1), np.stack([low, high_next, high], 1)])
    return np.concatenate(rows), faces
