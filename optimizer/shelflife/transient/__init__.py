"""Unsteady diffusion through the walls of a package, coupled to what is inside (docs/method.md, 17 to 19).

Each layer is a Legendre-Gauss-Lobatto element, each wall (at each of its thicknesses) a column of elements
between the inside and the outside. What is conserved is an amount of substance; pressures and activities follow.
"""
