"""The points of a scan on some triangles of the part, gathered by cells so that features can be fitted."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dryfit.base.arrays import Array, BoolArray, IntArray
from dryfit.calc.scans.deviation import PointDeviations, medians_by
from dryfit.calc.scans.thinning import voxel_keys

_CELLS = 16  # along the diagonal of a face
LEAST_CELLS = 6
_LOCAL = 5.0


@dataclass(frozen=True, slots=True, eq=False)
class CellPoints:
    """One point for each cell of a face that the scan shows.

    points (c, 3) [mm] in the part's frame: foot of the cell's middle point, moved out by the median deviation
    feet (c, 3), normals (c, 3) of the part there      deviation_mm (c,) median      count (c,)
    used, left_out  points of the scan
    """

    points: Array
    feet: Array
    normals: Array
    deviation_mm: Array
    count: IntArray
    used: int
    left_out: int

    @property
    def is_enough(self) -> bool:
        """Whether a feature can be fitted to them."""
        return len(self.points) >= LEAST_CELLS


def gather_cells(found: PointDeviations, is_mine: BoolArray, size_mm: float) -> CellPoints:
    """Points of the scan whose foot lies on chosen triangles, gathered by cells of a sixteenth of size_mm.

    is_mine : (m,) by triangle of the prepared surface; size_mm: diagonal of the face
    """
    mine = np.flatnonzero(found.is_used & is_mine[found.triangle])
    if not len(mine):
        none = np.zeros((0, 3))
        return CellPoints(none, none, none, np.zeros(0), np.zeros(0, dtype=np.int64), 0, 0)
    value, foot, normal = found.distance_mm[mine], found.foot_mm[mine], found.normal[mine]
    middle = float(np.median(value))
    scatter = 1.4826 * float(np.median(np.abs(value - middle)))
    key = voxel_keys(foot, max(size_mm / _CELLS, 1e-9), foot.min(axis=0))
    cell = np.unique(key, return_inverse=True)[1].reshape(-1)
    count = int(cell.max()) + 1
    centre = medians_by(cell, value, count)[1]
    kept = np.abs(value - centre[cell]) <= _LOCAL * max(scatter, 1e-12)
    left_out = int((~kept).sum())
    cell, value, foot, normal = cell[kept], value[kept], foot[kept], normal[kept]
    held = np.bincount(cell, minlength=count)
    full = held > 0
    deviation = medians_by(cell, value, count)[1]
    sums = [np.bincount(cell, foot[:, k], count) for k in range(3)]
    mean = np.stack(sums, axis=1)[full] / held[full, None]
    # The mean of feet on a round lies inside it: the nearest foot is on the surface.
    order = np.lexsort((((foot - _spread(mean, full)[cell]) ** 2).sum(axis=1), cell))
    first = order[np.concatenate([[0], np.cumsum(held[full])[:-1]])]
    feet, out = foot[first], normal[first]
    shown = feet + deviation[full, None] * out
    return CellPoints(shown, feet, out, deviation[full], held[full], int(kept.sum()), left_out)


def _spread(rows: Array, full: BoolArray) -> Array:
    result = np.zeros((len(full), 3))
    result[full] = rows
    return result
