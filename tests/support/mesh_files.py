"""Small mesh files of every format, made in code: what the tests of the reader read, break and mutate."""

from __future__ import annotations

import base64
import io
import json
import struct
import zipfile
from typing import Any

import numpy as np

CORE = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
PRODUCTION = "http://schemas.microsoft.com/3dmanufacturing/production/2015/06"
MODEL_RELATION = "http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"

_CORNERS = np.array([[x, y, z] for z in (0, 1) for y in (0, 1) for x in (0, 1)], dtype=np.float64)
QUADS = np.array(
    [[0, 2, 3, 1], [4, 5, 7, 6], [0, 1, 5, 4], [2, 6, 7, 3], [0, 4, 6, 2], [1, 3, 7, 5]], dtype=np.int64
)
FACES = np.concatenate([QUADS[:, [0, 1, 2]], QUADS[:, [0, 2, 3]]])


def box(size=(1.0, 2.0, 3.0), origin=(0.0, 0.0, 0.0)):
    """Vertices (8, 3) and faces (12, 3) of a box, facing outwards."""
    return _CORNERS * np.asarray(size) + np.asarray(origin), FACES


def stl_binary(vertices, faces, header=b"", declared=None):
    """Normals are left 0: the reader goes by the winding."""
    records = np.zeros(len(faces), dtype=[("n", "<f4", 3), ("v", "<f4", (3, 3)), ("a", "<u2")])
    records["v"] = vertices[faces]
    count = len(faces) if declared is None else declared
    return header.ljust(80, b" ") + struct.pack("<I", count) + records.tobytes()


def stl_text(vertices, faces, name="", ending="\n"):
    lines = [f"solid {name}"]
    for triangle in vertices[faces]:
        lines += ["  facet normal 0 0 0", "    outer loop"]
        lines += [f"      vertex {x!r} {y!r} {z!r}" for x, y, z in triangle.tolist()]
        lines += ["    endloop", "  endfacet"]
    return (ending.join([*lines, f"endsolid {name}"]) + ending).encode()


def obj(vertices, faces, name=None, offset=0):
    lines = [f"o {name}"] if name else []
    lines += [f"v {x!r} {y!r} {z!r}" for x, y, z in vertices.tolist()]
    lines += ["f " + " ".join(str(i + 1 + offset) for i in face) for face in faces.tolist()]
    return ("\n".join(lines) + "\n").encode()


def ply_header(encoding, vertex_count, face_count, kind="double", extra=""):
    return (
        f"ply\nformat {encoding} 1.0\ncomment made by a test\nelement vertex {vertex_count}\n"
        f"property {kind} x\nproperty {kind} y\nproperty {kind} z\n{extra}"
        f"element face {face_count}\nproperty list uchar int vertex_indices\nend_header\n"
    ).encode()


def ply_text(vertices, faces):
    lines = [" ".join(map(repr, row)) for row in vertices.tolist()]
    lines += [" ".join(map(str, [len(face), *face])) for face in faces.tolist()]
    return ply_header("ascii", len(vertices), len(faces)) + ("\n".join(lines) + "\n").encode()


def ply_binary(vertices, faces, order="<", kind="f8"):
    """faces: an array, or a list of lists of changing length."""
    encoding = "binary_little_endian" if order == "<" else "binary_big_endian"
    header = ply_header(encoding, len(vertices), len(faces), "double" if kind == "f8" else "float")
    rows = [np.uint8(len(f)).tobytes() + np.asarray(f, dtype=order + "i4").tobytes() for f in faces]
    return header + np.asarray(vertices, dtype=order + kind).tobytes() + b"".join(rows)


def gltf_document(vertices, faces, index_type=5123, **node) -> tuple[dict[str, Any], bytes]:
    """A document with one mesh and its buffer; node: extra keys of the only node."""
    kinds = {5121: "<u1", 5123: "<u2", 5125: "<u4"}
    points = np.asarray(vertices, dtype="<f4").tobytes()
    indices = np.asarray(faces, dtype=kinds[index_type]).tobytes()
    data = points + indices + b"\x00" * (-len(indices) % 4)
    document = {
        "asset": {"version": "2.0"},
        "scene": 0,
        "scenes": [{"nodes": [0]}],
        "nodes": [{"mesh": 0, "name": "box", **node}],
        "meshes": [{"primitives": [{"attributes": {"POSITION": 0}, "indices": 1}]}],
        "accessors": [
            {"bufferView": 0, "componentType": 5126, "count": len(vertices), "type": "VEC3"},
            {"bufferView": 1, "componentType": index_type, "count": int(np.size(faces)), "type": "SCALAR"},
        ],
        "bufferViews": [
            {"buffer": 0, "byteOffset": 0, "byteLength": len(points)},
            {"buffer": 0, "byteOffset": len(points), "byteLength": len(indices)},
        ],
        "buffers": [{"byteLength": len(data)}],
    }
    return document, data


def glb(document, data):
    text = json.dumps(document).encode()
    text += b" " * (-len(text) % 4)
    data += b"\x00" * (-len(data) % 4)
    chunks = struct.pack("<II", len(text), 0x4E4F534A) + text
    chunks += struct.pack("<II", len(data), 0x004E4942) + data
    return struct.pack("<4sII", b"glTF", 2, 12 + len(chunks)) + chunks


def gltf(document, data):
    """With the buffer as a data uri."""
    uri = "data:application/octet-stream;base64," + base64.b64encode(data).decode()
    return json.dumps({**document, "buffers": [{"byteLength": len(data), "uri": uri}]}).encode()


def mesh_xml(vertices, faces):
    points = "".join(f'<vertex x="{x!r}" y="{y!r}" z="{z!r}"/>' for x, y, z in vertices.tolist())
    corners = "".join(f'<triangle v1="{a}" v2="{b}" v3="{c}"/>' for a, b, c in faces.tolist())
    return f"<mesh><vertices>{points}</vertices><triangles>{corners}</triangles></mesh>"


def model_xml(resources, build, unit="millimeter", attributes="", prolog='<?xml version="1.0"?>'):
    stated = f'unit="{unit}"' if unit else ""
    return (
        f'{prolog}<model {stated} xmlns="{CORE}" xmlns:p="{PRODUCTION}" {attributes}>'
        f"<resources>{resources}</resources><build>{build}</build></model>"
    ).encode()


def package_3mf(parts, target="/3D/3dmodel.model", compression=zipfile.ZIP_DEFLATED):
    """parts: name -> content; a string is taken as the root model's XML."""
    if isinstance(parts, bytes):
        parts = {"3D/3dmodel.model": parts}
    relation = f'<Relationship Target="{target}" Id="r0" Type="{MODEL_RELATION}"/>'
    kinds = "http://schemas.openxmlformats.org/package/2006"
    whole = {
        "[Content_Types].xml": (
            f'<Types xmlns="{kinds}/content-types">'
            '<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
            '<Default Extension="model" ContentType="application/vnd.ms-package.3dmanufacturing-3dmodel+xml"/>'
            "</Types>"
        ).encode(),
        "_rels/.rels": f'<Relationships xmlns="{kinds}/relationships">{relation}</Relationships>'.encode(),
        **parts,
    }
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", compression) as archive:
        for name, content in whole.items():
            if content is not None:
                archive.writestr(zipfile.ZipInfo(name), content, compression)
    return stream.getvalue()


def box_3mf(unit="millimeter", transform=None, name="box", **options):
    vertices, faces = box()
    resources = f'<object id="1" name="{name}" type="model">{mesh_xml(vertices, faces)}</object>'
    moved = f' transform="{transform}"' if transform else ""
    return package_3mf(model_xml(resources, f'<item objectid="1"{moved}/>', unit, **options))


def sound_files() -> dict[str, bytes]:
    """One small sound file per format and variant, by file name."""
    vertices, faces = box()
    document, data = gltf_document(vertices, faces)
    return {
        "binary.stl": stl_binary(vertices, faces),
        "text.stl": stl_text(vertices, faces, "box"),
        "box.obj": obj(vertices, QUADS, "box"),
        "text.ply": ply_text(vertices, faces),
        "little.ply": ply_binary(vertices, faces),
        "big.ply": ply_binary(vertices, QUADS, ">", "f4"),
        "box.glb": glb(document, data),
        "box.gltf": gltf(document, data),
        "box.3mf": box_3mf(),
        "stored.3mf": package_3mf(
            model_xml(f'<object id="1">{mesh_xml(vertices, faces)}</object>', '<item objectid="1"/>'),
            compression=zipfile.ZIP_STORED,
        ),
    }
