"""A mesh prepared for rays."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from dryfit.base.arrays import Array, IntArray, bounds_of, corners_of, cross
from dryfit.base.errors import ComputationRefused
from dryfit.calc.thickness.samples import triangle_normals
from dryfit.model.mesh import TriangleMesh

# A scene needs about 400 bytes a triangle; more triangles than this would need more memory than a small
# computer can spare.
MOST_TRIANGLES = 3_000_000
# Up to so many the nearest triangle to a point deep inside is found by a tree sooner than by rays: measured.
FEW_TRIANGLES = 3_000


@dataclass(frozen=True, slots=True, eq=False)
class Solid:
    """A closed mesh that faces outward, and a scene in which rays meet it.

    mesh      moved so that the middle of its box is the origin
    middle    (3,) [mm] where that middle was
    size_mm   half the diagonal of the box
    normals   (m, 3) unit normals of the triangles; corners (m, 3, 3) [mm]
    rays      scene of the ray library, in single precision, scaled by 1 / size_mm
    tree      search tree over the triangles, in double precision; None where there are too many of them for
              the nearest to be found sooner than by rays
    """

    mesh: TriangleMesh
    middle: Array
    size_mm: float
    normals: Array
    corners: Array
    rays: Any
    tree: Any | None = None


def prepare_solid(mesh: TriangleMesh) -> Solid:
    """The scene of a mesh.

    Raises ComputationRefused for a mesh that is open, that is not consistently oriented, that faces inward
    as a whole, or that has more than MOST_TRIANGLES: a ray says nothing of a wall there.
    """
    from embreex.mesh_construction import TriangleMesh as RayMesh
    from embreex.rtcore_scene import EmbreeScene

    _refuse_unsound(mesh)
    is_used = np.zeros(len(mesh.vertices), dtype=np.bool_)
    is_used[mesh.faces.ravel()] = True
    used = mesh.vertices[is_used]
    low, high = bounds_of(used)
    middle, size = 0.5 * (low + high), 0.5 * float(np.linalg.norm(high - low))
    centred = TriangleMesh(mesh.vertices - middle, mesh.faces)
    scene = EmbreeScene()
    RayMesh(scene, (centred.vertices / size).astype(np.float32), mesh.faces.astype(np.int32))
    corners = centred.vertices[centred.faces]
    tree = _search_tree(centred) if len(mesh.faces) <= FEW_TRIANGLES else None
    return Solid(centred, middle, size, triangle_normals(centred)[0], corners, scene, tree)


def _search_tree(mesh: TriangleMesh) -> Any:
    from igl import AABB

    tree = AABB()
    tree.init(mesh.vertices, mesh.faces)
    return tree


def _refuse_unsound(mesh: TriangleMesh) -> None:
    do = "see what its health says, mend it (dryfit mend), and measure again"
    if len(mesh.faces) > MOST_TRIANGLES:
        raise ComputationRefused(
            f"{len(mesh.faces)} triangles are more than the {MOST_TRIANGLES} that walls are measured on",
            "thickness",
            "export the part with fewer triangles for this check",
        )
    if not _is_closed_and_oriented(mesh.faces, len(mesh.vertices)):
        raise ComputationRefused(
            "the mesh is open or not consistently oriented, so that inside and outside are not told apart",
            "thickness",
            do,
        )
    if _signed_volume(mesh) <= 0.0:
        raise ComputationRefused("the mesh is inside out: a ray would leave it", "thickness", do)


def _is_closed_and_oriented(faces: IntArray, vertices: int) -> bool:
    """Whether every edge is run through as often one way as the other."""
    sound = faces[(faces[:, 0] != faces[:, 1]) & (faces[:, 1] != faces[:, 2]) & (faces[:, 2] != faces[:, 0])]
    tail, head = sound.ravel(), np.roll(sound, -1, axis=1).ravel()
    key = np.minimum(tail, head) * vertices + np.maximum(tail, head)
    forward, backward = np.sort(key[tail < head]), np.sort(key[tail > head])
    return len(sound) > 0 and np.array_equal(forward, backward)


def _signed_volume(mesh: TriangleMesh) -> float:
    a, b, c = corners_of(mesh.vertices - mesh.vertices[mesh.faces[0, 0]], mesh.faces)
    return float(np.einsum("ij,ij->", a, cross(b, c))) / 6.0
