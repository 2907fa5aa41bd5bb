"""From joints to rows of the contact table: faces stated or detected, pins and slots, play."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from dryfit.app.geometry import Shapes
from dryfit.base.arrays import Array, BoolArray
from dryfit.base.errors import ComputationRefused, JointUnresolved
from dryfit.base.estimate import Estimate
from dryfit.calc.mating import face_locators, find_matings
from dryfit.model.joint import GROUND, FaceContacts, Joint
from dryfit.model.mesh import TriangleMesh
from dryfit.model.project import Project, Search

# Common practice, no source: a face seats, and a printed pin stands in its hole, to about 0.05 mm.
DEFAULT_PLAY = Estimate(0.0, 0.05)


@dataclass(frozen=True, slots=True, eq=False)
class JointRows:
    """The rows that one joint contributes; columns as in model.contacts.ContactTable.

    contact_play, locator_play  play of the face rows and of the locator rows
    bond_line_mm  designed gap of the face rows and its uncertainty; None: as modelled
    """

    joint: Joint
    faces: FaceContacts
    p_first: Array
    p_second: Array
    direction: Array
    n_first: Array
    is_face: BoolArray
    contact_play: Estimate
    locator_play: Estimate


def active_joints(project: Project) -> tuple[Joint, ...]:
    """The joints that the user has accepted."""
    return tuple(joint for joint in project.joints if not joint.proposed)


def resolve_faces(project: Project, shapes: Shapes) -> tuple[Mapping[str, FaceContacts], tuple[str, ...]]:
    """Contact faces of every accepted joint, and what was assumed in finding them.

    Raises JointUnresolved where a joint states no faces and none are found.
    """
    joints = active_joints(project)
    faces = {joint.id: joint.faces for joint in joints if joint.faces is not None}
    searched = [joint for joint in joints if joint.faces is None]
    if not searched:
        return faces, ()
    found, notes = _detect(searched, shapes, project.search)
    return {**faces, **found}, notes


def _detect(
    joints: Sequence[Joint], shapes: Shapes, search: Search
) -> tuple[dict[str, FaceContacts], tuple[str, ...]]:
    involved = dict.fromkeys(name for joint in joints for name in joint.parts if name != GROUND)
    meshes: list[tuple[str, TriangleMesh]] = [(name, shapes[name].mesh) for name in involved]
    pairs = [(joint.parts[0], joint.parts[1]) for joint in joints]
    report = find_matings(meshes, search, pairs=pairs)
    faces: dict[str, FaceContacts] = {}
    notes: list[str] = []
    for joint in joints:
        between = [mating for mating in report.matings if set(mating.parts) == set(joint.parts)]
        if not between:
            raise _unresolved(
                joint, search, [n.words for n in report.not_detected if set(n.parts) == set(joint.parts)]
            )
        largest = max(between, key=lambda mating: mating.area_mm2)
        same_way = largest.parts == joint.parts
        faces[joint.id] = largest.faces if same_way else _swapped(largest.faces)
        if len(between) > 1:
            notes.append(
                f'joint "{joint.id}": the largest of {len(between)} faces found between its parts is used; '
                "state the others as joints of their own where they touch too"
            )
    return faces, tuple(notes)


def _unresolved(joint: Joint, search: Search, reasons: Sequence[str]) -> JointUnresolved:
    seen = f" (seen: {'; '.join(reasons)})" if reasons else ""
    return JointUnresolved(
        f"no mating faces found between {joint.parts[0]} and {joint.parts[1]} within "
        f"{search.max_gap_mm:g} mm and {search.max_angle_deg:g} degrees{seen}",
        f'joint "{joint.id}"',
        "check the position of the two parts, widen [search], or state the contacts in [joint.faces]",
    )


def _swapped(faces: FaceContacts) -> FaceContacts:
    return FaceContacts(faces.points_on_second, faces.points_on_first, -faces.normals, faces.area_mm2)


def rows_of_joint(joint: Joint, faces: FaceContacts, centroids: Mapping[str, Array]) -> JointRows:
    """Rows of the faces, then of the locators.

    A pin adds two in-plane directions at its point, a slot one, across the line from pin to slot; two pins
    add four. A joint without locators whose locator_play_mm is stated is set by hand in the plane of the
    face: this adds the directions of a pin and a slot with that play.
    """
    points, directions = _locator_rows(joint, faces, centroids)
    count = len(faces.normals)
    p_first = np.vstack([faces.points_on_first, points])
    p_second = np.vstack([faces.points_on_second, points])
    n_first = np.vstack([faces.normals, np.zeros_like(points)])
    return JointRows(
        joint=joint,
        faces=faces,
        p_first=p_first,
        p_second=p_second,
        direction=np.vstack([faces.normals, directions]),
        n_first=n_first,
        is_face=np.arange(len(p_first)) < count,
        contact_play=joint.contact_play_mm or DEFAULT_PLAY,
        locator_play=joint.locator_play_mm or DEFAULT_PLAY,
    )


def _locator_rows(joint: Joint, faces: FaceContacts, centroids: Mapping[str, Array]) -> tuple[Array, Array]:
    kind = joint.locators
    if kind == "none" and joint.locator_play_mm is not None:
        kind = "pin-and-slot"
    if kind == "none":
        return np.zeros((0, 3)), np.zeros((0, 3))
    normal = _plane_normal(joint, faces)
    points = _locator_points(joint, faces, centroids)
    along, across = _in_plane_axes(joint, normal, points)
    if kind == "pin":
        return np.tile(points[0], (2, 1)), np.array([along, across])
    if kind == "pin-and-slot":
        return np.array([points[0], points[0], points[1]]), np.array([along, across, across])
    return np.repeat(points[:2], 2, axis=0), np.array([along, across, along, across])


def _plane_normal(joint: Joint, faces: FaceContacts) -> Array:
    mean = faces.normals.mean(axis=0)
    length = float(np.linalg.norm(mean))
    if length < 0.99:
        raise ComputationRefused(
            "locators need a plane face; the normals of this one spread too far",
            f'joint "{joint.id}"',
            'set locators = "none" and hold the part by contacts stated in another joint',
        )
    return np.asarray(mean / length)


def _locator_points(joint: Joint, faces: FaceContacts, centroids: Mapping[str, Array]) -> Array:
    if joint.locator_points_mm is not None:
        return joint.locator_points_mm
    known = [centroids[name] for name in joint.parts if name in centroids]
    middle = faces.points_on_first.mean(axis=0)
    toward = middle - np.mean(known, axis=0)
    try:
        return face_locators(faces, joint.locator_axis, toward)
    except ComputationRefused as error:
        raise ComputationRefused(error.what, f'joint "{joint.id}"', error.do) from error


def _in_plane_axes(joint: Joint, normal: Array, points: Array) -> tuple[Array, Array]:
    line = (
        points[-1] - points[0] if len(points) > 1 else np.cross(normal, np.eye(3)[np.argmin(np.abs(normal))])
    )
    line = line - normal * (line @ normal)
    length = float(np.linalg.norm(line))
    if length < 1e-9:
        raise ComputationRefused(
            "the two locator points coincide in the plane of the face",
            f'joint "{joint.id}".locator_points_mm',
            "state two points that lie apart in the face",
        )
    along = line / length
    return along, np.cross(normal, along)
