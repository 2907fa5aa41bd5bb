"""Picked faces: what a face is, and finding it again on a mesh that was exported anew."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dryfit.app.geometry import PartShape
from dryfit.app.measuring_forms import SeenFace, see_face
from dryfit.base.arrays import Array
from dryfit.base.errors import ComputationRefused
from dryfit.calc.elements import ConeFit, CylinderFit, SphereFit, TorusFit
from dryfit.calc.faces import (
    FaceFound,
    FaceLost,
    Faces,
    face_at,
    face_of_triangle,
    face_toward,
    segment_faces,
)
from dryfit.model.feature import Form, Pick

# All of these are common practice, no source.
# A pick lies on its face within this: a finer tessellation, or another choice of facets, moves a round so far.
NEAR_MM = 0.5
# A face that moved along with a changed size is looked for within this share of the part's diagonal; its form,
# size and normal must then agree.
FAR_SHARE = 0.1
# A face that leans by more than this from when it was picked is another one; on a round, facets of another
# tessellation lean by as much.
LEAN_DEG = {"plane": 5.0, "round": 25.0}
# A round whose radius changed by more than this factor, or a plane whose side (root of its area) did, is
# another face; a plane loses or gains more where holes or pockets are cut into it.
SIZE_FACTOR = {"plane": 1.5, "round": 1.25}


@dataclass(frozen=True, slots=True, eq=False)
class FoundFace:
    """A face found by a pick: what it is, at_mm (3,) the point on it, and notes on how it was found."""

    seen: SeenFace
    at_mm: Array
    triangle: int
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class PickDescription:
    """A pick to be stored, the face in plain words, and its triangles for a view to mark."""

    pick: Pick
    words: str
    face: SeenFace


def describe_pick(
    shape: PartShape, point_mm: Array, triangle: int | None = None, faces: Faces | None = None
) -> PickDescription:
    """What the face of a part at a point is, recorded so that it can be found again.

    point_mm : (3,) assembly coordinates     triangle : of the part's mesh, where the view knows it
    faces : of the part's mesh, where they are at hand
    Raises ComputationRefused where no face lies at the point.
    """
    faces = segment_faces(shape.mesh) if faces is None else faces
    if triangle is None:
        found = face_at(shape.mesh, faces, point_mm, None, NEAR_MM)
    else:
        found = face_of_triangle(faces, triangle)
    if isinstance(found, FaceLost):
        where = f'part "{shape.part.id}"'
        raise ComputationRefused(found.reason, where, "pick a point on the surface of the part")
    seen = see_face(shape.part.id, faces, found.triangle)
    normal = seen.normal if seen.form == "plane" else found.normal
    pick = Pick(shape.part.id, point_mm, normal, seen.form, _recorded_size(seen))
    return PickDescription(pick, describe_face(seen), seen)


def _recorded_size(seen: SeenFace) -> float | None:
    return None if seen.form is None else seen.size_mm


def describe_face(seen: SeenFace) -> str:
    """Such as "plane, 120 mm2" or "bore, diameter 8.00 mm, 360 degrees round"."""
    fit = seen.fit
    if isinstance(fit, CylinderFit):
        noun = "bore" if fit.is_hollow else "cylinder"
        return f"{noun}, diameter {2 * fit.radius_mm:.2f} mm, {fit.arc_deg:.0f} degrees round"
    if isinstance(fit, SphereFit):
        noun = "hollow sphere" if fit.is_hollow else "sphere"
        return f"{noun}, diameter {2 * fit.radius_mm:.2f} mm"
    if isinstance(fit, ConeFit):
        noun = "countersink" if fit.is_hollow else "cone"
        return f"{noun}, {2 * fit.half_angle_deg:.1f} degrees, mean diameter {2 * seen.size_mm:.2f} mm"
    if isinstance(fit, TorusFit):
        noun = "groove" if fit.is_hollow else "ring"
        return f"{noun}, tube diameter {2 * fit.tube_radius_mm:.2f} mm at radius {fit.ring_radius_mm:.2f} mm"
    noun = "plane" if seen.form == "plane" else "freely shaped face"
    return f"{noun}, {seen.area_mm2:.0f} mm2" if seen.area_mm2 >= 100 else f"{noun}, {seen.area_mm2:.3g} mm2"


def find_face(shape: PartShape, faces: Faces, pick: Pick) -> FoundFace | FaceLost:
    """The face that a pick means, on the mesh as it is now."""
    if pick.direction is not None:
        found = face_toward(faces, pick.direction)
        if isinstance(found, FaceLost):
            return FaceLost(f"{pick.part}: {found.reason}")
        seen = see_face(shape.part.id, faces, found.triangle)
        return FoundFace(seen, seen.centroid_mm, found.triangle)
    point = np.asarray(pick.point_mm)
    lean = LEAN_DEG[_sort_of(pick.form)]
    near = face_at(shape.mesh, faces, point, pick.normal, NEAR_MM, lean)
    nearby = _accept(shape, faces, pick, near)
    if isinstance(nearby, FoundFace) or not _is_recorded(pick):
        return nearby
    reach = max(NEAR_MM, FAR_SHARE * 2.0 * shape.size_mm)
    far = face_at(shape.mesh, faces, point, pick.normal, reach, LEAN_DEG["plane"])
    elsewhere = _accept(shape, faces, pick, far)
    return elsewhere if isinstance(elsewhere, FoundFace) else nearby


def _is_recorded(pick: Pick) -> bool:
    return pick.normal is not None and pick.form is not None and pick.size_mm is not None


def _sort_of(form: Form | None) -> str:
    return "plane" if form == "plane" else "round"


def _accept(shape: PartShape, faces: Faces, pick: Pick, found: FaceFound | FaceLost) -> FoundFace | FaceLost:
    """The face where it agrees with what was recorded of it, otherwise why it does not."""
    if isinstance(found, FaceLost):
        return FaceLost(f"{pick.part}: {found.reason}")
    seen = see_face(shape.part.id, faces, found.triangle)
    if pick.form is not None and seen.form != pick.form:
        is_now = "freely shaped" if seen.form is None else f"a {seen.form}"
        return FaceLost(f"{pick.part}: the face at the point was a {pick.form} and is now {is_now}")
    factor = SIZE_FACTOR[_sort_of(seen.form)]
    if pick.size_mm is not None and seen.form is not None:
        ratio = seen.size_mm / pick.size_mm
        if not 1.0 / factor <= ratio <= factor:
            noun = "side (root of its area)" if seen.form == "plane" else "radius"
            return FaceLost(
                f"{pick.part}: the face at the point had a {noun} of {pick.size_mm:.4g} mm and has now "
                f"{seen.size_mm:.4g} mm"
            )
    notes: tuple[str, ...] = ()
    if found.distance_mm > NEAR_MM:
        notes = (f"{pick.part}: the face was found {found.distance_mm:.3g} mm from where it was picked",)
    return FoundFace(seen, np.asarray(pick.point_mm), found.triangle, notes)
