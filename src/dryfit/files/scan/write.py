"""Writing a coloured mesh as binary PLY."""

from __future__ import annotations

import numpy as np

from dryfit.base.arrays import Array, IntArray


def encode_map_ply(
    vertices: Array, faces: IntArray, colours: np.ndarray, values_mm: Array, comments: tuple[str, ...]
) -> bytes:
    """A mesh with a colour and a value at each vertex: x, y, z [mm], red, green, blue, deviation_mm.

    vertices (n, 3), faces (m, 3), colours (n, 3) uint8, values_mm (n,): NaN where nothing is known
    """
    head = ["ply", "format binary_little_endian 1.0"]
    head += [f"comment {line}" for line in comments]
    head += [f"element vertex {len(vertices)}", *(f"property float {axis}" for axis in "xyz")]
    head += [f"property uchar {name}" for name in ("red", "green", "blue")]
    head += ["property float deviation_mm", f"element face {len(faces)}"]
    head += ["property list uchar int vertex_indices", "end_header", ""]
    kind = np.dtype([("place", "<f4", 3), ("colour", "u1", 3), ("value", "<f4")])
    rows = np.empty(len(vertices), dtype=kind)
    rows["place"], rows["colour"], rows["value"] = vertices, colours, values_mm
    face = np.empty(len(faces), dtype=np.dtype([("n", "u1"), ("corners", "<i4", 3)]))
    face["n"], face["corners"] = 3, faces
    return "\n".join(head).encode("ascii") + rows.tobytes() + face.tobytes()
