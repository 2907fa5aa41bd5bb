"""What the fits of elements return.

Every std is one standard uncertainty from the covariance of the fit: the scatter of the residuals, carried
to the result. It holds for points with independent noise of one size along the surface normal; where there
are no more points than unknowns nothing tells the noise, and the std is infinite.
"""

from __future__ import annotations

from dataclasses import dataclass

from dryfit.base.arrays import Array


@dataclass(frozen=True, slots=True)
class PlaneStd:
    """position_mm: along the normal at point_mm; tilt_deg: of the normal, in its least certain direction."""

    position_mm: float
    tilt_deg: float


@dataclass(frozen=True, slots=True, eq=False)
class PlaneFit:
    """A least-squares plane.

    point_mm      (3,) [mm] centroid of the points, on the plane
    normal        (3,) unit; its sign is such that its largest component is positive
    residuals_mm  (n,) [mm] signed distances of the points, positive on the side of the normal
    rms_mm        root mean square of the residuals, weighted where the fit was
    width_mm      largest less smallest residual
    """

    point_mm: Array
    normal: Array
    residuals_mm: Array
    rms_mm: float
    width_mm: float
    std: PlaneStd


@dataclass(frozen=True, slots=True)
class CircleStd:
    """radius, and position: of the centre in its least certain direction; in the unit of the points."""

    radius: float
    position: float


@dataclass(frozen=True, slots=True, eq=False)
class CircleFit:
    """A geometric least-squares circle, in the unit of the points.

    centre     (2,)
    residuals  (n,) signed distances of the points, positive outside
    rms        root mean square of the residuals
    arc_deg    360 less the widest gap between the points round the centre; see arc_of
    """

    centre: Array
    radius: float
    residuals: Array
    rms: float
    arc_deg: float
    std: CircleStd


@dataclass(frozen=True, slots=True)
class CylinderStd:
    """radius_mm; position_mm: of the axis at point_mm, axis_deg: of its direction, each where least certain."""

    radius_mm: float
    position_mm: float
    axis_deg: float


@dataclass(frozen=True, slots=True, eq=False)
class CylinderFit:
    """A least-squares cylinder.

    point_mm      (3,) [mm] on the axis, at the mean of the points along it
    axis          (3,) unit; its sign is such that its largest component is positive
    residuals_mm  (n,) [mm] signed distances of the points, positive away from the axis
    rms_mm        root mean square of the residuals
    length_mm     extent of the points along the axis
    arc_deg       360 less the widest gap between the points round the axis; see arc_of
    is_hollow     the normals point at the axis: a bore
    """

    point_mm: Array
    axis: Array
    radius_mm: float
    residuals_mm: Array
    rms_mm: float
    length_mm: float
    arc_deg: float
    is_hollow: bool
    std: CylinderStd


@dataclass(frozen=True, slots=True)
class SphereStd:
    """radius_mm, and position_mm: of the centre in its least certain direction."""

    radius_mm: float
    position_mm: float


@dataclass(frozen=True, slots=True, eq=False)
class SphereFit:
    """A least-squares sphere.

    centre_mm     (3,) [mm]
    residuals_mm  (n,) [mm] signed distances of the points, positive outside
    rms_mm        root mean square of the residuals
    cap_deg       widest angle of the cone from the centre that holds all points, 360 at most
    is_hollow     the normals point at the centre
    """

    centre_mm: Array
    radius_mm: float
    residuals_mm: Array
    rms_mm: float
    cap_deg: float
    is_hollow: bool
    std: SphereStd


@dataclass(frozen=True, slots=True)
class ConeStd:
    """half_angle_deg; position_mm: of the axis at the middle of the points, apex_mm: of the apex along the
    axis, axis_deg: of the direction of the axis."""

    half_angle_deg: float
    position_mm: float
    apex_mm: float
    axis_deg: float


@dataclass(frozen=True, slots=True, eq=False)
class ConeFit:
    """A least-squares cone.

    apex_mm         (3,) [mm]
    axis            (3,) unit, from the apex to where the points are
    half_angle_deg  between axis and surface
    residuals_mm    (n,) [mm] signed distances of the points, positive away from the axis
    rms_mm          root mean square of the residuals
    length_mm       extent of the points along the axis
    arc_deg         360 less the widest gap between the points round the axis; see arc_of
    is_hollow       the normals point at the axis: a countersink
    """

    apex_mm: Array
    axis: Array
    half_angle_deg: float
    residuals_mm: Array
    rms_mm: float
    length_mm: float
    arc_deg: float
    is_hollow: bool
    std: ConeStd


@dataclass(frozen=True, slots=True)
class TorusStd:
    """ring_radius_mm, tube_radius_mm; position_mm: of the centre, axis_deg: of the axis, where least certain."""

    ring_radius_mm: float
    tube_radius_mm: float
    position_mm: float
    axis_deg: float


@dataclass(frozen=True, slots=True, eq=False)
class TorusFit:
    """A least-squares torus.

    centre_mm       (3,) [mm]
    axis            (3,) unit; its sign is such that its largest component is positive
    ring_radius_mm  of the circle in the middle of the tube
    tube_radius_mm  of the tube
    residuals_mm    (n,) [mm] signed distances of the points, positive outside the tube
    rms_mm          root mean square of the residuals
    ring_arc_deg    360 less the widest gap between the points round the axis
    tube_arc_deg    360 less the widest gap between the points round the tube
    is_hollow       the normals point into the tube: a groove
    """

    centre_mm: Array
    axis: Array
    ring_radius_mm: float
    tube_radius_mm: float
    residuals_mm: Array
    rms_mm: float
    ring_arc_deg: float
    tube_arc_deg: float
    is_hollow: bool
    std: TorusStd


@dataclass(frozen=True, slots=True, eq=False)
class ZoneFit:
    """Two parallel planes, as close together as they can be with all points between them.

    width_mm  distance of the planes
    normal    (3,) unit; its sign is such that its largest component is positive
    point_mm  (3,) [mm] midway between the planes, as near the centroid of the points as that allows
    """

    width_mm: float
    normal: Array
    point_mm: Array
