"""Tessellated bodies with their exact volumes and areas, as polyhedra and in the limit."""

from __future__ import annotations

import numpy as np

from dryfit.model.mesh import TriangleMesh


def revolved(radii, heights, sides):
    """A closed body of revolution about z: rings of the given radii, closed by a point at each end."""
    angles = 2 * np.pi * np.arange(sides) / sides
    ring = np.stack([np.cos(angles), np.sin(angles), np.zeros(sides)], axis=1)
    rings = [ring * [r, r, 0] + [0, 0, z] for r, z in zip(radii, heights, strict=True)]
    vertices = np.concatenate([*rings, [[0, 0, heights[0]], [0, 0, heights[-1]]]])
    faces = []
    for level in range(len(radii) - 1):
        for i in range(sides):
            a, b = level * sides + i, level * sides + (i + 1) % sides
            faces += [[a, b, b + sides], [a, b + sides, a + sides]]
    bottom, top, last = len(vertices) - 2, len(vertices) - 1, (len(radii) - 1) * sides
    for i in range(sides):
        j = (i + 1) % sides
        faces += [[bottom, j, i], [top, last + i, last + j]]
    return TriangleMesh(vertices, np.array(faces))


def torus(major, minor, around, across):
    """A closed grid of around x across quadrangles, each cut in two."""
    u, v = np.meshgrid(
        2 * np.pi * np.arange(around) / around, 2 * np.pi * np.arange(across) / across, indexing="ij"
    )
    radius = major + minor * np.cos(v)
    vertices = np.stack([radius * np.cos(u), radius * np.sin(u), minor * np.sin(v)], axis=-1).reshape(-1, 3)
    i, j = (grid.ravel() for grid in np.meshgrid(np.arange(around), np.arange(across), indexing="ij"))
    i2, j2 = (i + 1) % around, (j + 1) % across
    a, b, c, d = i * across + j, i2 * across + j, i2 * across + j2, i * across + j2
    faces = np.concatenate([np.stack([a, b, c], axis=1), np.stack([a, c, d], axis=1)])
    return TriangleMesh(vertices, faces)
