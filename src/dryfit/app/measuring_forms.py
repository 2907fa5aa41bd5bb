"""The form of a face: plane, cylinder, sphere, cone or torus fitted to its vertices."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from dryfit.base.arrays import Array, IntArray
from dryfit.base.errors import ComputationRefused
from dryfit.calc.elements import (
    ConeFit,
    CylinderFit,
    PlaneFit,
    SphereFit,
    TorusFit,
    chord_error_mm,
    facet_steps,
    fit_cone,
    fit_cylinder,
    fit_plane,
    fit_sphere,
    fit_torus,
)
from dryfit.calc.faces import Element, Faces, Fitter, grow_round, vertices_of
from dryfit.model.feature import Form

Fit = PlaneFit | CylinderFit | SphereFit | ConeFit | TorusFit
FORM_OF: dict[type, Form] = {
    PlaneFit: "plane",
    CylinderFit: "cylinder",
    SphereFit: "sphere",
    ConeFit: "cone",
    TorusFit: "torus",
}
# Widest gap between corners round a tube, of the arc that they cover: that of four rings evenly spaced.
WIDEST_GAP = 0.34
_TINY = 1e-300


@dataclass(frozen=True, slots=True, eq=False)
class SeenFace:
    """A face with the element that it is.

    form       None: freely shaped, no element fits
    triangles  of the part's mesh
    points     (n, 3) [mm] distinct corners      area_mm2, centroid_mm (3,)  of the triangles
    normal     (3,) unit, outward: of the plane, or of the triangle it was found by
    fit        to the corners; None where no element fits
    """

    part: str
    form: Form | None
    triangles: IntArray
    points: Array
    area_mm2: float
    centroid_mm: Array
    normal: Array
    fit: Fit | None

    @property
    def size_mm(self) -> float:
        """What the face is recognised by: radius of a round (mean radius of a cone), root of a plane's area."""
        if isinstance(self.fit, CylinderFit | SphereFit):
            return self.fit.radius_mm
        if isinstance(self.fit, TorusFit):
            return self.fit.tube_radius_mm
        if isinstance(self.fit, ConeFit):
            return mean_radius(self.fit, self.points)
        return float(np.sqrt(self.area_mm2))


def see_face(part: str, faces: Faces, triangle: int) -> SeenFace:
    """The face that a triangle of a mesh belongs to, and what it is."""
    label = int(faces.labels[triangle])
    face = faces.face(label)
    if face.normal is not None:
        return _seen(part, faces, face.triangles, triangle, "plane")
    grown = grow_round(faces, triangle, FITTERS)
    if grown is None:
        return _seen(part, faces, face.triangles, triangle, None)
    return _seen(part, faces, grown.triangles, triangle, FORM_OF_NAME[grown.form])


def _seen(part: str, faces: Faces, triangles: IntArray, triangle: int, form: Form | None) -> SeenFace:
    surface = faces.surface
    rows = np.searchsorted(surface.rows, triangles)
    areas = surface.areas[rows]
    points, normals = vertices_of(faces, triangles)
    fit = None if form is None else _FIT[form](points, normals)
    normal = surface.normals[np.searchsorted(surface.rows, triangle)]
    if isinstance(fit, PlaneFit):
        outward = areas @ surface.normals[rows]
        normal = fit.normal if fit.normal @ outward > 0 else -fit.normal
    centroid = areas @ surface.centroids[rows] / areas.sum()
    return SeenFace(part, form, triangles, points, float(areas.sum()), centroid, normal, fit)


def chord_error_of(face: SeenFace) -> tuple[float, float] | None:
    """Widest facet [deg] and how far its middle lies inside the round [mm]; None where neither is known."""
    if isinstance(face.fit, CylinderFit):
        point, axis, radius = face.fit.point_mm, face.fit.axis, face.fit.radius_mm
    elif isinstance(face.fit, TorusFit):
        return None  # the tube's facets do not lie round one axis
    else:
        return None
    steps = facet_steps(face.points, axis, point)
    if not len(steps):
        return None
    widest = float(min(steps.max(), np.pi))
    return float(np.degrees(widest)), chord_error_mm(radius, widest)


def mean_radius(fit: ConeFit, points: Array) -> float:
    """Mean distance of points (n, 3) from the axis of a cone [mm]."""
    _, radial = _across(points, fit.apex_mm, fit.axis)
    return float(np.linalg.norm(radial, axis=1).mean())


def _across(points: Array, origin: Array, axis: Array) -> tuple[Array, Array]:
    """(n,) position along an axis and (n, 3) the rest."""
    local = points - origin
    along = local @ axis
    return along, local - along[:, None] * axis


def _unit(rows: Array) -> tuple[Array, Array]:
    size = np.linalg.norm(rows, axis=1)
    return size, rows / np.maximum(size, _TINY)[:, None]


def _plane_element(fit: PlaneFit, points: Array) -> Element:
    def split(at: Array) -> tuple[Array, Array]:
        return (at - fit.point_mm) @ fit.normal, np.broadcast_to(fit.normal, at.shape)

    return _element(split, 1e6)


def _cylinder_element(fit: CylinderFit, points: Array) -> Element:
    def split(at: Array) -> tuple[Array, Array]:
        size, outward = _unit(_across(at, fit.point_mm, fit.axis)[1])
        return size - fit.radius_mm, outward

    return _element(split, fit.radius_mm)


def _sphere_element(fit: SphereFit, points: Array) -> Element:
    def split(at: Array) -> tuple[Array, Array]:
        size, outward = _unit(at - fit.centre_mm)
        return size - fit.radius_mm, outward

    return _element(split, fit.radius_mm)


def _cone_element(fit: ConeFit, points: Array) -> Element:
    angle = np.radians(fit.half_angle_deg)

    def split(at: Array) -> tuple[Array, Array]:
        along, radial = _across(at, fit.apex_mm, fit.axis)
        size, outward = _unit(radial)
        return size * np.cos(angle) - along * np.sin(angle), np.cos(angle) * outward - np.sin(
            angle
        ) * fit.axis

    return _element(split, mean_radius(fit, points))


def _torus_element(fit: TorusFit, points: Array) -> Element:
    def split(at: Array) -> tuple[Array, Array]:
        along, radial = _across(at, fit.centre_mm, fit.axis)
        size, outward = _unit(radial)
        from_tube = (size - fit.ring_radius_mm)[:, None] * outward + along[:, None] * fit.axis
        distance, normal = _unit(from_tube)
        return distance - fit.tube_radius_mm, normal

    return _element(split, fit.tube_radius_mm)


def _element(split: Callable[[Array], tuple[Array, Array]], radius_mm: float) -> Element:
    return Element(lambda at: split(at)[0], lambda at: split(at)[1], radius_mm)


def _fitter(fit: Callable[[Array, Array], Fit], element: Callable[..., Element]) -> Fitter:
    def try_fit(points: Array, normals: Array) -> Element | None:
        # A form that the points do not determine is no candidate; the other forms are tried.
        try:
            return element(fit(points, normals), points)
        except ComputationRefused:
            return None

    return try_fit


def _fit_plane(points: Array, normals: Array) -> PlaneFit:
    return fit_plane(points)


def _fit_torus(points: Array, normals: Array) -> TorusFit:
    """A torus on which the points stand in four rings or more: three rings lie on a torus whatever they are."""
    fit = fit_torus(points, normals)
    along, radial = _across(points, fit.centre_mm, fit.axis)
    angles = np.sort(np.arctan2(along, np.linalg.norm(radial, axis=1) - fit.ring_radius_mm))
    gaps = np.sort(np.diff(np.append(angles, angles[0] + 2.0 * np.pi)))
    if gaps[-2] > WIDEST_GAP * (2.0 * np.pi - gaps[-1]):
        raise ComputationRefused(
            "the points stand in fewer than four rings across the tube", "torus", "pick a finer face"
        )
    return fit


_FIT: dict[Form, Callable[[Array, Array], Fit]] = {
    "plane": _fit_plane,
    "cylinder": fit_cylinder,
    "sphere": fit_sphere,
    "cone": fit_cone,
    "torus": _fit_torus,
}
FORM_OF_NAME: dict[str, Form] = {form: form for form in _FIT}
FITTERS: dict[str, Fitter] = {
    "plane": _fitter(_fit_plane, _plane_element),
    "cylinder": _fitter(fit_cylinder, _cylinder_element),
    # Two rings of corners lie on a cone and on a sphere: the cone first, which is what modellers mean by it.
    "cone": _fitter(fit_cone, _cone_element),
    "sphere": _fitter(fit_sphere, _sphere_element),
    "torus": _fitter(_fit_torus, _torus_element),
}
