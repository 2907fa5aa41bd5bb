"""The boundary offset: how the corners of a mesh move when each outline in a level slice grows by one millimetre.

Outlines lie in level slices, so that a face whose unit normal is N moves by the length of the level part of
N along N: an upright face by one, a level face not at all, an inclined one by what the shift of its outline
is across it. A corner moves so that each of its faces does:

    N_i . m = |level part of N_i|   for every face i at the corner

Three faces that do not lie in line fix m. Where more than three meet, the equations may contradict one
another; then the corner would have to become several, and the best m is taken and its residual reported.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dryfit.base.arrays import Array, BoolArray, IntArray, cross, locked

# A face within about one degree of level is a top or bottom face, as in the error model of the forecast.
_LEVEL = 0.02
# Directions in which the normals at a corner differ by less than 1e-4 (the root of this) are one direction.
_RANK = 1e-8
# Largest relative residual of a corner that still counts as exact: 0.2 um for an offset of 0.2 mm.
_EXACT = 1e-3


@dataclass(frozen=True, slots=True, eq=False)
class Outline:
    """Motion of the vertices of a mesh under its outlines.

    motion    (n, 3) [-] per millimetre of offset, machine axes
    residual  (n,) [-] by how much the worst face at each vertex fails to move as it should
    """

    motion: Array
    residual: Array

    def __post_init__(self) -> None:
        object.__setattr__(self, "motion", locked(self.motion, (None, 3), "motion"))
        object.__setattr__(self, "residual", locked(self.residual, (None,), "residual"))

    @property
    def is_exact(self) -> BoolArray:
        """(n,) whether every face at the vertex moves as it should."""
        exact: BoolArray = self.residual <= _EXACT
        return exact

    @property
    def longest(self) -> float:
        """The longest motion: a sharp edge moves further than its faces."""
        return float(np.linalg.norm(self.motion, axis=1).max(initial=0.0))


def outline_motion(vertices: Array, faces: IntArray) -> Outline:
    """How the vertices of a mesh move per millimetre by which its outlines grow.

    vertices : (n, 3) [mm] machine axes
    faces : (m, 3) counter-clockwise seen from outside; those without area are passed over
    Vertices that coincide must be one: the corner would otherwise tear.
    """
    a, b, c = (vertices[faces[:, corner]] for corner in range(3))
    double = cross(b - a, c - a)
    size = np.linalg.norm(double, axis=1)
    has_area = size > 0
    normals = double[has_area] / size[has_area, None]
    wanted = np.linalg.norm(normals[:, :2], axis=1)
    wanted[wanted <= _LEVEL] = 0.0
    corner = faces[has_area].ravel()
    weight = _corner_angles(vertices, faces[has_area]).ravel()
    face = np.repeat(np.arange(len(normals)), 3)
    motion = _solve_corners(len(vertices), corner, weight, normals[face], wanted[face])
    miss = np.abs(np.einsum("ij,ij->i", normals[face], motion[corner]) - wanted[face])
    residual = np.zeros(len(vertices))
    np.maximum.at(residual, corner, miss)
    return Outline(motion, residual)


def _solve_corners(count: int, corner: IntArray, weight: Array, normals: Array, wanted: Array) -> Array:
    """(count, 3) shortest least squares solution of the equations of each corner."""
    matrix = np.zeros((count, 9))
    right = np.zeros((count, 3))
    outer = (normals[:, :, None] * normals[:, None, :]).reshape(-1, 9) * weight[:, None]
    for column in range(9):
        matrix[:, column] = np.bincount(corner, outer[:, column], count)
    for column in range(3):
        right[:, column] = np.bincount(corner, weight * wanted * normals[:, column], count)
    values, vectors = np.linalg.eigh(matrix.reshape(count, 3, 3))
    enough = values > _RANK * np.maximum(values[:, 2:], 1e-300)
    inverse = np.where(enough, 1.0 / np.where(enough, values, 1.0), 0.0)
    along = np.einsum("nji,nj->ni", vectors, right) * inverse
    motion: Array = np.einsum("nij,nj->ni", vectors, along)
    return motion


def _corner_angles(vertices: Array, faces: IntArray) -> Array:
    """(m, 3) angle of each face at each of its corners [rad]: how a face is cut into triangles has no say."""
    angles = np.empty((len(faces), 3))
    for corner in range(3):
        here = vertices[faces[:, corner]]
        one = vertices[faces[:, (corner + 1) % 3]] - here
        other = vertices[faces[:, (corner + 2) % 3]] - here
        sine = np.linalg.norm(cross(one, other), axis=1)
        angles[:, corner] = np.arctan2(sine, np.einsum("ij,ij->i", one, other))
    return angles
