"""Whether a straight way leads off a surface: can a sanding block come to a place?"""

from __future__ import annotations

from typing import Any

import numpy as np

from dryfit.base.arrays import Array, BoolArray
from dryfit.model.mesh import TriangleMesh

_OFF_MM = 1e-3  # a way begins so far off the surface, beyond the single precision of the rays


def has_free_way(mesh: TriangleMesh, points: Array, normals: Array, way_mm: float) -> BoolArray:
    """Whether a ray from each point (k, 3) along its outward unit normal meets the mesh no sooner than way_mm.

    Rays are those of the ray library, in single precision about the middle of the mesh.
    """
    from embreex.mesh_construction import TriangleMesh as RayMesh
    from embreex.rtcore_scene import EmbreeScene

    middle = 0.5 * (mesh.vertices.min(axis=0) + mesh.vertices.max(axis=0))
    scene: Any = EmbreeScene()
    RayMesh(scene, (mesh.vertices - middle).astype(np.float32), mesh.faces.astype(np.int32))
    starts = (points - middle + _OFF_MM * normals).astype(np.float32)
    found = scene.run(np.ascontiguousarray(starts), np.ascontiguousarray(normals, dtype=np.float32), output=1)
    is_free: BoolArray = (found["primID"] < 0) | (found["tfar"] >= way_mm)
    return is_free
