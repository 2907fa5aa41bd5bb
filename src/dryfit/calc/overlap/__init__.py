"""Do two parts fill the same space, and how near do they come?"""

from dryfit.calc.overlap.boxes import broad_pairs, common_box
from dryfit.calc.overlap.clearance import BOUND_MM, Clearance, clearance_of
from dryfit.calc.overlap.crossing import crossing_points
from dryfit.calc.overlap.interference import LEAST_DEPTH_MM, NotChecked, Overlap, OverlapPlace, overlap_of
from dryfit.calc.overlap.surface import Surface, prepare_surface

__all__ = [
    "BOUND_MM",
    "LEAST_DEPTH_MM",
    "Clearance",
    "NotChecked",
    "Overlap",
    "OverlapPlace",
    "Surface",
    "broad_pairs",
    "clearance_of",
    "common_box",
    "crossing_points",
    "overlap_of",
    "prepare_surface",
]
