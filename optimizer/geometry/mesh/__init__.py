"""Packages drawn as triangle meshes: reading, checking, openings, thickness between faces."""

from optimizer.geometry.mesh.clean import clean
from optimizer.geometry.mesh.load import load, load_surface
from optimizer.geometry.mesh.model import Mesh, MeshFacts, Opening, RawBody, RawMesh, Upright
from optimizer.geometry.mesh.pieces import pieces_of, upright, whole_surface

__all__ = [
    "Mesh",
    "MeshFacts",
    "Opening",
    "RawBody",
    "RawMesh",
    "Upright",
    "clean",
    "load",
    "load_surface",
    "pieces_of",
    "upright",
    "whole_surface",
]
