"""Joints: how two parts meet, and the contacts that locate one by the other."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from dryfit.base.arrays import Array, locked
from dryfit.base.estimate import Estimate

GROUND = "ground"  # the jig or floor: a part without error that always stands in its place

Locators = Literal["none", "pin", "pin-and-slot", "two-pins"]
Role = Literal["locating", "closing"]


@dataclass(frozen=True, slots=True, eq=False)
class FaceContacts:
    """Contact points of a joint's common face.

    points_on_first   (n, 3) [mm]  on the first part, assembly coordinates
    points_on_second  (n, 3) [mm]  facing points on the second part; equal to the first where they touch
    normals           (n, 3) [-]   unit, from the first part to the second
    area_mm2          area of the common face; 0 where it is not known
    """

    points_on_first: Array
    points_on_second: Array
    normals: Array
    area_mm2: float = 0.0

    def __post_init__(self) -> None:
        for name in ("points_on_first", "points_on_second", "normals"):
            object.__setattr__(self, name, locked(getattr(self, name), (None, 3), name))
        if not len(self.points_on_first) == len(self.points_on_second) == len(self.normals) > 0:
            raise ValueError("a face needs as many normals and facing points as points, at least one")


@dataclass(frozen=True, slots=True, eq=False)
class Joint:
    """Two faces of two parts that meet.

    faces             stated contacts; None: to be detected on the meshes
    locator_points_mm (2, 3) pin first, then slot or second pin; None: by rule on the common face
    locator_axis      which axis of the common face the locators lie along when no points are stated
    bond_line_mm      designed thickness of the bond; None: as modelled, whatever gap the meshes leave
    contact_play_mm   scatter with which each face contact seats; its std weighs it in the placing
    locator_play_mm   the same for pins and slots; on a joint without locators: how well the part is set
                      by hand in the plane of the face
    role              None: by rule (see docs/methods)
    proposed          found by the program, not yet accepted by the user: not used
    press_mm          interference that the two parts are meant to have in the model, as a press fit; no
                      forecast rests on it; None: none is meant
    adhesive          id of the adhesive; None: not stated
    """

    id: str
    parts: tuple[str, str]
    locators: Locators = "none"
    locator_points_mm: Array | None = None
    locator_axis: Literal["long", "short"] = "long"
    bond_line_mm: Estimate | None = None
    contact_play_mm: Estimate | None = None
    locator_play_mm: Estimate | None = None
    role: Role | None = None
    faces: FaceContacts | None = None
    proposed: bool = False
    press_mm: float | None = None
    adhesive: str | None = None

    def __post_init__(self) -> None:
        if self.locator_points_mm is not None:
            points = locked(self.locator_points_mm, (None, 3), "locator_points_mm")
            object.__setattr__(self, "locator_points_mm", points)
