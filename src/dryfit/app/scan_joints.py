"""The contact faces of a part as a scan shows them: offset and tilt of each joint's face, and lengths between."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import combinations

import numpy as np

from dryfit.app.contacts import active_joints, resolve_faces
from dryfit.app.geometry import Shapes
from dryfit.app.scan_report import FaceLength, ScannedFace
from dryfit.base.arrays import Array, BoolArray, IntArray
from dryfit.base.errors import ComputationRefused, JointUnresolved
from dryfit.calc.scans import STRAIN_STD, SurfaceMap
from dryfit.model.joint import FaceContacts
from dryfit.model.project import Project

# Samples that belong to a face lie within this share of its size of its plane, and face within this cosine.
_NEAR_PLANE, _FACING = 0.05, 0.9
_LEAST_SAMPLES = 6
# Faces whose normals stand within this of the line between them have a length (common practice, no source).
_ALONG = 0.5
_LEAST_MM = 1e-6
_PARALLEL = math.cos(math.radians(1.0))  # and faces within a degree of being parallel have one across them


def joint_faces(
    project: Project, shapes: Shapes, part: str, found: SurfaceMap, scanner_std_mm: float
) -> tuple[tuple[ScannedFace, ...], tuple[str, ...]]:
    """The face of each accepted joint on the part, and what could not be found."""
    faces, notes = [], []
    for joint in active_joints(project):
        if part not in joint.parts:
            continue
        try:
            contacts = resolve_faces(replace(project, joints=(joint,)), shapes)[0][joint.id]
        except (JointUnresolved, ComputationRefused) as error:
            notes.append(f"joint {joint.id}: its face is not looked at: {error.what}")
            continue
        is_first = joint.parts[0] == part
        other = joint.parts[1] if is_first else joint.parts[0]
        faces.append(_face(joint.id, other, contacts, is_first, found, scanner_std_mm))
    return tuple(faces), tuple(notes)


def _face(
    joint: str, other: str, contacts: FaceContacts, is_first: bool, found: SurfaceMap, scanner_std_mm: float
) -> ScannedFace:
    points = contacts.points_on_first if is_first else contacts.points_on_second
    normals = contacts.normals if is_first else -contacts.normals
    centre = points.mean(axis=0)
    mean = normals.mean(axis=0)
    normal = mean / max(float(np.linalg.norm(mean)), 1e-12)
    blank = ScannedFace(joint, other, centre, normal, None, None, None, None, None, 0)
    is_plane = bool(len(points) >= 3 and (normals @ normal > 0.99).all())
    inside = _inside(points, normals, found) if not is_plane else _in_outline(points, normal, found)
    near = np.flatnonzero(inside & found.is_seen)
    if len(near) < _LEAST_SAMPLES:
        return replace(blank, samples=len(near), reason="the scan does not show enough of this face")
    if is_plane:
        return _plane(blank, points, near, found, scanner_std_mm)
    value = found.deviation_mm[near]
    std = math.hypot(_mean_std(found.std_mm[near], value, scanner_std_mm), scanner_std_mm)
    reason = "the face is not plane: only its mean offset is told"
    return replace(blank, offset_mm=float(value.mean()), std_mm=std, samples=len(near), reason=reason)


def _in_outline(points: Array, normal: Array, found: SurfaceMap) -> BoolArray:
    """Which samples lie on the common face: within the hull of its contact points, on its plane, facing its way."""
    from scipy.spatial import Delaunay, QhullError

    centre = points.mean(axis=0)
    axes = _axes(points, normal)
    size = float(np.linalg.norm(np.ptp(points, axis=0)))
    flat = (points - centre) @ axes.T
    local = found.points - centre
    on = (np.abs(local @ normal) < _NEAR_PLANE * size) & (found.normals @ normal > _FACING)
    try:
        hull = Delaunay(flat)
    except QhullError:  # contact points on one line: all that is near them
        return np.asarray(on & (np.linalg.norm(local, axis=1) < 0.6 * size))
    return np.asarray(on & (hull.find_simplex(local @ axes.T) >= 0))


def _inside(points: Array, normals: Array, found: SurfaceMap) -> BoolArray:
    """Which samples lie near contact points of a face that is not plane."""
    from scipy.spatial import cKDTree

    tree = cKDTree(points)
    apart = tree.query(points, k=min(2, len(points)))[0]
    reach = max(float(np.max(apart)), 2.0 * found.spacing_mm)
    distance, index = tree.query(found.points)
    agrees = (found.normals * normals[index]).sum(axis=1) > _FACING
    return np.asarray((distance < reach) & agrees)


def _plane(
    blank: ScannedFace, points: Array, near: IntArray, found: SurfaceMap, scanner_std_mm: float
) -> ScannedFace:
    """Offset at the middle and tilt about two axes: a plane through the deviations."""
    axes = _axes(points, blank.normal)
    local = (found.points[near] - blank.centre_mm) @ axes.T
    design = np.column_stack([np.ones(len(near)), local])
    value, std = found.deviation_mm[near], found.std_mm[near]
    if np.linalg.cond(design) > 1e8:
        mean = math.hypot(_mean_std(std, value, scanner_std_mm), scanner_std_mm)
        reason = "the scan shows a line of this face only: no tilt"
        return replace(blank, offset_mm=float(value.mean()), std_mm=mean, samples=len(near), reason=reason)
    inverse = np.linalg.inv(design.T @ design)
    solved = inverse @ design.T @ value
    rest = value - design @ solved
    scatter = math.sqrt(float(rest @ rest) / max(len(near) - 3, 1))
    # What all samples of the face have in common, pose and scanner, does not average out.
    common = float(np.median(std))
    size = max(float(np.ptp(local, axis=0).max()), 1e-9)
    return replace(
        blank,
        offset_mm=float(solved[0]),
        std_mm=math.hypot(scatter * math.sqrt(inverse[0, 0]), common),
        axes=axes,
        # A rise along the second axis is a turn about the first.
        tilt_deg=(math.degrees(math.atan(solved[2])), -math.degrees(math.atan(solved[1]))),
        tilt_std_deg=(
            math.degrees(math.hypot(scatter * math.sqrt(inverse[2, 2]), common / size)),
            math.degrees(math.hypot(scatter * math.sqrt(inverse[1, 1]), common / size)),
        ),
        samples=len(near),
    )


def _mean_std(std: Array, value: Array, scanner_std_mm: float) -> float:
    scatter = float(value.std(ddof=1)) / math.sqrt(len(value))
    pose = math.sqrt(max(float(np.median(std)) ** 2 - scanner_std_mm**2, 0.0))
    return math.hypot(scatter, pose)


def _axes(points: Array, normal: Array) -> Array:
    """Two axes (2, 3) in a face: along its longest side, and across."""
    local = points - points.mean(axis=0)
    local = local - (local @ normal)[:, None] * normal
    _, _, right = np.linalg.svd(local, full_matrices=True)
    first = right[0] - (right[0] @ normal) * normal
    first = first / np.linalg.norm(first)
    if first[int(np.argmax(np.abs(first)))] < 0:
        first = -first
    return np.array([first, np.cross(normal, first)])


def face_lengths(faces: tuple[ScannedFace, ...]) -> tuple[FaceLength, ...]:
    """Lengths of the part between joint faces that look away from each other; they hang on no alignment.

    Of parallel faces straight across them, as they lean together. Of others along the line between their middles,
    where both look along it: how far a face moved sideways is not seen, and is as uncertain as a strain of the part.
    """
    found = (_length(one, two) for one, two in combinations(faces, 2))
    return tuple(item for item in found if item is not None)


def _length(one: ScannedFace, two: ScannedFace) -> FaceLength | None:
    if one.offset_mm is None or two.offset_mm is None:
        return None
    between = two.centre_mm - one.centre_mm
    if float(one.normal @ two.normal) < -_PARALLEL and float(between @ two.normal) > _LEAST_MM:
        return _across(one, two, between)
    size = float(np.linalg.norm(between))
    line = between / max(size, _LEAST_MM)
    back, ahead = float(-one.normal @ line), float(two.normal @ line)
    if size < _LEAST_MM or back < _ALONG or ahead < _ALONG:
        return None
    change = one.offset_mm * back + two.offset_mm * ahead
    aside = STRAIN_STD * size * math.sqrt(max(0.0, 2.0 - back**2 - ahead**2))
    std = math.hypot((one.std_mm or 0.0) * back, (two.std_mm or 0.0) * ahead, aside)
    return FaceLength((one.joint, two.joint), size, change, std)


def _across(one: ScannedFace, two: ScannedFace, between: Array) -> FaceLength:
    """Along the mean of the two normals as the faces lean in the scan."""
    size = float(between @ two.normal)
    lateral = between - size * two.normal
    lean, variance = np.zeros(3), 0.0
    for face, sign in ((one, -1.0), (two, 1.0)):
        if face.axes is None or face.tilt_deg is None or face.tilt_std_deg is None:
            # How it leans is not seen: by as much as a strain of the part.
            variance += (0.5 * STRAIN_STD * float(np.linalg.norm(lateral))) ** 2
            continue
        for axis, tilt, std in zip(face.axes, face.tilt_deg, face.tilt_std_deg, strict=True):
            turned = 0.5 * sign * np.cross(axis, face.normal)
            lean += math.radians(tilt) * turned
            variance += (math.radians(std) * float(turned @ lateral)) ** 2
    along = two.normal + lean
    along = along / np.linalg.norm(along)
    ends = between + (two.offset_mm or 0.0) * two.normal - (one.offset_mm or 0.0) * one.normal
    std = math.hypot(one.std_mm or 0.0, two.std_mm or 0.0, math.sqrt(variance))
    return FaceLength((one.joint, two.joint), size, float(ends @ along) - size, std)
