"""Affine transforms that place an object in its file, and what they do to a surface."""

from __future__ import annotations

import numpy as np

from dryfit.base.arrays import Array, IntArray
from dryfit.files.mesh.check import LARGEST_COORDINATE
from dryfit.files.mesh.source import Source

# Below this ratio of smallest to largest stretch a transform flattens (common practice, no source).
_SINGULAR_RATIO = 1e-9
_SCALE_DIGITS = 1e-6


def check_transform(source: Source, matrix: Array, place: str) -> None:
    """Raises MeshRefused where a (4, 4) transform is not finite, absurdly large, or flattens the body."""
    if not (np.abs(matrix) <= LARGEST_COORDINATE).all():
        raise source.refuse("a transform is not finite or absurdly large", place)
    stretch = np.linalg.svd(matrix[:3, :3], compute_uv=False)
    if not stretch[2] > _SINGULAR_RATIO * stretch[0]:
        raise source.refuse("a transform is singular: it flattens the body", place)


def apply_transform(
    matrix: Array, vertices: Array, faces: IntArray
) -> tuple[Array, IntArray, tuple[str, ...]]:
    """Vertices and faces after a (4, 4) transform, column vectors, with notes.

    A mirroring transform turns the surface inside out unless the faces are wound the other way round.
    """
    if (matrix == np.eye(4)).all():
        return vertices, faces, ()
    notes = []
    moved = vertices @ matrix[:3, :3].T + matrix[:3, 3]
    if np.linalg.det(matrix[:3, :3]) < 0:
        faces = faces[:, ::-1]
        notes.append("a mirroring transform: the faces are wound the other way round, to face outwards still")
    stretch = np.linalg.svd(matrix[:3, :3], compute_uv=False)
    if np.abs(stretch - 1.0).max() > _SCALE_DIGITS:
        factors = " x ".join(f"{factor:.6g}" for factor in stretch)
        notes.append(f"the file's own transform scales the body by {factors}")
    return moved, faces, tuple(notes)
