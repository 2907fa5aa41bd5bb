"""Faults of single faces and vertices: no area, there twice, of no use, too far away."""

from __future__ import annotations

import numpy as np

from dryfit.base.arrays import Array, BoolArray, IntArray, bounds_of, corners_of
from dryfit.base.equal_rows import first_equal_rows
from dryfit.calc.health.record import HealthOptions, Problem, rank_places

# A face whose double area is below this share of its longest edge squared is a needle or a point: its normal
# is rounding (common practice, no source). The measures of a mesh use the same.
DEGENERATE_RATIO = 1e-12
_FAR_SIZES = 2.0  # farther from the origin than this many of its own sizes, moving it would help
_STEPS_PER_EDGE = 4.0  # an edge of fewer steps of single precision has lost its direction


def are_degenerate(vertices: Array, faces: IntArray, normals: Array) -> BoolArray:
    """(m,) whether faces have no area; normals : (m, 3) as long as twice their area."""
    longest = np.zeros(len(faces))
    corners = corners_of(vertices, faces)
    for k in range(3):
        edge = corners[k] - corners[k - 1]
        np.maximum(longest, np.einsum("ij,ij->i", edge, edge), out=longest)
    return np.asarray(np.linalg.norm(normals, axis=1) <= DEGENERATE_RATIO * longest)


def degenerate_problem(vertices: Array, faces: IntArray, is_degenerate: BoolArray) -> Problem | None:
    """Faces without area; the longest first."""
    triangles = np.flatnonzero(is_degenerate)
    if not len(triangles):
        return None
    corners = vertices[faces[triangles]]
    length = np.linalg.norm(np.ptp(corners, axis=1), axis=1)
    ranked = rank_places(corners.mean(axis=1), length)
    return Problem("degenerate faces", len(triangles), triangles, *ranked, float(length.max()), "mm")


def find_duplicates(faces: IntArray) -> BoolArray:
    """(m,) whether an earlier face has the same three corners, whichever way round."""
    ordered = np.sort(faces, axis=1)
    return np.asarray(first_equal_rows(ordered) != np.arange(len(faces)))


def duplicate_problem(
    vertices: Array, faces: IntArray, is_duplicate: BoolArray, areas: Array
) -> Problem | None:
    """Faces that are there more than once; members: those that run the other way than the first."""
    extra = np.flatnonzero(is_duplicate)
    if not len(extra):
        return None
    first = first_equal_rows(np.sort(faces, axis=1)).astype(np.int64)[extra]
    opposite = _parity(faces[extra]) != _parity(faces[first])
    triangles = np.unique(np.concatenate([extra, first]))
    ranked = rank_places(vertices[faces[extra]].mean(axis=1), areas[extra])
    amount = float(areas[extra].sum())
    members = int(np.count_nonzero(opposite))
    return Problem("duplicate faces", len(extra), triangles, *ranked, amount, "mm2", members=members)


def _parity(faces: IntArray) -> BoolArray:
    """Whether a face runs through its corners in rising order, from the least on."""
    least = np.argmin(faces, axis=1)
    rows = np.arange(len(faces))
    rising: BoolArray = faces[rows, (least + 1) % 3] < faces[rows, (least + 2) % 3]
    return rising


def unused_problem(vertices: Array, faces: IntArray) -> Problem | None:
    """Vertices that no face names."""
    unused = np.flatnonzero(~_are_used(vertices, faces))
    if not len(unused):
        return None
    ranked = rank_places(vertices[unused], np.zeros(len(unused)))
    return Problem("unused vertices", len(unused), np.zeros(0, dtype=np.int64), *ranked)


def _are_used(vertices: Array, faces: IntArray) -> BoolArray:
    """(n,) whether any face names a vertex."""
    is_used = np.zeros(len(vertices), dtype=bool)
    for k in range(3):
        is_used[faces[:, k]] = True
    return is_used


def single_step_mm(vertices: Array) -> float:
    """Step of single precision at the farthest coordinate [mm]: what an STL file can tell apart there."""
    return float(np.spacing(np.float32(min(np.abs(vertices).max(initial=0.0), 3e38))))


def distance_problem(vertices: Array, faces: IntArray, options: HealthOptions) -> Problem | None:
    """Whether a mesh lies so far from the origin that single precision spoils it.

    It does where half the precision needed is lost, or where edges are shorter than a few steps, and the mesh
    is farther off than its own size, so that moving it would help.
    """
    if not len(faces):
        return None
    used = vertices[_are_used(vertices, faces)]
    farthest = float(np.abs(used).max())
    low, high = bounds_of(used)
    size = float((high - low).max())
    if farthest <= _FAR_SIZES * size:
        return None
    step = single_step_mm(used)
    corners = corners_of(vertices, faces)
    edges = np.concatenate([np.linalg.norm(corners[k] - corners[k - 1], axis=1) for k in range(3)])
    short = int(np.count_nonzero((edges > 0) & (edges < _STEPS_PER_EDGE * step)))
    if step <= options.needed_mm / 2.0 and short == 0:
        return None
    middle = ((low + high) / 2.0)[None]
    return Problem(
        "far from origin", 1, np.zeros(0, dtype=np.int64), middle, np.array([step]), step, "mm", members=short
    )
