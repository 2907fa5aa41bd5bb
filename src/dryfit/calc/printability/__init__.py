"""Whether a part can be printed in its pose: room, footprint, overhangs, faces on the bed, holes."""

from dryfit.calc.printability.bed import (
    Footprint,
    OnBed,
    footprint,
    lies_on_bed,
    overhang_deg,
    overhang_triangles,
    slenderness,
)
from dryfit.calc.printability.holes import HoleAfterOffset, RoundFace, hole_after_offset, turn_of_face
from dryfit.calc.printability.poses import (
    Fit,
    fit_in_pose,
    hull_vertices,
    poses_that_fit,
    right_angle_turns,
    room_of,
)

__all__ = [
    "Fit",
    "Footprint",
    "HoleAfterOffset",
    "OnBed",
    "RoundFace",
    "fit_in_pose",
    "footprint",
    "hole_after_offset",
    "hull_vertices",
    "lies_on_bed",
    "overhang_deg",
    "overhang_triangles",
    "poses_that_fit",
    "right_angle_turns",
    "room_of",
    "slenderness",
    "turn_of_face",
]
