"""A hash of a part's own shape, whatever file it comes in and in whatever order its triangles stand."""

from __future__ import annotations

import hashlib

import numpy as np

from dryfit.app.geometry import PartShape
from dryfit.base.arrays import Array

# Coordinates are compared in steps of a tenth of a micrometre, well below what any mesh format rounds to. The
# steps lie off the round decimals on which modellers put their points, so that no rounding tips them over.
_STEP_MM = 1e-4
_OFF = 0.3137


def hash_shape(shape: PartShape) -> str:
    """SHA-256 of the triangles of a part in its own design frame; a part that is only moved keeps it.

    Order of triangles, of vertices and their numbering do not count; which side is outside does.
    """
    placement = shape.part.placement
    own = (shape.mesh.vertices - placement.translation_mm) @ placement.rotation
    return hashlib.sha256(_canonical(own[shape.mesh.faces]).tobytes()).hexdigest()


def _canonical(corners: Array) -> np.ndarray:
    """(m, 9) whole steps: each triangle begins with its least corner, and the triangles are sorted."""
    steps = np.floor(corners / _STEP_MM + _OFF).astype("<i8")
    order = np.lexsort((steps[:, :, 2], steps[:, :, 1], steps[:, :, 0]), axis=1)
    turned = (order[:, :1] + np.arange(3)) % 3
    rows = np.take_along_axis(steps, turned[:, :, None], axis=1).reshape(-1, 9)
    return np.ascontiguousarray(rows[np.lexsort(rows.T[::-1])])
