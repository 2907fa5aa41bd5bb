"""How moved points make a characteristic: gap, taper, step, distance, height, angle, diameter ..."""

from dryfit.calc.characteristics.gauges import (
    FaceRows,
    Gauge,
    PartFrame,
    ProbeRows,
    build_gauge,
)
from dryfit.calc.characteristics.geometry import (
    circle_through,
    face_centroid,
    flatness_of,
    plane_through,
)

__all__ = [
    "FaceRows",
    "Gauge",
    "PartFrame",
    "ProbeRows",
    "build_gauge",
    "circle_through",
    "face_centroid",
    "flatness_of",
    "plane_through",
]
