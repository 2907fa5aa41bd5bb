"""Buffers and accessors of glTF: bytes become arrays, every bound verified."""

from __future__ import annotations

import base64
import binascii
from posixpath import isabs, normpath
from typing import Any
from urllib.parse import unquote

import numpy as np
import numpy.typing as npt

from dryfit.files.mesh.gltf_json import Tree
from dryfit.files.mesh.source import COPY_AGAIN, Source

_Values = npt.NDArray[np.generic]

# glTF 2.0, 3.6.2.2: component types and element sizes.
_COMPONENTS = {5120: "<i1", 5121: "<u1", 5122: "<i2", 5123: "<u2", 5125: "<u4", 5126: "<f4"}
_WIDTHS = {"SCALAR": 1, "VEC2": 2, "VEC3": 3, "VEC4": 4}
_INDEX_COMPONENTS = (5121, 5123, 5125)
# An accessor without data is all zeros; a count alone must not fill the memory.
_MOST_ZEROS = 1 << 26


class Buffers:
    """Accessors by number. binary: the BIN chunk of a GLB file, None without one."""

    def __init__(self, source: Source, tree: Tree, binary: bytes | None) -> None:
        self.source = source
        self.tree = tree
        self.binary = binary
        self.beside: dict[int, tuple[str, bytes]] = {}
        self._loaded: dict[int, bytes] = {}

    def accessor(self, index: int, width: str, components: tuple[int, ...]) -> _Values:
        """Values (count, width) of an accessor, its type and component type among those asked for.

        Raises MeshRefused where it does not lie within its buffer view, or that within its buffer.
        """
        place = f"accessors[{index}]"
        entry = self.tree.item("accessors", index, place)
        kind, component = entry.get("type"), entry.get("componentType")
        if kind != width or component not in components:
            what = (
                f"the accessor has type {kind!r:.20} of component type {component!r:.20}; for "
                f"this use {width} of {' or '.join(map(str, components))} is expected"
            )
            raise self.source.refuse(what, place)
        assert isinstance(component, int)
        count = self.tree.integer(entry, "count", place)
        if "bufferView" in entry:
            start = self.tree.integer(entry, "byteOffset", place, 0)
            view = self.tree.integer(entry, "bufferView", place)
            values = self._elements(view, start, count, _COMPONENTS[component], _WIDTHS[width], place)
        elif count > _MOST_ZEROS:
            raise self.source.refuse(f"an accessor without data claims {count} values", place)
        else:
            values = np.zeros((count, _WIDTHS[width]), dtype=_COMPONENTS[component])
        if "sparse" in entry:
            values = self._replace_sparse(entry, values, place)
        return self._normalise(values) if entry.get("normalized") is True else values

    def _normalise(self, values: _Values) -> _Values:
        """Whole numbers as fractions (glTF 2.0, 3.6.2.2 with 3.11): c / max, not below -1."""
        if values.dtype.kind == "f":
            return values
        bits = 8 * values.dtype.itemsize - (values.dtype.kind == "i")
        return np.maximum(values.astype(np.float64) / (2.0**bits - 1.0), -1.0)

    def _replace_sparse(self, entry: dict[str, Any], values: _Values, place: str) -> _Values:
        place = f"{place}.sparse"
        sparse = self.tree.dict_of(entry, "sparse", place)
        count = self.tree.integer(sparse, "count", place)
        where = self.tree.dict_of(sparse, "indices", place)
        component = where.get("componentType")
        if component not in _INDEX_COMPONENTS:
            raise self.source.refuse("the sparse indices have no index component type", place)
        assert isinstance(component, int)
        new = self.tree.dict_of(sparse, "values", place)
        indices = self._elements(
            self.tree.integer(where, "bufferView", place),
            self.tree.integer(where, "byteOffset", place, 0),
            *(count, _COMPONENTS[component], 1, place),
        ).astype(np.int64)[:, 0]
        replacements = self._elements(
            self.tree.integer(new, "bufferView", place),
            self.tree.integer(new, "byteOffset", place, 0),
            *(count, values.dtype.str, values.shape[1], place),
        )
        if count and (indices.max() >= len(values) or (np.diff(indices) <= 0).any()):
            raise self.source.refuse("sparse indices are out of range or do not increase", place)
        result = values.copy()
        result[indices] = replacements
        return result

    def _elements(self, view: int, start: int, count: int, component: str, width: int, place: str) -> _Values:
        """(count, width) out of a buffer view, interleaved or not."""
        entry = self.tree.item("bufferViews", view, place)
        place = f"{place}, bufferViews[{view}]"
        # A view compressed by an extension holds something other than what it says; fallbacks too.
        if self.tree.dict_of(entry, "extensions", place):
            names = ", ".join(sorted(map(str, entry["extensions"])))
            what = f"the buffer view uses an extension that is not supported: {names}"
            raise self.source.refuse(what, place)
        offset = self.tree.integer(entry, "byteOffset", place, 0)
        length = self.tree.integer(entry, "byteLength", place)
        kind = np.dtype(component)
        size = kind.itemsize * width
        stride = self.tree.integer(entry, "byteStride", place, size)
        number = self.tree.integer(entry, "buffer", place)
        data = self._buffer(number)
        if offset + length > len(data):
            what = f"the buffer view ends at byte {offset + length}, the buffer holds {len(data)}"
            raise self.source.refuse(what, place, COPY_AGAIN)
        if stride < size or (stride > 252 and stride != size) or start % kind.itemsize:
            what = f"byteStride {stride} or byteOffset {start} does not suit values of {size} bytes"
            raise self.source.refuse(what, place)
        if count and start + (count - 1) * stride + size > length:
            what = (
                f"the accessor claims {count} values, up to byte {start + (count - 1) * stride + size}; "
                f"its buffer view holds {length} bytes"
            )
            raise self.source.refuse(what, place)
        if not count:
            return np.zeros((0, width), dtype=kind)
        return np.ndarray((count, width), kind, data, offset + start, (stride, kind.itemsize))

    def _buffer(self, number: int) -> bytes:
        if number not in self._loaded:
            place = f"buffers[{number}]"
            entry = self.tree.item("buffers", number, place)
            declared = self.tree.integer(entry, "byteLength", place)
            data = self._load(number, entry, place)
            if len(data) < declared:
                what = f"truncated: the buffer declares {declared} bytes, it holds {len(data)}"
                raise self.source.refuse(what, place, COPY_AGAIN)
            self._loaded[number] = data[:declared]
        return self._loaded[number]

    def _load(self, number: int, entry: dict[str, Any], place: str) -> bytes:
        uri = self.tree.text(entry, "uri", place)
        if not uri:
            if self.binary is None or number != 0:
                raise self.source.refuse("the buffer has no uri and the file no binary chunk for it", place)
            return self.binary
        if uri.startswith("data:"):
            return self._decode(uri, place)
        self.beside[number] = self._read_beside(uri, place)
        return self.beside[number][1]

    def _decode(self, uri: str, place: str) -> bytes:
        head, comma, body = uri.partition(",")
        if not comma or not head.endswith(";base64"):
            raise self.source.refuse("the data uri is not base64", place)
        try:
            return base64.b64decode(body, validate=True)
        except (binascii.Error, ValueError) as fault:
            raise self.source.refuse(f"the data uri is not base64 ({fault})", place) from fault

    def _read_beside(self, uri: str, place: str) -> tuple[str, bytes]:
        """Path and content of a buffer file, which must lie in the mesh file's own folder or below it."""
        folder = self.source.path.resolve().parent
        name = unquote(uri)
        if "\x00" in name or "://" in name or ":" in name.split("/")[0]:
            raise self.source.refuse(f"the buffer lies outside the file's folder: {name[:80]!r}", place)
        target = (folder / name).resolve()
        path = normpath(name)
        if isabs(path) or path.startswith("..") or not target.is_relative_to(folder):
            raise self.source.refuse(f"the buffer lies outside the file's folder: {name[:80]!r}", place)
        try:
            return path, target.read_bytes()
        except OSError as fault:
            what = f"the buffer file {name[:80]!r} cannot be read ({fault.strerror})"
            raise self.source.refuse(what, place, "keep the .bin file beside the .gltf file") from fault
