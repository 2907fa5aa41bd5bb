"""Writing a mesh as binary STL, which states no unit: millimetres by common practice."""

from __future__ import annotations

import numpy as np

from dryfit.model.mesh import TriangleMesh

_HEAD_BYTES = 80


def encode_stl(mesh: TriangleMesh) -> bytes:
    """The bytes of a binary STL file. Coordinates are rounded to single precision, as the format demands.

    Source: StereoLithography interface specification, 3D Systems 1989 (memory; read back by trimesh in the tests).
    """
    corners = mesh.vertices[mesh.faces]
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    length = np.linalg.norm(normal, axis=1)
    rows = np.zeros(
        len(mesh.faces), dtype=[("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("extra", "<u2")]
    )
    rows["normal"] = normal / np.where(length > 0, length, 1.0)[:, None]
    rows["corners"] = corners
    # a head that begins with "solid" is taken for the text form by some readers
    head = b"binary STL, millimetres".ljust(_HEAD_BYTES)
    return head + np.uint32(len(rows)).tobytes() + rows.tobytes()
