"""One object of a file, by name."""

from __future__ import annotations

import difflib

from dryfit.base.errors import MeshRefused
from dryfit.files.mesh.record import MeshFile
from dryfit.model.mesh import TriangleMesh

_MOST_NAMES_SHOWN = 20


def select_object(mesh_file: MeshFile, object_name: str | None) -> TriangleMesh:
    """The object of that name, or the only one where no name is given.

    Raises MeshRefused where the name is missing (with the names present and the nearest of them), or
    where none is given and the file holds several objects.
    """
    names = [mesh.name for mesh in mesh_file.objects]
    if object_name is None:
        if len(names) == 1:
            return mesh_file.objects[0]
        what = f"the file holds {len(names)} objects and none is named"
        raise MeshRefused(what, mesh_file.name, f"write {mesh_file.name}#NAME; it holds {_list(names)}")
    for mesh in mesh_file.objects:
        if mesh.name == object_name:
            return mesh
    near = difflib.get_close_matches(object_name, names, n=1, cutoff=0.5)
    hint = f"did you mean {near[0]!r}? " if near else ""
    what = f"the file holds no object named {object_name!r}"
    raise MeshRefused(what, mesh_file.name, f"{hint}it holds {_list(names)}")


def _list(names: list[str]) -> str:
    shown = ", ".join(repr(name) for name in names[:_MOST_NAMES_SHOWN])
    rest = len(names) - _MOST_NAMES_SHOWN
    return f"{shown} and {rest} more" if rest > 0 else shown
