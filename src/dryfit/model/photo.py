"""Photographs of the prototype: what is stated of their cameras, and what is marked on them.

Pixels are upright ones: right and down from the centre of the first pixel, after the picture was turned as its
orientation says. Building axes are right-handed, z upward.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

from dryfit.base.estimate import Estimate

BuildingAxis = Literal["x", "y", "z"]
BUILDING_AXES: tuple[BuildingAxis, ...] = get_args(BuildingAxis)
Point2 = tuple[float, float]
Point3 = tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class CalibratedLens:
    """A lens at one setting, found from photographs of a board.

    width_px, height_px  of the picture as the camera stores it, in whose pixels the figures are
    figures (8,)         focal length, principal point x and y [px], k1, k2, p1, p2, k3 [-]
    covariance (8, 8)    of those; zero for what was held
    focal_mm             as the camera wrote it; None where it wrote none
    """

    id: str
    width_px: int
    height_px: int
    figures: tuple[float, ...]
    covariance: tuple[tuple[float, ...], ...]
    focal_mm: float | None = None
    source: str = ""
    date: str = ""


@dataclass(frozen=True, slots=True)
class Photo:
    """A photograph, as the document has it.

    file            relative to the project folder
    sha256          of the file when it was taken in; "" where not stated
    lens            photographs with one lens at one setting share this name; "" a lens of its own
    focal_px        focal length, where it is stated rather than read from the picture
    sensor_width_mm of the camera, along the longer side
    centre_px       principal point, and the standard uncertainty of each coordinate
    distortion      k1, k2, p1, p2, k3 [-], and the standard uncertainty of each
    distance_mm     of the camera from the plane that is measured; least_distance_mm where only that is known
    is_cropped      as the user says; None where nothing is said
    is_mirrored     flipped left to right
    calibrated      the lens of that name, where the document states its figures
    """

    id: str
    file: str
    sha256: str = ""
    lens: str = ""
    focal_px: Estimate | None = None
    sensor_width_mm: float | None = None
    centre_px: Point2 | None = None
    centre_std_px: float = 0.0
    distortion: tuple[float, ...] = ()
    distortion_std: tuple[float, ...] = ()
    distance_mm: Estimate | None = None
    least_distance_mm: float | None = None
    is_cropped: bool | None = None
    is_mirrored: bool = False
    source: str = ""
    date: str = ""
    calibrated: CalibratedLens | None = None


@dataclass(frozen=True, slots=True)
class MarkedPoint:
    """A point of the building on one photograph; photographs share it by its name.

    at_px, std_px     the mark, and the standard uncertainty of each coordinate
    prototype_mm      where it is known to lie, with the standard uncertainty of each coordinate
    plane             the plane in which it lies; "" none
    """

    name: str
    at_px: Point2
    std_px: float
    prototype_mm: Point3 | None = None
    prototype_std_mm: float = 0.0
    plane: str = ""


@dataclass(frozen=True, slots=True)
class MarkedLine:
    """A line of the building on one photograph.

    points_px    two or more points along it; of points that it was drawn through, their marks
    through      names of those points; () where it has marks of its own
    along        axis of the building that it follows; "" none
    is_straight  straight in reality, so that a bow is the lens's
    """

    name: str
    points_px: tuple[Point2, ...]
    std_px: float
    through: tuple[str, ...] = ()
    along: BuildingAxis | Literal[""] = ""
    is_straight: bool = False
    plane: str = ""


@dataclass(frozen=True, slots=True)
class MarkedLength:
    """A length that is known between two points [mm]. along: axis that it follows; stated: as it was written."""

    between: tuple[str, str]
    length: Estimate
    along: BuildingAxis | Literal[""] = ""
    source: str = ""
    stated: str = ""


@dataclass(frozen=True, slots=True)
class MarkedPlane:
    """A plane of the building.

    axes         the two building axes along which it runs; of a parallel plane those of the other
    parallel_to  the plane to which it is parallel; "" none
    offset_mm    from that one, positive towards the camera
    """

    name: str
    axes: tuple[BuildingAxis, BuildingAxis]
    parallel_to: str = ""
    offset_mm: Estimate = Estimate(0.0)


@dataclass(frozen=True, slots=True)
class MarkedSize:
    """A size to be measured between two points. of: the dimension that it is; along: axis that it follows."""

    id: str
    between: tuple[str, str]
    of: str
    along: BuildingAxis | Literal[""] = ""


@dataclass(frozen=True, slots=True)
class Marks:
    """Everything that is marked on one photograph.

    photo_sha256  of the picture on which it was marked
    std_px        standard uncertainty of a mark that states none
    """

    photo_sha256: str
    std_px: float
    points: tuple[MarkedPoint, ...] = ()
    lines: tuple[MarkedLine, ...] = ()
    lengths: tuple[MarkedLength, ...] = ()
    planes: tuple[MarkedPlane, ...] = ()
    sizes: tuple[MarkedSize, ...] = ()

    def point(self, name: str) -> MarkedPoint:
        return next(point for point in self.points if point.name == name)

    def plane(self, name: str) -> MarkedPlane:
        return next(plane for plane in self.planes if plane.name == name)
