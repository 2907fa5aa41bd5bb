"""Four-sided sections joined one after the other: the solid that most parts of a frame are."""

from __future__ import annotations

import numpy as np

from dryfit.base.arrays import Array, IntArray
from dryfit.model.mesh import TriangleMesh


def sweep_quads(sections: Array, name: str = "", is_loop: bool = False) -> TriangleMesh:
    """The solid that runs through four-sided sections.

    sections : (k, 4, 3) [mm] corners of each section, counter-clockwise seen from the next one, looking
        back; k >= 2, or k >= 3 for a loop
    is_loop : the last section joins the first; otherwise the first and last section are end faces
    Each side between two sections is two triangles: its four corners should lie in a plane.
    Raises ValueError on another shape of sections.
    """
    least = 3 if is_loop else 2
    if sections.ndim != 3 or sections.shape[1:] != (4, 3) or len(sections) < least:
        raise ValueError(
            f"sections have shape {sections.shape}, expected (k, 4, 3) with k of at least {least}"
        )
    count = len(sections)
    start = np.arange(count if is_loop else count - 1) * 4
    following = (start + 4) % (4 * count)
    sides = [_side(start, following, corner) for corner in range(4)]
    faces = np.concatenate([*sides, np.zeros((0, 3), np.int64) if is_loop else _ends(count)])
    return TriangleMesh(sections.reshape(-1, 3), faces, name)


def _side(start: IntArray, following: IntArray, corner: int) -> IntArray:
    """(2 n, 3) triangles of one side of every stretch."""
    after = (corner + 1) % 4
    near, near_after = start + corner, start + after
    far, far_after = following + corner, following + after
    halves = [np.stack([near, near_after, far_after], axis=1), np.stack([near, far_after, far], axis=1)]
    return np.concatenate(halves).astype(np.int64)


def _ends(count: int) -> IntArray:
    """(4, 3) triangles of the two end faces."""
    last = 4 * (count - 1)
    return np.array([[0, 2, 1], [0, 3, 2], [last, last + 1, last + 2], [last, last + 2, last + 3]])
