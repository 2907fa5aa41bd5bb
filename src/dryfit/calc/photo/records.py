"""What the methods of this package share: marks with their covariance, sizes with theirs, and refusals.

Pixel coordinates run right and down; the centre of the first pixel is (0, 0). Lengths are in mm throughout.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from dryfit.base.arrays import Array, locked
from dryfit.base.errors import ComputationRefused


@dataclass(frozen=True, slots=True, eq=False)
class Sizes:
    """Sizes measured together on photographs.

    values_mm   (n,)
    covariance  (n, n) [mm2] of all of them together: sizes from one photograph share its camera
    notes       what was assumed or could not be corrected, in sentences; empty where nothing was
    """

    values_mm: Array
    covariance: Array
    notes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        object.__setattr__(self, "values_mm", locked(self.values_mm, (None,), "values_mm"))
        count = len(self.values_mm)
        object.__setattr__(self, "covariance", locked(self.covariance, (count, count), "covariance"))

    @property
    def std_mm(self) -> Array:
        """(n,) [mm] standard uncertainties."""
        std: Array = np.sqrt(np.diag(self.covariance))
        return std


def refusal(what: str, where: str, do: str) -> ComputationRefused:
    """The refusal of a computation on photographs; the caller raises it."""
    return ComputationRefused(what, where, do)


def checked_marks(marks_px: Array, name: str = "marks_px") -> Array:
    """The marks (n, 2), finite, locked. Raises ValueError otherwise."""
    return locked(marks_px, (None, 2), name)


def mark_covariances(std_px: float | Array, count: int) -> Array:
    """Covariance (n, 2, 2) [px2] of marks.

    std_px : one standard uncertainty for all, (n,) one for each mark, or (n, 2, 2) covariances as they are
    Raises ValueError where one is not positive or the shape is another.
    """
    given = np.asarray(std_px, dtype=np.float64)
    if given.ndim <= 1:
        spread = np.broadcast_to(given, (count,))
        if not (np.isfinite(spread).all() and (spread > 0.0).all()):
            raise ValueError("a mark needs a standard uncertainty above zero, in pixels")
        result: Array = (spread**2)[:, None, None] * np.eye(2)
        return result
    if given.shape != (count, 2, 2):
        raise ValueError(f"covariances of marks have shape {given.shape}, expected ({count}, 2, 2)")
    if not np.isfinite(given).all() or np.linalg.eigvalsh(given).min(initial=np.inf) <= 0.0:
        raise ValueError("the covariance of a mark must be positive definite")
    return given.copy()


def full_covariance(std_px: float | Array, count: int) -> Array:
    """Covariance (2n, 2n) [px2] of marks taken together, x and y of the first, then of the second.

    std_px : as for mark_covariances, or (2n, 2n) where the marks share a cause, as one lens is
    Raises ValueError where it is not positive definite.
    """
    given = np.asarray(std_px, dtype=np.float64)
    if given.shape != (2 * count, 2 * count) or given.ndim != 2 or count == 1:
        return block_diagonal(mark_covariances(std_px, count))
    if not np.isfinite(given).all() or np.linalg.eigvalsh(given).min() <= 0.0:
        raise ValueError("the covariance of the marks must be positive definite")
    return given.copy()


def block_diagonal(blocks: Array) -> Array:
    """(n k, n k) matrix with blocks (n, k, k) along its diagonal."""
    count, size = blocks.shape[:2]
    whole = np.zeros((count, size, count, size))
    index = np.arange(count)
    whole[index, :, index, :] = blocks
    return whole.reshape(count * size, count * size)


def slopes(function: Callable[[Array], Array], at: Array, reach: Array | None = None) -> Array:
    """(m, n) derivatives of a smooth function (n,) -> (m,), by central differences.

    reach : (n,) sizes over which it is nearly straight; 1 or the value itself where none are given
    """
    values = np.asarray(at, dtype=np.float64)
    steps = 6e-6 * (np.maximum(np.abs(values), 1.0) if reach is None else reach)
    columns = []
    for index, step in enumerate(steps):
        up, down = values.copy(), values.copy()
        up[index] += step
        down[index] -= step
        columns.append((function(up) - function(down)) / (up[index] - down[index]))
    return np.stack(columns, axis=1) if columns else np.zeros((len(function(values)), 0))


def checked_pairs(pairs: Sequence[tuple[int, int]] | Array, count: int, what: str) -> np.ndarray:
    """Pairs (n, 2) of different indices below count. Raises ValueError otherwise."""
    index = np.asarray(pairs, dtype=np.int64).reshape(-1, 2)
    if index.size and (index.min() < 0 or index.max() >= count):
        raise ValueError(f"{what} names a point outside 0 to {count - 1}")
    if (index[:, 0] == index[:, 1]).any():
        raise ValueError(f"{what} joins a point to itself")
    return index


def floats(values: Any) -> Array:
    """The same as an array of float64."""
    return np.asarray(values, dtype=np.float64)


def homogeneous(points: Array) -> Array:
    """(n, 3) points with a one appended."""
    return np.column_stack([points, np.ones(len(points))])


def chi_square_limit(level: float, dof: int) -> float:
    """Value that a chi-square variable of dof degrees of freedom exceeds with probability level."""
    from scipy.special import chdtri

    return float(chdtri(dof, level))


def chance_of(vpv: float, dof: int) -> float | None:
    """Probability that a weighted sum of squares exceeds vpv by chance; None without degrees of freedom."""
    from scipy.special import chdtrc

    return float(chdtrc(dof, vpv)) if dof > 0 else None
