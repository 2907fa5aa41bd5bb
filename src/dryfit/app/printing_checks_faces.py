"""The faces of one part that matter when it is printed: mating faces, and holes among its features."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from dryfit.app.geometry import PartShape
from dryfit.base.arrays import Array, IntArray
from dryfit.base.errors import ComputationRefused
from dryfit.calc.printability import RoundFace, turn_of_face
from dryfit.model.finding import MeasuredFeature
from dryfit.model.joint import FaceContacts
from dryfit.model.part import Part
from dryfit.model.project import Project


@dataclass(frozen=True, slots=True, eq=False)
class MatingFace:
    """One part's side of a joint. points_mm, normals (n, 3): contacts, outward of the part."""

    joint: str
    points_mm: Array
    normals: Array


@dataclass(frozen=True, slots=True, eq=False)
class Hole:
    """A diameter feature whose face bounds a hole."""

    feature: MeasuredFeature
    face: RoundFace
    triangles: IntArray
    points_mm: Array
    normals: Array


def mating_faces(project: Project, part: Part, faces: Mapping[str, FaceContacts]) -> tuple[MatingFace, ...]:
    """The part's sides of its accepted joints, in the order of the document."""
    return tuple(
        _side_of(part, joint.parts, joint.id, faces[joint.id])
        for joint in project.joints
        if not joint.proposed and part.id in joint.parts and joint.id in faces
    )


def _side_of(part: Part, parts: tuple[str, str], joint: str, faces: FaceContacts) -> MatingFace:
    if part.id == parts[0]:
        return MatingFace(joint, faces.points_on_first, faces.normals)
    return MatingFace(joint, faces.points_on_second, -faces.normals)


def diameters_of(part: Part, measured: Sequence[MeasuredFeature]) -> Iterator[MeasuredFeature]:
    """The measured diameters of a part."""
    for feature in measured:
        if feature.kind == "diameter" and feature.parts == (part.id,) and feature.measured is not None:
            yield feature


def hole_of(part: Part, shape: PartShape, feature: MeasuredFeature) -> Hole | None:
    """The hole that a diameter feature measures; None where it is no hole.

    Raises ComputationRefused where the face does not tell.
    """
    triangles = next((found for name, found in feature.triangles if name == part.id), None)
    if triangles is None or not len(triangles):
        raise ComputationRefused(
            "the triangles of its face are not known", f'feature "{feature.id}"', "pick the face again"
        )
    corners = shape.mesh.vertices[shape.mesh.faces[triangles]]
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    length = np.linalg.norm(normal, axis=1)
    has_area = length > 0
    unit = normal[has_area] / length[has_area, None]
    face = turn_of_face(corners[has_area].mean(axis=1), unit)
    if face.radius_mm >= 0:
        return None
    points = corners[has_area].reshape(-1, 3)
    return Hole(feature, face, triangles, points, np.repeat(unit, 3, axis=0))
