"""Packages drawn as triangle meshes: reading, checking, openings, thickness between faces. Only here is
trimesh used."""

from optimizer.geometry.mesh.load import MeshBody, MeshFacts, load_mesh, load_surface

__all__ = ["MeshBody", "MeshFacts", "load_mesh", "load_surface"]
