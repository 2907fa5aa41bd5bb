"""3MF: build items with their transforms become objects. The format states its unit."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from dryfit.base.arrays import Array, IntArray
from dryfit.files.mesh.check import check_coordinates, check_indices
from dryfit.files.mesh.record import RawFile, RawObject
from dryfit.files.mesh.source import Source
from dryfit.files.mesh.threemf_model import ModelObject, ModelPart, Use, parse_model_part
from dryfit.files.mesh.threemf_package import Package
from dryfit.files.mesh.transform import apply_transform, check_transform

# Components may refer to components: a few lines can multiply a mesh without end.
MOST_TRIANGLES = 100_000_000
_MOST_DEPTH = 64

_Key = tuple[str, str]  # model part, object id


def parse_3mf(source: Source) -> RawFile:
    """One object per build item; an item made of components becomes one object, as the standard has it.

    Raises MeshRefused naming the part, object or line at fault.
    """
    package = Package(source)
    root = package.model_name()
    model = _Model(source, package, root)
    main = model.part(root)
    if not main.items:
        raise source.refuse("the build is empty: the file holds no object to print", root)
    total = sum(model.weigh(model.key(root, item), ()) for item in main.items)
    if total > MOST_TRIANGLES:
        what = f"the components multiply to {total} triangles and components, more than {MOST_TRIANGLES}"
        raise source.refuse(what, root)
    objects = tuple(model.build_item(item) for item in main.items)
    return RawFile("3mf", main.unit, objects, tuple(main.notes) + model.unused_notes())


@dataclass(slots=True)
class _Pieces:
    """What an item's components add up to."""

    vertices: list[Array] = field(default_factory=list)
    faces: list[IntArray] = field(default_factory=list)
    names: list[str] = field(default_factory=list)
    notes: dict[str, None] = field(default_factory=dict)
    offset: int = 0


class _Model:
    """The model parts of a package, read when they are first referred to."""

    def __init__(self, source: Source, package: Package, root: str) -> None:
        self.source = source
        self.package = package
        self.root = root
        self.parts: dict[str, ModelPart] = {}
        self.counts: dict[_Key, int] = {}

    def part(self, name: str) -> ModelPart:
        if name not in self.parts:
            part = parse_model_part(self.package, name)
            if self.parts and part.unit != self.parts[self.root].unit:
                what = f"model parts state different units: {self.parts[self.root].unit!r} and {part.unit!r}"
                raise self.source.refuse(what, name)
            self.parts[name] = part
        return self.parts[name]

    def key(self, part: str, use: Use) -> _Key:
        return use.path or part, use.object_id

    def object(self, key: _Key) -> ModelObject:
        part, identifier = key
        found = self.part(part).objects.get(identifier)
        if found is None:
            raise self.source.refuse(f"an object with id {identifier!r} is referred to and not there", part)
        return found

    def weigh(self, key: _Key, above: tuple[_Key, ...]) -> int:
        """Triangles and components of an object, all levels. Refuses cycles, and depth without end."""
        if key in above or len(above) > _MOST_DEPTH:
            chain = " > ".join(identifier for _, identifier in (*above, key)[-8:])
            words = "cyclic: an object contains itself" if key in above else "nested too deeply"
            raise self.source.refuse(f"components are {words} (ids {chain})", key[0])
        if key not in self.counts:
            item = self.object(key)
            below = (self.weigh(self.key(key[0], use), (*above, key)) for use in item.components)
            self.counts[key] = len(item.faces) + len(item.components) + sum(below)
        return self.counts[key]

    def build_item(self, item: Use) -> RawObject:
        key = self.key(self.root, item)
        top = self.object(key)
        place = f"{key[0]}, object id {key[1]!r}"
        check_transform(self.source, item.matrix, f"build item of {place}")
        pieces = _Pieces()
        self._collect(key, item.matrix, pieces)
        notes = list(pieces.notes)
        if top.components:
            names = ", ".join(repr(name) for name in pieces.names[:20])
            notes.insert(0, f"joined from {len(pieces.names)} components: {names}")
        if top.type != "model":
            notes.append(f"the object's type is {top.type!r}, not 'model'")
        if not pieces.faces:
            raise self.source.refuse("the object holds no triangles", place)
        vertices, faces = np.concatenate(pieces.vertices), np.concatenate(pieces.faces)
        return RawObject(top.name, vertices, faces, tuple(notes))

    def _collect(self, key: _Key, matrix: Array, pieces: _Pieces) -> None:
        item = self.object(key)
        place = f"{key[0]}, object id {key[1]!r}"
        if len(item.faces):
            # Before the pieces are joined: an index beyond its own piece would land in the next one.
            check_indices(self.source, item.faces, len(item.vertices), place)
            check_coordinates(self.source, item.vertices, place)
            vertices, faces, notes = apply_transform(matrix, item.vertices, item.faces)
            pieces.vertices.append(vertices)
            pieces.faces.append(faces + pieces.offset if pieces.offset else faces)
            pieces.offset += len(vertices)
            pieces.names.append(item.name or f"id {item.id}")
            pieces.notes.update(dict.fromkeys((*item.notes, *notes)))
        for use in item.components:
            check_transform(self.source, use.matrix, f"component of {place}")
            combined = matrix @ use.matrix
            check_transform(self.source, combined, f"component of {place}")
            self._collect(self.key(key[0], use), combined, pieces)

    def unused_notes(self) -> tuple[str, ...]:
        unused = [
            repr(item.name or f"id {item.id}")
            for name, part in self.parts.items()
            for item in part.objects.values()
            if (name, item.id) not in self.counts
        ]
        return ("not in the build and left out: " + ", ".join(unused[:20]),) if unused else ()
