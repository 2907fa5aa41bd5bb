"""Tessellated bodies of known size, as a modelling program would export them."""

from __future__ import annotations

import numpy as np
from scipy.spatial import ConvexHull
from scipy.spatial.transform import Rotation

from dryfit.model.mesh import TriangleMesh
from support.shapes import revolved


class Moved:
    """A mesh turned, shifted, rounded to single precision and written triangle by triangle like STL."""

    def __init__(self, mesh, seed, noise_mm=0.0):
        rng = np.random.default_rng(seed)
        self.rotation = Rotation.random(random_state=seed).as_matrix()
        self.shift = np.array([100.0, 50.0, 200.0])
        noisy = mesh.vertices + rng.normal(0.0, noise_mm, mesh.vertices.shape)
        vertices = (noisy @ self.rotation.T + self.shift).astype(np.float32).astype(np.float64)
        faces = mesh.faces[rng.permutation(len(mesh.faces))]
        self.mesh = TriangleMesh(vertices[faces].reshape(-1, 3), np.arange(3 * len(faces)).reshape(-1, 3))

    def point(self, at):
        return np.asarray(at, dtype=float) @ self.rotation.T + self.shift

    def direction(self, along):
        along = np.asarray(along, dtype=float)
        return along @ self.rotation.T / np.linalg.norm(along)


def rounded_box(size_mm, radius_mm, steps):
    """Box with all edges rounded: the hull of an eighth of a sphere at each corner, steps to the quarter."""
    angle = np.linspace(0.0, np.pi / 2, steps + 1)
    tilt, turn = (grid.ravel() for grid in np.meshgrid(angle[:-1], angle, indexing="ij"))
    octant = np.column_stack([np.cos(tilt) * np.cos(turn), np.cos(tilt) * np.sin(turn), np.sin(tilt)])
    octant = np.vstack([octant, [0.0, 0.0, 1.0]])
    signs = np.array(np.meshgrid([1, -1], [1, -1], [1, -1])).reshape(3, -1).T
    half = np.asarray(size_mm) / 2 - radius_mm
    points = np.vstack([sign * (half + radius_mm * octant) for sign in signs])
    hull = ConvexHull(points, qhull_options="Qt")
    faces, corners = hull.simplices.copy(), points[hull.simplices]
    outward = np.einsum(
        "ij,ij->i",
        np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]),
        corners.mean(axis=1),
    )
    faces[outward < 0] = faces[outward < 0][:, ::-1]
    return TriangleMesh(points, faces)


def flange(sides):
    """Disc r 30, 5 high; a fillet of 4 up to a boss of r 10 from 9 to 30; a cone up to r 6 at 45."""
    turn = np.linspace(0.0, np.pi / 2, sides // 4 + 1)
    radii = [30, 30, *(14 - 4 * np.sin(turn)), 10, 6]
    heights = [0, 5, *(9 - 4 * np.cos(turn)), 30, 45]
    return revolved(radii, heights, sides)


def sphere(radius_mm, sides):
    angle = np.linspace(0.0, np.pi, sides // 2 + 1)[1:-1]
    return revolved(radius_mm * np.sin(angle), -radius_mm * np.cos(angle), sides)


def box(size_mm, cuts=1):
    """A box about the origin, each side a grid of cuts x cuts squares."""
    vertices, faces, count = [], [], 0
    grid = np.linspace(-0.5, 0.5, cuts + 1)
    u, v = (item.ravel() for item in np.meshgrid(grid, grid, indexing="ij"))
    i, j = (item.ravel() for item in np.meshgrid(np.arange(cuts), np.arange(cuts), indexing="ij"))
    a = i * (cuts + 1) + j
    quads = np.column_stack([a, a + cuts + 1, a + cuts + 2, a + 1])
    for axis in range(3):
        for sign in (1, -1):
            side = np.empty((len(u), 3))
            side[:, axis], side[:, (axis + 1) % 3], side[:, (axis + 2) % 3] = 0.5 * sign, u, v
            vertices.append(side * size_mm)
            rows = quads if sign > 0 else quads[:, ::-1]
            faces += [rows[:, [0, 1, 2]] + count, rows[:, [0, 2, 3]] + count]
            count += len(u)
    return TriangleMesh(np.vstack(vertices), np.vstack(faces))
