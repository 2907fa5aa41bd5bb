"""Wall thickness of a body by rays and by inscribed spheres."""

from dryfit.calc.thickness.maps import (
    DEFAULT_SAMPLES,
    WALL_TAPER_DEG,
    Thickness,
    ThicknessMap,
    thickness_at,
    thickness_map,
)
from dryfit.calc.thickness.samples import Samples, sample_surface
from dryfit.calc.thickness.walls import Histogram, ThinPlace, least_walls, wall_histogram

__all__ = [
    "DEFAULT_SAMPLES",
    "WALL_TAPER_DEG",
    "Histogram",
    "Samples",
    "Thickness",
    "ThicknessMap",
    "ThinPlace",
    "least_walls",
    "sample_surface",
    "thickness_at",
    "thickness_map",
    "wall_histogram",
]
