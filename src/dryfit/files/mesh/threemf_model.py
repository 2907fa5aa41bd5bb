"""One model part of a 3MF package: its unit, objects, components and build items, as they stand.

Coordinates are read as the 64-bit numbers that the text states. The consortium's own library keeps 32
bits, which at 3 m is a quarter of a micrometre a step but adds up through nested transforms; it serves
as the cross-check in the tests.
"""

from __future__ import annotations

from array import array
from dataclasses import dataclass, field

import numpy as np

from dryfit.base.arrays import Array, IntArray
from dryfit.base.errors import MeshRefused
from dryfit.base.units import LengthUnit
from dryfit.files.mesh.source import Source
from dryfit.files.mesh.threemf_package import ZIP_FAULTS, Package
from dryfit.files.mesh.xml_events import parse_xml

CORE = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
_PRODUCTION = "http://schemas.microsoft.com/3dmanufacturing/production/2015/06"
# Extensions that a file may require: production is implemented; the others add colours and groupings,
# which leave the surface as it is.
_IMPLEMENTED = {
    _PRODUCTION: "",
    "http://schemas.microsoft.com/3dmanufacturing/material/2015/02": "materials and colours are left out",
    "http://schemas.microsoft.com/3dmanufacturing/trianglesets/2021/07": "triangle sets are left out",
}
# 3MF core specification 1.3, section 3.4: values of the unit attribute (memory).
_UNITS: dict[str, LengthUnit] = {
    "micron": "um",
    "millimeter": "mm",
    "centimeter": "cm",
    "inch": "in",
    "foot": "ft",
    "meter": "m",
}
# Names as the XML reader gives them: namespace}name.
_PATH = f"{_PRODUCTION}}}path"
_OF_CORE = f"{CORE}}}"
# Elements of the core that stand in an object and hold no numbers themselves (core 1.3; memory).
_FRAMES = {"mesh", "vertices", "triangles", "components", "metadatagroup", "metadata"}


@dataclass(frozen=True, slots=True, eq=False)
class Use:
    """A component or a build item: an object, where it is kept ("" is the same part), and its transform."""

    object_id: str
    path: str
    matrix: Array


@dataclass(slots=True)
class ModelObject:
    """Either a mesh (vertices and faces) or components."""

    id: str
    name: str
    type: str
    vertices: Array = field(default_factory=lambda: np.zeros((0, 3)))
    faces: IntArray = field(default_factory=lambda: np.zeros((0, 3), dtype=np.int64))
    components: list[Use] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)


@dataclass(slots=True)
class ModelPart:
    unit: LengthUnit
    objects: dict[str, ModelObject] = field(default_factory=dict)
    items: list[Use] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)


def parse_model_part(package: Package, name: str) -> ModelPart:
    """Reads a model part in one pass, keeping no XML tree.

    Raises MeshRefused for XML that is not well-formed or declares a document type, an unknown unit, a
    required extension that is not implemented, and numbers that are none.
    """
    reader = _Reader(package.source, name)
    with package.open(name) as stream:
        try:
            parse_xml(package.source, stream, name, reader)
        except ZIP_FAULTS as fault:
            raise package.damaged(fault, name) from fault
    assert reader.part is not None  # XML without a root element is not well-formed
    return reader.part


_Attributes = dict[str, str]


class _Reader:
    """Takes start and end of elements and builds the part."""

    def __init__(self, source: Source, name: str) -> None:
        self.source = source
        self.name = name
        self.part: ModelPart | None = None
        self.object: ModelObject | None = None
        self.coordinates = array("d")
        self.indices = array("q")
        self.namespaces: dict[str | None, str | None] = {}
        self._vertex, self._triangle = f"{_OF_CORE}vertex", f"{_OF_CORE}triangle"

    def name_space(self, prefix: str | None, uri: str | None) -> None:
        """Only the root's declarations matter: requiredextensions stands there."""
        if self.part is None:
            self.namespaces[prefix] = uri

    def start(self, name: str, attributes: _Attributes, line: int) -> None:
        if self.part is None:
            self.part = self._open_model(name, attributes, line)
        elif name == self._vertex:
            self._take_vertex(attributes, line)
        elif name == self._triangle:
            self._take_triangle(attributes, line)
        elif name == f"{_OF_CORE}object":
            self._open_object(attributes, line)
        elif name == f"{_OF_CORE}component" and self.object is not None:
            self.object.components.append(self._use(attributes, line))
        elif name == f"{_OF_CORE}item":
            self.part.items.append(self._use(attributes, line))
        elif self.object is not None and name.startswith(_OF_CORE):
            if name.removeprefix(_OF_CORE) not in _FRAMES:
                what = f"the object holds an element that 3MF does not know: {name.removeprefix(_OF_CORE)[:60]!r}"
                raise self.refuse(what, line)
        elif self.object is not None:
            note = f"an element of another namespace is left out: {name[:120]}"
            if note not in self.object.notes:
                self.object.notes.append(note)

    def end(self, name: str, line: int) -> None:
        if name == f"{_OF_CORE}object" and self.object is not None:
            self._close_object(line)
        elif name == f"{_OF_CORE}model" and (self.coordinates or self.indices):
            raise self.refuse("vertices or triangles stand outside of any object", line)

    def refuse(self, what: str, line: int) -> MeshRefused:
        place = f"{self.name}, line {line}"
        if self.object is not None:
            place += f", object id {self.object.id!r}"
        return self.source.refuse(what, place)

    def _take_vertex(self, attributes: _Attributes, line: int) -> None:
        try:
            self.coordinates.append(float(attributes["x"]))
            self.coordinates.append(float(attributes["y"]))
            self.coordinates.append(float(attributes["z"]))
        except (KeyError, ValueError):
            shown = ", ".join(f"{axis}={attributes.get(axis)!r}" for axis in "xyz")
            raise self.refuse(f"coordinates are missing or no numbers: {shown[:80]}", line) from None

    def _take_triangle(self, attributes: _Attributes, line: int) -> None:
        try:
            self.indices.append(int(attributes["v1"]))
            self.indices.append(int(attributes["v2"]))
            self.indices.append(int(attributes["v3"]))
        except (KeyError, ValueError, OverflowError):
            shown = ", ".join(f"{corner}={attributes.get(corner)!r}" for corner in ("v1", "v2", "v3"))
            what = f"the corners of a triangle are missing or no indices: {shown[:80]}"
            raise self.refuse(what, line) from None

    def _open_model(self, name: str, attributes: _Attributes, line: int) -> ModelPart:
        if name != f"{_OF_CORE}model":
            raise self.refuse(f"the root element is {name[:120]!r}, not a 3MF core model", line)
        stated = attributes.get("unit")
        if stated is not None and stated not in _UNITS:
            raise self.refuse(f"the unit {stated[:40]!r} is not one of 3MF's: {', '.join(_UNITS)}", line)
        part = ModelPart(_UNITS[stated or "millimeter"])
        if stated is None:
            part.notes.append("no unit attribute: the 3MF standard then means millimetres")
        for prefix in attributes.get("requiredextensions", "").split():
            namespace = self.namespaces.get(prefix)
            if namespace not in _IMPLEMENTED:
                shown = namespace or "a prefix without a namespace"
                what = f"the file requires the 3MF extension {prefix!r} ({shown}), which is not supported"
                raise self.refuse(what, line)
            if _IMPLEMENTED[namespace]:
                part.notes.append(_IMPLEMENTED[namespace])
        return part

    def _open_object(self, attributes: _Attributes, line: int) -> None:
        identifier = attributes.get("id")
        if self.object is not None or not identifier:
            raise self.refuse("an object lacks its id or stands within another one", line)
        if self.coordinates or self.indices:
            raise self.refuse("vertices or triangles stand outside of any object", line)
        name = attributes.get("name", "").strip()
        self.object = ModelObject(identifier, name, attributes.get("type") or "model")

    def _close_object(self, line: int) -> None:
        assert self.part is not None
        assert self.object is not None
        item = self.object
        item.vertices = np.array(self.coordinates, dtype=np.float64).reshape(-1, 3)
        item.faces = np.array(self.indices, dtype=np.int64).reshape(-1, 3)
        self.coordinates, self.indices = array("d"), array("q")
        if item.id in self.part.objects:
            raise self.refuse("two objects have the same id", line)
        if len(item.faces) and item.components:
            raise self.refuse("an object has both a mesh and components", line)
        self.part.objects[item.id] = item
        self.object = None

    def _use(self, attributes: _Attributes, line: int) -> Use:
        identifier = attributes.get("objectid")
        if not identifier:
            raise self.refuse("a component or build item lacks its objectid", line)
        return Use(identifier, attributes.get(_PATH, "").lstrip("/"), self._matrix(attributes, line))

    def _matrix(self, attributes: _Attributes, line: int) -> Array:
        """(4, 4) for column vectors. 3MF writes row vectors: m00 m01 m02 m10 ... m32 (core 1.3, 3.3)."""
        text = attributes.get("transform")
        matrix = np.eye(4)
        if text is None:
            return matrix
        try:
            values = [float(word) for word in text.split()]
        except ValueError:
            values = []
        if len(values) != 12:
            raise self.refuse(f"a transform is not made of 12 numbers: {text[:80]!r}", line)
        matrix[:3, :] = np.array(values).reshape(4, 3).T
        return matrix
