"""Writing a mesh so that nothing is lost: binary PLY in double precision, in millimetres."""

from __future__ import annotations

import numpy as np

from dryfit.model.mesh import TriangleMesh

_COMMENT_LETTERS = 200  # of a comment line; longer text says nothing more in a header


def encode_ply(mesh: TriangleMesh, comments: tuple[str, ...] = ()) -> bytes:
    """The bytes of a binary little-endian PLY file: vertices as doubles [mm], faces as lists of three.

    comments : lines for the header, besides the one that names the unit. PLY itself states none, so that the
    document must: unit = "mm".
    Source: The PLY polygon file format, G. Turk 1994 (memory; read back by trimesh in the tests).
    """
    if len(mesh.vertices) > 2**31 - 1:
        raise ValueError("PLY counts vertices in 32 bits")
    lines = ["ply", "format binary_little_endian 1.0", "comment unit: mm"]
    lines += [f"comment {_plain(text)}" for text in comments]
    lines += [f"element vertex {len(mesh.vertices)}", *(f"property double {axis}" for axis in "xyz")]
    lines += [f"element face {len(mesh.faces)}", "property list uchar int vertex_indices", "end_header"]
    rows = np.empty(len(mesh.faces), dtype=[("count", "u1"), ("corners", "<i4", 3)])
    rows["count"] = 3
    rows["corners"] = mesh.faces
    head = ("\n".join(lines) + "\n").encode("ascii")
    return head + np.ascontiguousarray(mesh.vertices, dtype="<f8").tobytes() + rows.tobytes()


def _plain(text: str) -> str:
    """A comment is one line of ASCII, without the word at which some readers stop, wherever it stands."""
    line = " ".join(text.split())[:_COMMENT_LETTERS].replace("end_header", "end-header")
    return line.encode("ascii", errors="backslashreplace").decode("ascii")
