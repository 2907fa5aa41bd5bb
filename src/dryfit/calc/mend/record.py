"""What mending is asked for, and what it did."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dryfit.base.arrays import Array, IntArray
from dryfit.model.mesh import TriangleMesh


@dataclass(frozen=True, slots=True)
class MendOptions:
    """Nothing that is 0 or False is done.

    weld_mm              vertices on open edges this near to one another become one; equal ones always do
    fill_holes_up_to_mm  rims no longer than this are filled
    drop_shells_below    bodies of less than this share of the whole area go
    unite                bodies that overlap become one
    """

    weld_mm: float = 0.0
    fill_holes_up_to_mm: float = 0.0
    drop_shells_below: float = 0.0
    unite: bool = False

    def __post_init__(self) -> None:
        for name in ("weld_mm", "fill_holes_up_to_mm", "drop_shells_below"):
            value = getattr(self, name)
            if not (np.isfinite(value) and value >= 0):
                raise ValueError(f"{name} must be 0 or more: {value}")
        if self.drop_shells_below >= 1:
            raise ValueError(f"drop_shells_below is a share below 1: {self.drop_shells_below}")


@dataclass(frozen=True, slots=True)
class MendStep:
    """One thing done, as a phrase that a count stands before: "3 holes filled"."""

    what: str
    count: int


@dataclass(frozen=True, slots=True, eq=False)
class Mended:
    """A mended copy of a mesh.

    steps      what was done, in order; nothing that was not needed
    not_done   what was asked for and could not be done, with the reason
    moved_mm   (greatest, root mean square) [mm] distance between the surfaces at their vertices, both ways;
               what was left out on purpose (dropped shells, what lies within a united body) does not count
    volume_change_mm3  None where the surface was not closed before
    filled_mm2  area of the patches over holes
    """

    mesh: TriangleMesh
    steps: tuple[MendStep, ...]
    not_done: tuple[str, ...]
    moved_mm: tuple[float, float]
    volume_change_mm3: float | None
    filled_mm2: float


@dataclass(frozen=True, slots=True, eq=False)
class Work:
    """A mesh under work: vertices (n, 3) [mm], faces (m, 3), and the face of the original that each came from.

    origin : (m,) -1 for a face that is new
    """

    vertices: Array
    faces: IntArray
    origin: IntArray
