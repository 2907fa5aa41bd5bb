"""Whether one mesh is another turned, moved or mirrored: the same faces, every vertex brought onto its own."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dryfit.base.arrays import Array, IntArray, locked
from dryfit.base.equal_rows import first_equal_rows, without_negative_zeros
from dryfit.calc.likeness.fitting import fit_points
from dryfit.model.mesh import TriangleMesh

COPY_MM = 0.001  # less than any format rounds away that a printer would show (common practice, no source)
_GLANCED = 64  # vertices whose distances from one another are looked at first


@dataclass(frozen=True, slots=True, eq=False)
class RigidCopy:
    """Mesh b is rotation @ a + translation_mm, vertex by vertex.

    rotation        (3, 3); determinant -1 where a is mirrored
    translation_mm  (3,) [mm]
    """

    rotation: Array
    translation_mm: Array

    def __post_init__(self) -> None:
        object.__setattr__(self, "rotation", locked(self.rotation, (3, 3), "rotation"))
        object.__setattr__(self, "translation_mm", locked(self.translation_mm, (3,), "translation_mm"))

    def move(self, points: Array) -> Array:
        """Points (k, 3) [mm] of a where they lie on b."""
        moved: Array = points @ self.rotation.T + self.translation_mm
        return moved

    def turn(self, directions: Array) -> Array:
        """Directions (k, 3) of a as they are on b."""
        turned: Array = directions @ self.rotation.T
        return turned


def find_copy(a: TriangleMesh, b: TriangleMesh, within_mm: float = COPY_MM) -> RigidCopy | None:
    """The motion that brings every vertex of a onto its own of b; None where there is none within within_mm.

    Both must list the same faces in the same order, a mirror image each face the other way round, and the
    same vertices must coincide exactly. So whatever is true of how the faces of a meet is true of b.
    Meshes of one shape with other facets, or written in another order, are no copies here.
    """
    if a.vertices.shape != b.vertices.shape or a.faces.shape != b.faces.shape or not len(a.faces):
        return None
    if not _may_be(a.vertices, b.vertices, within_mm):
        return None
    if np.array_equal(a.faces, b.faces):
        sense = 1.0
    elif np.array_equal(_lowest_first(a.faces), _lowest_first(b.faces[:, ::-1])):
        sense = -1.0
    else:
        return None
    mirror = np.array([sense, 1.0, 1.0])
    rotation, translation = fit_points(a.vertices * mirror, b.vertices)
    found = RigidCopy(rotation * mirror, translation)
    apart = np.sqrt(((found.move(a.vertices) - b.vertices) ** 2).sum(axis=1))
    if not float(apart.max()) <= within_mm or not np.array_equal(_coincident(a), _coincident(b)):
        return None
    return found


def _may_be(a: Array, b: Array, within_mm: float) -> bool:
    """Whether some vertices are as far from one another in both: nothing else need be looked at where not."""
    some = np.linspace(0, len(a) - 1, min(_GLANCED, len(a))).astype(np.int64)
    lengths = [np.sqrt(((points[some] - points[0]) ** 2).sum(axis=1)) for points in (a, b)]
    return bool(np.abs(lengths[0] - lengths[1]).max() <= 2.0 * within_mm)


def _lowest_first(faces: IntArray) -> IntArray:
    """The faces, each begun at its lowest index."""
    start = faces.argmin(axis=1)[:, None]
    return np.take_along_axis(faces, (start + np.arange(3)) % 3, axis=1)


def _coincident(mesh: TriangleMesh) -> IntArray:
    """For each vertex the first one at exactly the same place."""
    return first_equal_rows(without_negative_zeros(mesh.vertices)).astype(np.int64)
