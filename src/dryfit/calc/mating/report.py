"""What the search for mating faces returns."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal

from dryfit.base.arrays import Array, locked
from dryfit.model.joint import FaceContacts

Shape = Literal["plane", "cylinder"]


@dataclass(frozen=True, slots=True, eq=False)
class Mating:
    """A common face of two parts.

    parts        (a, b) in natural order of their ids; the normals of faces point from a to b
    faces        contact points at the corners of the simplified common face, counter-clockwise seen
                 from b against the normal; for a cylinder, two stations along the axis
    polygon      (k, 3) [mm] outer boundary of the common region on a's face; for a region of several
                 pieces on one plane, their convex hull
    area_mm2     area of the common region, holes taken off
    mean_gap_mm, min_gap_mm, max_gap_mm  separation along the normal; negative where the parts overlap
    angle_deg    between the two faces, or between the two axes
    words        the mating in one sentence
    """

    parts: tuple[str, str]
    faces: FaceContacts
    polygon: Array
    area_mm2: float
    mean_gap_mm: float
    min_gap_mm: float
    max_gap_mm: float
    angle_deg: float
    shape: Shape
    words: str

    def __post_init__(self) -> None:
        object.__setattr__(self, "polygon", locked(self.polygon, (None, 3), "polygon"))


@dataclass(frozen=True, slots=True)
class NotDetected:
    """Two faces that meet within the gap but give no contacts: the reason in words."""

    parts: tuple[str, str]
    words: str


@dataclass(frozen=True, slots=True)
class MatingReport:
    """All matings by pair in natural order, the largest face of a pair first; and what was not handled."""

    matings: tuple[Mating, ...]
    not_detected: tuple[NotDetected, ...]


def natural_key(id: str) -> tuple[tuple[tuple[int, int, str], ...], str]:
    """Sort key that counts: ring-2 comes before ring-10. The id itself settles ring-02 against ring-2."""
    pieces = (piece for piece in re.split(r"([0-9]+)", id) if piece)
    return tuple((0, int(p), "") if p.isdecimal() else (1, 0, p) for p in pieces), id
