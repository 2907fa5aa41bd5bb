"""A grid of distances round the part, and many poses scored or drawn closer on it at once."""

from __future__ import annotations

import numpy as np

from dryfit.base.arrays import Array
from dryfit.base.rotation import rotations_from_vectors

_CELLS = 72  # along the longest side of the box
_CHUNK = 400_000  # looked up at a time
_AGREE = 0.75  # cosine of the angle within which normals agree; common practice, no source


class DistanceGrid:
    """For each cell the nearest of many samples of the part's surface.

    points (s, 3) [mm], normals (s, 3): the samples    reach_mm: beyond it nothing counts
    """

    def __init__(self, points: Array, normals: Array, reach_mm: float) -> None:
        from scipy.spatial import cKDTree

        self.points, self.normals, self.reach_mm = points, normals, reach_mm
        low, high = points.min(axis=0) - 1.5 * reach_mm, points.max(axis=0) + 1.5 * reach_mm
        self.cell_mm = float((high - low).max()) / _CELLS
        self._low = low
        self._size = np.maximum(np.ceil((high - low) / self.cell_mm).astype(np.int64), 1)
        axes = [low[k] + (np.arange(self._size[k]) + 0.5) * self.cell_mm for k in range(3)]
        centres = np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1).reshape(-1, 3)
        far = reach_mm + self.cell_mm
        _, index = cKDTree(points).query(centres, distance_upper_bound=far, workers=2)
        # The last number stands for "nothing near"; so does every place out of the box.
        self._nearest = np.append(index.astype(np.int32), len(points))
        # Coordinates apart, and in few digits: millions of places are looked up.
        self._samples = np.vstack([points, np.full(3, 1e9)]).T.astype(np.float32)
        self._along = np.vstack([normals, np.zeros(3)]).T.astype(np.float32)

    def look_up(self, places: Array) -> np.ndarray:
        """Number of the nearest sample (p, n) at places (p, 3, n); that of samples where none is near."""
        shape = (len(places), places.shape[2])
        flat, is_in = np.zeros(shape, dtype=np.int32), np.ones(shape, dtype=np.bool_)
        for k in range(3):
            step = np.floor((places[:, k] - np.float32(self._low[k])) / np.float32(self.cell_mm))
            inside = (step >= 0) & (step < self._size[k])
            is_in &= inside
            flat = flat * np.int32(self._size[k]) + np.where(inside, step, 0.0).astype(np.int32)
        return self._nearest[np.where(is_in, flat, len(self._nearest) - 1)]

    def _compare(
        self, turn: Array, shift: Array, points: Array, normals: Array
    ) -> tuple[Array, Array, Array, Array, Array]:
        """Places (p, 3, n), normals there (p, 3, n), cosine, height and squared distance (p, n) to the samples."""
        places = turn @ points.T + shift[:, :, None]
        index = self.look_up(places)
        along = [self._along[k][index] for k in range(3)]
        turned = turn @ normals.T
        away = [places[:, k] - self._samples[k][index] for k in range(3)]
        cosine, height, square = (
            one[0] * two[0] + one[1] * two[1] + one[2] * two[2]
            for one, two in ((turned.transpose(1, 0, 2), along), (away, along), (away, away))
        )
        return places, np.stack(along, axis=1), cosine, height, square

    def score(
        self, rotations: Array, shifts: Array, points: Array, normals: Array, is_oriented: bool
    ) -> Array:
        """For each pose (p,) the mean over points of how near they come to the part: 1 on it, 0 out of reach.

        rotations (p, 3, 3), shifts (p, 3)    points, normals (n, 3) of the scan
        """
        result = np.zeros(len(rotations))
        block = max(1, _CHUNK // len(points))
        points, normals = points.astype(np.float32), normals.astype(np.float32)
        rotations, shifts = rotations.astype(np.float32), shifts.astype(np.float32)
        for start in range(0, len(rotations), block):
            turn, shift = rotations[start : start + block], shifts[start : start + block]
            _, _, cosine, height, square = self._compare(turn, shift, points, normals)
            # Samples lie apart: along the surface a point may be farther from the next one than across.
            reached = np.maximum(1.0 - (height / self.reach_mm) ** 2, 0.0)
            near = square < (1.5 * self.reach_mm) ** 2
            agrees = (cosine if is_oriented else np.abs(cosine)) > _AGREE
            result[start : start + block] = (reached * (near & agrees)).mean(axis=1)
        return result

    def draw_closer(
        self,
        rotations: Array,
        shifts: Array,
        points: Array,
        normals: Array,
        is_oriented: bool,
        rounds: int = 12,
    ) -> tuple[Array, Array]:
        """Poses after some steps of point-to-plane least squares with points out of reach left out.

        Source: Chen and Medioni 1992 (memory).
        """
        turn, shift = rotations.copy(), shifts.copy()
        length = 0.25 * float(np.linalg.norm(np.ptp(self.points, axis=0)))
        for step in range(rounds):
            reach = self.reach_mm * (1.5 - 0.9 * step / rounds)
            places, along, cosine, height, square = self._compare(turn, shift, points, normals)
            agrees = (cosine if is_oriented else np.abs(cosine)) > 0.5
            near = square < (1.5 * reach) ** 2
            weight = np.maximum(1.0 - (height / reach) ** 2, 0.0) ** 2 * (near & agrees)
            middle = places.mean(axis=2)
            arm = (places - middle[:, :, None]) / length
            row = np.concatenate([np.cross(arm, along, axis=1), along], axis=1)
            matrix = (weight[:, None, :] * row) @ row.transpose(0, 2, 1)
            right = -(row @ (weight * height)[:, :, None])[:, :, 0]
            damp = 1e-3 * np.trace(matrix, axis1=1, axis2=2)[:, None, None] * np.eye(6) + 1e-12 * np.eye(6)
            move = np.linalg.solve(matrix + damp, right[:, :, None])[:, :, 0]
            move[:, :3] = np.clip(move[:, :3] / length, -0.2, 0.2)
            small = rotations_from_vectors(move[:, :3])
            shift = (
                np.einsum("pij,pj->pi", small, shift - middle) + middle + np.clip(move[:, 3:], -reach, reach)
            )
            turn = small @ turn
        return turn, shift
