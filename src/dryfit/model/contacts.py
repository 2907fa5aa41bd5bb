"""The contact table: every row that measures the separation of two material points along a direction.

Rows that locate a part and rows that a characteristic is read from have the same form, so that one
set of matrices serves both.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dryfit.base.arrays import Array, BoolArray, IntArray

ON_GROUND = -1  # part index of the ground, which never moves


@dataclass(frozen=True, slots=True, eq=False)
class ContactTable:
    """n rows: separation = direction . (position of p_second - position of p_first).

    first, second   (n,)   part indices; ON_GROUND for the ground
    p_first         (n, 3) [mm] material point on the first part, nominal assembly coordinates
    p_second        (n, 3) [mm] the same on the second part
    direction       (n, 3) [-] unit, assembly axes
    n_first         (n, 3) [-] outward surface normal of the first part at its point; 0 where the point
                    is the centre of a feature (a pin, a hole), which boundary offsets do not move
    n_second        (n, 3) [-] the same for the second part
    joint           (n,)   joint index, -1 for rows of characteristics only
    is_locating     (n,)   whether the row positions a part
    is_face         (n,)   whether the row is a face contact of its joint
    play_std_mm     (n,)   [mm] standard uncertainty of seating, the weight of a locating row
    """

    first: IntArray
    second: IntArray
    p_first: Array
    p_second: Array
    direction: Array
    n_first: Array
    n_second: Array
    joint: IntArray
    is_locating: BoolArray
    is_face: BoolArray
    play_std_mm: Array

    def __post_init__(self) -> None:
        rows = len(self.first)
        for name in ("p_first", "p_second", "direction", "n_first", "n_second"):
            if getattr(self, name).shape != (rows, 3):
                raise ValueError(f"{name} has shape {getattr(self, name).shape}, expected {(rows, 3)}")
        for name in ("second", "joint", "is_locating", "is_face", "play_std_mm"):
            if getattr(self, name).shape != (rows,):
                raise ValueError(f"{name} has shape {getattr(self, name).shape}, expected {(rows,)}")
        for name in self.__slots__:
            getattr(self, name).setflags(write=False)

    def __len__(self) -> int:
        return len(self.first)

    @property
    def nominal_separation(self) -> Array:
        """(n,) [mm] separation of each row in the model."""
        separation: Array = np.einsum("ij,ij->i", self.direction, self.p_second - self.p_first)
        return separation
