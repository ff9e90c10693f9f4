"""Meshes of bodies of revolution and of boxes, made by hand for the tests of regions and rays."""

from __future__ import annotations

import numpy as np

from optimizer.geometry.mesh.model import Mesh, MeshFacts, Opening
from optimizer.geometry.pieces import Pieces


def as_mesh(shells, kind="surface", bodies=("body",), body=None, openings=(), name="made.stl"):
    """A Mesh of some (vertices [m], faces); one connected piece each."""
    vertices, faces, shell, start = [], [], [], 0
    for number, (points, triangles) in enumerate(shells):
        vertices.append(points)
        faces.append(np.asarray(triangles) + start)
        shell.append(np.full(len(triangles), number))
        start += len(points)
    vertices, faces, shell = np.concatenate(vertices), np.concatenate(faces), np.concatenate(shell)
    a, b, c = (vertices[faces[:, k]] for k in range(3))
    area = np.linalg.norm(np.cross(b - a, c - a), axis=1) / 2
    size = tuple(float(x) for x in np.ptp(vertices, axis=0))
    facts = MeshFacts(size, float(area.sum()), None, len(faces), len(vertices), len(shells), True, 0, 0, 0)
    body = np.zeros(len(faces), dtype=np.int64) if body is None else body
    return Mesh(
        name, vertices, faces, kind, tuple(bodies), body,
        shell, area, 0.1 * area, 0.2 * area, tuple(openings), None, facts,
    )  # fmt: skip


def revolved(profile, sections, phase=0.0, shift=(0.0, 0.0), closed=False):
    """A profile (k, 2) of radius and height [m] turned about z; points on the axis are one vertex.

    Walking along the profile the normals point to the right in the (radius, height) plane: outward for a
    profile that goes up.
    """
    profile = np.asarray(profile, dtype=float)
    turn = phase + 2 * np.pi * np.arange(sections) / sections
    rings, vertices, count = [], [], 0
    for radius, height in profile:
        polar = radius < 1e-12
        angle = turn[:1] if polar else turn
        vertices.append(
            np.stack(
                [radius * np.cos(angle) + shift[0], radius * np.sin(angle) + shift[1], 0 * angle + height], 1
            )
        )
        ring = count + np.arange(len(angle))
        rings.append(np.broadcast_to(ring, sections) if polar else ring)
        count += len(angle)
    faces = []
    pairs = list(zip(rings, rings[1:] + rings[:1], strict=True))
    for low, high in pairs if closed else pairs[:-1]:
        low_next, high_next = np.roll(low, -1), np.roll(high, -1)
        faces += [np.stack([low, low_next, high_next], 1), np.stack([low, high_next, high], 1)]
    faces = np.concatenate(faces)
    kept = (faces[:, 0] != faces[:, 1]) & (faces[:, 1] != faces[:, 2]) & (faces[:, 2] != faces[:, 0])
    return np.concatenate(vertices), faces[kept]


def turned(shell):
    """With its normals the other way."""
    return shell[0], shell[1][:, ::-1]


def line(start, end, steps):
    """Points (steps + 1, 2) on a straight line."""
    return np.linspace(start, end, steps + 1)


def sphere(radius, rows, sections, phase=0.0):
    angle = np.linspace(-np.pi / 2, np.pi / 2, rows + 1)
    return revolved(np.stack([radius * np.cos(angle).round(15), radius * np.sin(angle)], 1), sections, phase)


def box(low, high, steps=1):
    """A closed box, each side of steps x steps squares."""
    low, high = np.asarray(low, float), np.asarray(high, float)
    grid = np.linspace(0, 1, steps + 1)
    vertices, faces = [], []
    square = np.arange((steps + 1) ** 2).reshape(steps + 1, steps + 1)
    a, b, c, d = (x.ravel() for x in (square[:-1, :-1], square[1:, :-1], square[1:, 1:], square[:-1, 1:]))
    cells = np.concatenate([np.stack([a, b, c], 1), np.stack([a, c, d], 1)])
    for axis in range(3):
        for side in (0, 1):
            points = np.zeros(((steps + 1) ** 2, 3))
            points[:, axis] = side
            points[:, (axis + 1) % 3] = np.repeat(grid, steps + 1)
            points[:, (axis + 2) % 3] = np.tile(grid, steps + 1)
            faces.append((cells if side else cells[:, ::-1]) + len(vertices) * (steps + 1) ** 2)
            vertices.append(low + points * (high - low))
    vertices, faces = np.concatenate(vertices), np.concatenate(faces)
    unique, number = np.unique(vertices.round(12), axis=0, return_inverse=True)
    return unique, number.reshape(-1)[faces]


def opening(shell, height, number=1):
    """The hole whose edge is the vertices at a height of a shell turned about z."""
    vertices = shell[0]
    ring = np.flatnonzero(np.abs(vertices[:, 2] - height) < 1e-9)
    ring = ring[np.argsort(np.arctan2(vertices[ring, 1], vertices[ring, 0]))]
    radius = float(np.hypot(vertices[ring[0], 0], vertices[ring[0], 1]))
    return Opening(
        number, np.pi * radius**2, 2 * np.pi * radius,
        np.array([0, 0, height]), np.array([0.0, 0, 1]), 0.0, ring,
    )  # fmt: skip


def pieces_of(mesh):
    """Pieces along z."""
    centre = mesh.vertices[mesh.faces].mean(axis=1)
    return Pieces(
        mesh.weight * mesh.area, 0 * mesh.area, 0 * mesh.area, centre[:, 2] - mesh.vertices[:, 2].min(),
        np.hypot(centre[:, 0], centre[:, 1]), np.arctan2(centre[:, 1], centre[:, 0]), centre,
    )  # fmt: skip


def conductance(mesh, local):
    """Sum of area over thickness [m], with half of each face where the mesh has both faces of the wall."""
    used = np.isfinite(local.thickness)
    return float((mesh.weight * mesh.area[used] / local.thickness[used]).sum())
