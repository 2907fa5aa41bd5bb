"""The printed body beside its measures: edges of the artefact's mesh, where its file still lies with the project."""

from __future__ import annotations

import hashlib
import math
from pathlib import Path

import numpy as np

from dryfit.app.artefact_records import RecordedArtefact
from dryfit.app.live import Snapshot
from dryfit.base.arrays import Array
from dryfit.files.mesh import read_meshes

# The direction of the printed sheet's overview: from the front left and above (axonometric, ISO 5456-3).
TURN_DEG, TILT_DEG = 35.0, 28.0
_FOLDER = "artefacts"


def body_edges(path: Path, artefact: RecordedArtefact) -> Array | None:
    """(k, 2, 3) edges that are seen of the body [mm]; None where its file is not there, or is another one.

    Looked for is what `dryfit artefact` writes unless told otherwise, by the hash in the record.
    Raises MeshRefused where that very file cannot be read.
    """
    from dryfit.calc.outline import build_surface, crease_edges

    folder = path if path.is_dir() else path.parent
    file = folder / _FOLDER / f"{artefact.artefact.machine}-artefact.3mf"
    try:
        data = file.read_bytes()
    except OSError:
        return None
    if hashlib.sha256(data).hexdigest() != artefact.artefact.sha256:
        return None
    found = [
        surface.vertices[crease_edges(surface, surface.vertices, toward_viewer())]
        for mesh in read_meshes(file, None).objects
        for surface in (build_surface(mesh.vertices, mesh.faces),)
    ]
    return np.concatenate(found) if found else None


def part_edges(snapshot: Snapshot, part: str) -> Array:
    """(k, 2, 3) edges that are seen of a part, assembly coordinates [mm]. Raises KeyError for an unknown part."""
    from dryfit.calc.outline import build_surface, crease_edges

    mesh = snapshot.opened.shapes[part].mesh
    surface = build_surface(mesh.vertices, mesh.faces)
    edges: Array = surface.vertices[crease_edges(surface, surface.vertices, toward_viewer())]
    return edges


def toward_viewer() -> Array:
    """(3,) unit direction from the body to the viewer."""
    turn, tilt = math.radians(TURN_DEG), math.radians(TILT_DEG)
    return np.array([-math.sin(turn) * math.cos(tilt), -math.cos(turn) * math.cos(tilt), math.sin(tilt)])
