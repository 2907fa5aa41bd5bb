"""Directions of view, and the factor by which a small departure is drawn larger."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dryfit.base.arrays import Array, locked

# Round numbers that a reader can divide by; ISO 3 calls 1, 2, 5 the R 3 series (memory).
_FACTORS = (1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0)
_LARGEST_SHARE = 0.05
_NOTHING = 1e-9  # of the view: rounding, not a departure


@dataclass(frozen=True, slots=True, eq=False)
class Direction:
    """A parallel projection.

    axes    (2, 3) unit: assembly axes that point right and up on the sheet
    toward  (3,) unit: from the model to the viewer
    """

    axes: Array
    toward: Array

    def __post_init__(self) -> None:
        object.__setattr__(self, "axes", locked(self.axes, (2, 3), "axes"))
        object.__setattr__(self, "toward", locked(self.toward, (3,), "toward"))


# Seen from above, along -Z; and from the front, along +Y.
PLAN = Direction(np.array([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0]]), np.array([0.0, 0.0, 1.0]))
ELEVATION = Direction(np.array([[1.0, 0.0, 0.0], [0.0, 0.0, 1.0]]), np.array([0.0, -1.0, 0.0]))


def project_points(points: Array, direction: Direction) -> Array:
    """(n, 2) coordinates on the sheet of points (n, 3), same unit."""
    flat: Array = points @ direction.axes.T
    return flat


def depths_of(points: Array, direction: Direction) -> float:
    """How near the viewer a body lies: the middle of its extent toward the viewer."""
    toward = points @ direction.toward
    return 0.5 * float(toward.min() + toward.max())


def round_factor(largest_departure: float, view_size: float) -> float:
    """The largest of 1, 2, 5, ... 200 that draws a departure no larger than 5 % of the view.

    Both in one unit. No departure is drawn as it is: nothing would be seen of it at any factor.
    """
    if largest_departure <= _NOTHING * view_size:
        return 1.0
    most = _LARGEST_SHARE * view_size / largest_departure
    return max((factor for factor in _FACTORS if factor <= most), default=1.0)
