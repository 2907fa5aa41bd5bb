"""How each kind of feature is measured on the faces, or the meshes, that it names."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from dryfit.app.geometry import PartShape, Shapes
from dryfit.app.measuring_forms import SeenFace, chord_error_of
from dryfit.app.measuring_picks import FoundFace, describe_face
from dryfit.base.arrays import Array
from dryfit.base.errors import ComputationRefused
from dryfit.calc.elements import CylinderFit, PlaneFit, SphereFit, TorusFit, minimum_zone_flatness
from dryfit.calc.faces import extent_along, section_extent, section_polygon
from dryfit.calc.thickness import thickness_at
from dryfit.model.feature import Feature, FeatureKind

# Faces that lean less than this from being parallel are parallel: single precision leaves as much on a face of
# a few millimetres.
PARALLEL_DEG = 0.005
# Below this a chord error is not worth a word: no print shows it (common practice, no source).
CHORD_WORTH_MM = 0.001


@dataclass(frozen=True, slots=True, eq=False)
class Measurement:
    """value, std in the unit of the feature; anchors_mm (k, 3) between which it was measured; notes."""

    value: float
    std: float = 0.0
    anchors_mm: Array | None = None
    notes: tuple[str, ...] = ()


def measure_kind(feature: Feature, found: Sequence[FoundFace], shapes: Shapes) -> Measurement:
    """The feature's value on the faces found, in the order of the feature's own.

    Raises ComputationRefused where a face is not of the form that the kind needs, or tells nothing.
    """
    if feature.kind in _BY_FACES:
        return _BY_FACES[feature.kind](feature, [item.seen for item in found])
    if feature.kind == "thickness":
        return _measure_thickness(feature, found[0], shapes)
    parts = [shapes[name] for name in feature.parts]
    return _measure_extent(feature, parts) if feature.kind == "extent" else _measure_section(feature, parts)


def _measure_distance(feature: Feature, faces: Sequence[SeenFace]) -> Measurement:
    """From the area centroid of the second plane to the first plane, along the first's normal."""
    first, second = (_plane_of(feature, face) for face in faces)
    height = float((faces[1].centroid_mm - first.point_mm) @ first.normal)
    foot = faces[1].centroid_mm - height * first.normal
    away = float(np.linalg.norm(foot - first.point_mm))
    tilt = math.radians(_known(first.std.tilt_deg)) * away
    std = math.hypot(_known(first.std.position_mm), tilt, _known(second.std.position_mm))
    lean = _angle_deg(first.normal, second.normal)
    notes: tuple[str, ...] = ()
    if lean > PARALLEL_DEG:
        heights = (faces[1].points - first.point_mm) @ first.normal
        notes = (
            f"the faces are {lean:.2g} degrees out of parallel: over the second one the distance runs from "
            f"{np.abs(heights).min():.5g} to {np.abs(heights).max():.5g} mm",
        )
    return Measurement(abs(height), std, np.array([foot, faces[1].centroid_mm]), notes)


def _measure_angle(feature: Feature, faces: Sequence[SeenFace]) -> Measurement:
    """The angle that the material fills between two planes: 180 degrees less that of their outward normals."""
    fits = [_plane_of(feature, face) for face in faces]
    cosine, sine = (
        faces[0].normal @ faces[1].normal,
        np.linalg.norm(np.cross(faces[0].normal, faces[1].normal)),
    )
    between = math.degrees(math.atan2(float(sine), float(cosine)))
    std = math.hypot(*(_known(fit.std.tilt_deg) for fit in fits))
    return Measurement(180.0 - between, std, np.array([face.centroid_mm for face in faces]))


def _measure_flatness(feature: Feature, faces: Sequence[SeenFace]) -> Measurement:
    _plane_of(feature, faces[0])
    points = faces[0].points
    notes: tuple[str, ...] = ()
    if len(points) <= 4:
        notes = (
            f"the face has only {len(points)} corners: a mesh tells little of the flatness of so plain a face",
        )
    zone = minimum_zone_flatness(points)
    heights = (points - zone.point_mm) @ zone.normal
    anchors = points[[int(np.argmin(heights)), int(np.argmax(heights))]]
    return Measurement(zone.width_mm, 0.0, anchors, notes)


def _measure_diameter(feature: Feature, faces: Sequence[SeenFace]) -> Measurement:
    """Of a cylinder, a sphere or the tube of a torus, through the corners of its facets."""
    face = faces[0]
    fit = face.fit
    if isinstance(fit, CylinderFit):
        radius, std, middle = fit.radius_mm, fit.std.radius_mm, fit.point_mm
        across = _across_axis(face, fit)
    elif isinstance(fit, SphereFit):
        radius, std, middle = fit.radius_mm, fit.std.radius_mm, fit.centre_mm
        across = _unit(face.centroid_mm - middle, face.normal)
    elif isinstance(fit, TorusFit):
        radius, std = fit.tube_radius_mm, fit.std.tube_radius_mm
        outward = face.centroid_mm - fit.centre_mm
        outward = _unit(outward - (outward @ fit.axis) * fit.axis, face.normal)
        middle, across = fit.centre_mm + fit.ring_radius_mm * outward, fit.axis
    else:
        raise _not_of_form(feature, face, "a cylinder, a sphere or a torus")
    anchors = np.array([middle - radius * across, middle + radius * across])
    return Measurement(2.0 * radius, 2.0 * _known(std), anchors, (*_facet_notes(face), *_fit_notes(face)))


def _measure_position(feature: Feature, faces: Sequence[SeenFace]) -> Measurement:
    """From a datum plane, or a datum point along a direction, to the axis at the middle of the hole."""
    fit = faces[0].fit
    if not isinstance(fit, CylinderFit):
        raise _not_of_form(feature, faces[0], "a cylinder")
    if len(faces) > 1:
        datum = _plane_of(feature, faces[1])
        normal, origin = datum.normal, datum.point_mm
        away = float(np.linalg.norm(fit.point_mm - origin))
        of_datum = math.hypot(_known(datum.std.position_mm), math.radians(_known(datum.std.tilt_deg)) * away)
    elif feature.at_mm is not None and feature.direction is not None:
        normal, origin, of_datum = feature.direction, feature.at_mm, 0.0
    else:
        raise ValueError(f"{feature.id}: a position without datum")
    height = float((fit.point_mm - origin) @ normal)
    lean = math.degrees(math.asin(min(1.0, abs(float(fit.axis @ normal)))))
    notes = _facet_notes(faces[0])
    if lean > PARALLEL_DEG:
        notes += (f"the axis leans by {lean:.2g} degrees out of the datum; measured at its middle",)
    std = math.hypot(_known(fit.std.position_mm), of_datum)
    return Measurement(abs(height), std, np.array([fit.point_mm - height * normal, fit.point_mm]), notes)


def _measure_centres(feature: Feature, faces: Sequence[SeenFace]) -> Measurement:
    """Between the axes of two cylinders at mid height, or from an axis to the centre of a sphere."""
    fits = [face.fit for face in faces]
    stds = []
    for face, fit in zip(faces, fits, strict=True):
        if not isinstance(fit, CylinderFit | SphereFit):
            raise _not_of_form(feature, face, "a cylinder or a sphere")
        stds.append(_known(fit.std.position_mm))
    one, two = fits
    notes = tuple(note for face in faces for note in _facet_notes(face))
    if isinstance(one, CylinderFit) and isinstance(two, CylinderFit):
        lean = _angle_deg(one.axis, two.axis)
        if lean > PARALLEL_DEG:
            notes += (
                f"the axes lean by {lean:.2g} degrees; measured half-way between the middles of the two",
            )
    start, end = _facing_points(one, two)
    return Measurement(float(np.linalg.norm(end - start)), math.hypot(*stds), np.array([start, end]), notes)


def _facing_points(one: object, two: object) -> tuple[Array, Array]:
    """The points between which the distance of two centres or axes is measured."""
    if isinstance(one, CylinderFit) and isinstance(two, CylinderFit):
        axis = _unit(one.axis + (two.axis if one.axis @ two.axis > 0 else -two.axis), one.axis)
        level = 0.5 * float((one.point_mm + two.point_mm) @ axis)
        start, end = (
            fit.point_mm + (level - float(fit.point_mm @ axis)) / float(fit.axis @ axis) * fit.axis
            for fit in (one, two)
        )
        return start, end
    if isinstance(one, CylinderFit) and isinstance(two, SphereFit):
        return one.point_mm + float((two.centre_mm - one.point_mm) @ one.axis) * one.axis, two.centre_mm
    if isinstance(one, SphereFit) and isinstance(two, CylinderFit):
        end, start = _facing_points(two, one)
        return start, end
    if isinstance(one, SphereFit) and isinstance(two, SphereFit):
        return one.centre_mm, two.centre_mm
    raise TypeError("centres are of cylinders and spheres")


def _measure_extent(feature: Feature, parts: Sequence[PartShape]) -> Measurement:
    """How far the parts reach together along a direction."""
    if feature.direction is None:
        raise ValueError(f"{feature.id}: an extent without direction")
    extents = [extent_along(shape.mesh, feature.direction) for shape in parts]
    low = min(extents, key=lambda extent: extent.low_mm)
    high = max(extents, key=lambda extent: extent.high_mm)
    return Measurement(high.high_mm - low.low_mm, 0.0, np.array([low.low_point, high.high_point]))


def _measure_section(feature: Feature, parts: Sequence[PartShape]) -> Measurement:
    """How far the cut of a part with a plane reaches along a direction."""
    if feature.direction is None or feature.at_mm is None or feature.normal is None:
        raise ValueError(f"{feature.id}: a section without plane or direction")
    section = section_polygon(parts[0].mesh, feature.at_mm, feature.normal)
    extent = section_extent(section, feature.direction)
    notes: tuple[str, ...] = ()
    if not section.is_closed:
        notes = ("the cut is not closed: the mesh has a hole there",)
    lines = len(np.unique(section.loops))
    if lines > 1:
        notes += (f"the plane cuts the part in {lines} lines; measured over all of them",)
    return Measurement(extent.length_mm, 0.0, np.array([extent.low_point, extent.high_point]), notes)


def _measure_thickness(feature: Feature, found: FoundFace, shapes: Shapes) -> Measurement:
    """Along the ray into the material opposite the surface normal at the picked point."""
    mesh = shapes[found.seen.part].mesh
    a, b, c = mesh.vertices[mesh.faces[found.triangle]]
    normal = _unit(np.cross(b - a, c - a), found.seen.normal)
    point = found.at_mm - float((found.at_mm - a) @ normal) * normal
    result = thickness_at(mesh, point[None], normal[None])
    value, sphere = float(result.ray_mm[0]), float(result.sphere_mm[0])
    if not math.isfinite(value):
        what = "the ray into the material meets no other side"
        raise ComputationRefused(
            what, f'feature "{feature.id}"', "pick another point, or mend the mesh first"
        )
    notes: tuple[str, ...] = ()
    if math.isfinite(sphere) and sphere < value - CHORD_WORTH_MM:
        notes = (f"a sphere inside that touches the point has a diameter of {sphere:.4g} mm",)
    return Measurement(value, 0.0, np.array([point, point - value * normal]), notes)


def _plane_of(feature: Feature, face: SeenFace) -> PlaneFit:
    if not isinstance(face.fit, PlaneFit):
        raise _not_of_form(feature, face, "a plane")
    return face.fit


def _not_of_form(feature: Feature, face: SeenFace, needed: str) -> ComputationRefused:
    return ComputationRefused(
        f"the face of {face.part} is no form that a {feature.kind} is measured on, {needed}: it is a "
        f"{describe_face(face)}",
        f'feature "{feature.id}"',
        "pick another face",
    )


def _facet_notes(face: SeenFace) -> tuple[str, ...]:
    chord = chord_error_of(face)
    if chord is None or chord[1] < CHORD_WORTH_MM:
        return ()
    return (
        f"{face.part}: facets of {chord[0]:.3g} degrees lie up to {chord[1]:.2g} mm inside the round (chord error); "
        "measured through their corners",
    )


def _fit_notes(face: SeenFace) -> tuple[str, ...]:
    fit = face.fit
    if fit is None or fit.rms_mm < CHORD_WORTH_MM:
        return ()
    return (f"{face.part}: the corners stray from the {face.form} by {fit.rms_mm:.2g} mm (rms)",)


def _across_axis(face: SeenFace, fit: CylinderFit) -> Array:
    """(3,) unit, from the axis toward the middle of the face; across it anyhow where the face goes all round."""
    outward = face.centroid_mm - fit.point_mm
    outward = outward - float(outward @ fit.axis) * fit.axis
    if np.linalg.norm(outward) < 0.05 * fit.radius_mm:
        outward = face.points[0] - fit.point_mm
        outward = outward - float(outward @ fit.axis) * fit.axis
    return _unit(outward, face.normal)


def _unit(vector: Array, otherwise: Array) -> Array:
    size = float(np.linalg.norm(vector))
    return vector / size if size > 0.0 else otherwise


def _angle_deg(one: Array, two: Array) -> float:
    """Between two lines, whichever way they point."""
    sine, cosine = float(np.linalg.norm(np.cross(one, two))), abs(float(one @ two))
    return math.degrees(math.atan2(sine, cosine))


def _known(std: float) -> float:
    """A fit through as many points as it has unknowns tells no scatter; the mesh then is taken as it stands."""
    return std if math.isfinite(std) else 0.0


_BY_FACES: Mapping[FeatureKind, Callable[[Feature, Sequence[SeenFace]], Measurement]] = {
    "distance": _measure_distance,
    "diameter": _measure_diameter,
    "position": _measure_position,
    "angle": _measure_angle,
    "flatness": _measure_flatness,
    "centres": _measure_centres,
}
