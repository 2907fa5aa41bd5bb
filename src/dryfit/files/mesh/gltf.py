"""glTF 2.0 and GLB. Lengths are metres by the standard."""

from __future__ import annotations

import struct
from typing import Any

import numpy as np
import numpy.typing as npt

from dryfit.base.arrays import Array, IntArray
from dryfit.calc.mesh import merge_equal_vertices
from dryfit.files.mesh.check import check_coordinates, check_indices
from dryfit.files.mesh.gltf_buffers import Buffers
from dryfit.files.mesh.gltf_json import Tree
from dryfit.files.mesh.gltf_nodes import MeshNode, place_nodes
from dryfit.files.mesh.record import MERGED_NOTE, MeshFormat, RawFile, RawObject
from dryfit.files.mesh.source import COPY_AGAIN, Source
from dryfit.files.mesh.transform import apply_transform

_JSON_CHUNK, _BINARY_CHUNK = 0x4E4F534A, 0x004E4942
_FLOAT = (5126,)
_QUANTISED = (5120, 5121, 5122, 5123, 5126)
_INDICES = (5121, 5123, 5125)
_TRIANGLES, _STRIP, _FAN = 4, 5, 6
_MODE_WORDS = {0: "points", 1: "lines", 2: "a line loop", 3: "a line strip"}
_QUANTISATION = "KHR_mesh_quantization"
# Extensions that a file may require and that leave the surface where it is.
_HARMLESS = ("KHR_materials_", "KHR_texture_", "EXT_texture_", "KHR_lights_punctual", _QUANTISATION)
_EXPORT_PLAIN = "export the mesh again without that extension (without compression)"


def parse_glb(source: Source) -> RawFile:
    """A binary file: header, JSON chunk, perhaps a binary chunk, and nothing after them."""
    data = source.data
    if len(data) < 20:
        what = f"truncated: the header needs 20 bytes, the file holds {len(data)}"
        raise source.refuse(what, do=COPY_AGAIN)
    _, version, length = struct.unpack_from("<4sII", data)
    if version != 2:
        raise source.refuse(f"GLB version {version} is not supported, only 2 is", "byte 4")
    if length > len(data):
        what = f"truncated: the header declares {length} bytes, the file holds {len(data)}"
        raise source.refuse(what, f"byte {len(data)}", COPY_AGAIN)
    if length < len(data):
        what = f"{len(data) - length} surplus bytes follow the {length} that the header declares"
        raise source.refuse(what, f"byte {length}")
    chunks = _split_chunks(source)
    if not chunks or chunks[0][0] != _JSON_CHUNK:
        raise source.refuse("the first chunk is not JSON", "byte 12")
    binary = chunks[1][1] if len(chunks) > 1 and chunks[1][0] == _BINARY_CHUNK else None
    return _parse(source, "glb", chunks[0][1], binary)


def parse_gltf(source: Source) -> RawFile:
    """A JSON file with buffers as data uris or in files beside it."""
    return _parse(source, "gltf", source.data, None)


def _split_chunks(source: Source) -> list[tuple[int, bytes]]:
    data, position, chunks = source.data, 12, []
    while position < len(data):
        place = f"byte {position}"
        if position + 8 > len(data):
            raise source.refuse("truncated: a chunk's header is cut short", place, COPY_AGAIN)
        length, kind = struct.unpack_from("<II", data, position)
        position += 8
        if position + length > len(data):
            what = f"truncated: a chunk declares {length} bytes, the file holds {len(data) - position}"
            raise source.refuse(what, place, COPY_AGAIN)
        chunks.append((kind, data[position : position + length]))
        position += length
    return chunks


def _parse(source: Source, form: MeshFormat, text: bytes, binary: bytes | None) -> RawFile:
    tree = Tree(source, text)
    notes = _check_asset(source, tree)
    buffers = Buffers(source, tree, binary)
    _check_binary_size(source, tree, binary)
    nodes, node_notes = place_nodes(source, tree)
    if not nodes:
        raise source.refuse("the scene shows no mesh: no triangles")
    shapes: dict[int, _Shape] = {}
    objects = []
    for node in nodes:
        if node.mesh not in shapes:
            shapes[node.mesh] = _build_shape(source, tree, buffers, node.mesh)
        objects.append(_place_shape(shapes[node.mesh], node))
    if tree.items("animations"):
        notes.append("animations are left out: the mesh is read as it rests")
    beside = tuple(buffers.beside[number] for number in sorted(buffers.beside))
    if beside:
        notes.append(f"the hash covers the file and its {len(beside)} buffer files")
    return RawFile(form, "m", tuple(objects), tuple(notes + node_notes), beside)


def _check_asset(source: Source, tree: Tree) -> list[str]:
    asset = tree.dict_of(tree.root, "asset", "asset")
    version = asset.get("version", "")
    least = tree.text(asset, "minVersion", "asset") or "2.0"
    if not isinstance(version, str) or not version.startswith("2.") or least != "2.0":
        raise source.refuse(f"glTF version {version!r:.20} is not supported, only 2.0 is", "asset.version")
    for name in tree.list_of(tree.root, "extensionsRequired", "extensionsRequired"):
        if not isinstance(name, str) or not name.startswith(_HARMLESS):
            what = f"the file requires the extension {name!r:.60}, which is not supported"
            raise source.refuse(what, "extensionsRequired", _EXPORT_PLAIN)
    return []


def _check_binary_size(source: Source, tree: Tree, binary: bytes | None) -> None:
    """The binary chunk is as long as the first buffer says, but for padding to four bytes."""
    if binary is None or not tree.items("buffers"):
        return
    first = tree.item("buffers", 0, "buffers[0]")
    if "uri" in first:
        return
    declared = tree.integer(first, "byteLength", "buffers[0]")
    if len(binary) > declared + 3:
        what = f"{len(binary) - declared} surplus bytes follow the {declared} of the binary chunk's buffer"
        raise source.refuse(what, "buffers[0]")


class _Shape:
    """A mesh in its own coordinates, built once however many nodes show it."""

    def __init__(self, vertices: Array, faces: IntArray, notes: tuple[str, ...]) -> None:
        self.vertices = vertices
        self.faces = faces
        self.notes = notes


def _place_shape(shape: _Shape, node: MeshNode) -> RawObject:
    vertices, faces, notes = apply_transform(node.matrix, shape.vertices, shape.faces)
    return RawObject(node.name, vertices, faces, shape.notes + notes)


def _build_shape(source: Source, tree: Tree, buffers: Buffers, mesh: int) -> _Shape:
    """All primitives of a mesh as one surface.

    Exporters repeat a vertex for every normal and material that meets there, so equal positions are
    merged; without that no solid with a sharp edge would be closed.
    """
    entry = tree.item("meshes", mesh, f"meshes[{mesh}]")
    points, faces, offset = [], [], 0
    for number, primitive in enumerate(tree.list_of(entry, "primitives", f"meshes[{mesh}]")):
        place = f"meshes[{mesh}].primitives[{number}]"
        if not isinstance(primitive, dict):
            raise source.refuse("the primitive is not an object", place)
        position, triangles = _read_primitive(source, tree, buffers, primitive, place)
        points.append(position)
        faces.append(triangles + offset)
        offset += len(position)
    if not faces:
        raise source.refuse("the mesh has no primitives: no triangles", f"meshes[{mesh}]")
    joined = np.concatenate(points)
    vertices, index = merge_equal_vertices(joined)
    notes = (MERGED_NOTE,) if len(vertices) < len(joined) else ()
    if len(vertices) == len(joined):
        return _Shape(joined.astype(np.float64), np.concatenate(faces), notes)
    return _Shape(vertices, index[np.concatenate(faces)], notes)


def _read_primitive(
    source: Source, tree: Tree, buffers: Buffers, primitive: dict[str, Any], place: str
) -> tuple[npt.NDArray[np.floating], IntArray]:
    """Positions (n, 3) and triangles (m, 3) of a primitive."""
    mode = tree.integer(primitive, "mode", place, _TRIANGLES)
    if mode not in (_TRIANGLES, _STRIP, _FAN):
        words = _MODE_WORDS.get(mode, "no known mode")
        raise source.refuse(f"the primitive is made of {words} (mode {mode}), not of triangles", place)
    attributes = tree.dict_of(primitive, "attributes", place)
    if "POSITION" not in attributes:
        raise source.refuse("the primitive has no POSITION: no vertices (compressed?)", place, _EXPORT_PLAIN)
    used = tree.list_of(tree.root, "extensionsUsed", "extensionsUsed")
    components = _QUANTISED if _QUANTISATION in used else _FLOAT
    number = tree.integer(attributes, "POSITION", place)
    found = buffers.accessor(number, "VEC3", components)
    points: npt.NDArray[np.floating] = found.astype(np.float64)
    if found.dtype == np.float32:  # merges faster; normalised values are 64-bit and stay so
        points = found.astype(np.float32)
    if "indices" in primitive:
        which = tree.integer(primitive, "indices", place)
        order = buffers.accessor(which, "SCALAR", _INDICES).astype(np.int64)[:, 0]
    else:
        order = np.arange(len(points), dtype=np.int64)
    faces = _as_triangles(source, order, mode, place)
    check_indices(source, faces, len(points), place)
    check_coordinates(source, points, place)
    return points, faces


def _as_triangles(source: Source, order: IntArray, mode: int, place: str) -> IntArray:
    """Triangles (m, 3) of a list, strip or fan (glTF 2.0, 3.7.2.1)."""
    if mode == _TRIANGLES:
        if len(order) % 3:
            raise source.refuse(f"{len(order)} corners make no whole number of triangles", place)
        return order.reshape(-1, 3)
    if len(order) < 3:
        raise source.refuse(f"{len(order)} corners make no triangle", place)
    if mode == _FAN:
        return np.stack([order[1:-1], order[2:], np.broadcast_to(order[0], len(order) - 2)], axis=1)
    # Every second triangle of a strip is wound the other way round: p_i, p_(i + 1 + i%2), p_(i + 2 - i%2).
    odd = np.arange(len(order) - 2) % 2
    step = np.arange(len(order) - 2)
    return np.stack([order[step], order[step + 1 + odd], order[step + 2 - odd]], axis=1)
