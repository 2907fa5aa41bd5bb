"""The hash of a shape in its place: the same for every file that holds the same triangles there."""

from __future__ import annotations

import hashlib
from typing import Any

import numpy as np
import numpy.typing as npt

from dryfit.base.arrays import BoolArray, IntArray
from dryfit.model.mesh import TriangleMesh

# Coordinates are hashed to a nanometre: formats and unit factors leave less than that behind, printers far more.
# The steps lie off the round decimals on which modellers put their points, so that no rounding tips them over.
STEP_MM = 1e-6
_OFF = 0.3137
_FACTORS = (0x9E3779B97F4A7C15, 0xC2B2AE3D27D4EB4F, 0x165667B19E3779F9)
_HashArray = npt.NDArray[np.uint64]


def hash_geometry(mesh: TriangleMesh) -> str:
    """SHA-256 of the triangles of a mesh where they lie.

    Order of vertices and triangles, the corner with which a triangle begins, and vertices written twice do not
    count; the side that a triangle shows does. Two meshes of one hash are the same to a nanometre; two hashes
    say only that they need to be compared, for rounding may split what is as good as equal.
    """
    rows = _rows_of(mesh)
    keys = _mixed(rows)
    ordered = rows[np.argsort(keys, kind="stable")]
    digest = hashlib.sha256(np.ascontiguousarray(ordered, dtype="<i8").tobytes())
    digest.update(str(len(rows)).encode())
    return digest.hexdigest()


def changed_triangles(old: TriangleMesh, new: TriangleMesh) -> tuple[IntArray, IntArray]:
    """Triangles of each mesh (k,), (l,) that the other does not have in the same place."""
    keys = [_mixed(_rows_of(mesh)) for mesh in (old, new)]
    is_gone: BoolArray = ~np.isin(keys[0], keys[1])
    is_new: BoolArray = ~np.isin(keys[1], keys[0])
    return np.flatnonzero(is_gone).astype(np.int64), np.flatnonzero(is_new).astype(np.int64)


def _rows_of(mesh: TriangleMesh) -> npt.NDArray[np.int64]:
    """(m, 9) corners in steps, each triangle begun at the corner of the least number, its turning sense kept."""
    steps = np.floor(np.asarray(mesh.vertices) / STEP_MM + _OFF).astype(np.int64)
    # Each place has a number of its own, whatever vertex names it and in whichever mesh.
    numbers = _mixed(steps)
    faces = mesh.faces
    start = numbers[faces].argmin(axis=1)[:, None]
    turned = np.take_along_axis(faces, (start + np.arange(3)) % 3, axis=1)
    return steps[turned].reshape(-1, 9)


def _mixed(rows: npt.NDArray[np.int64]) -> _HashArray:
    """A 64-bit number for each row; equal for equal rows, and by all likelihood for those alone."""
    key: _HashArray = np.zeros(len(rows), dtype=np.uint64)
    columns: Any = rows.view(np.uint64)
    for k in range(rows.shape[1]):
        key ^= columns[:, k] + np.uint64(_FACTORS[k % 3])
        key *= np.uint64(_FACTORS[(k + 1) % 3])
        key ^= key >> np.uint64(31)
    return key
