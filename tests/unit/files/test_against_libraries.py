"""What trimesh writes is read as it was, and what it reads rightly we read the same."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh

from dryfit.calc.mesh import measure_mesh
from dryfit.files.mesh import read_raw
from support.mesh_files import sound_files
from support.shapes import torus

# 64-bit text and binary keep every digit; the others keep 32 bits.
EXPORTS = {
    "stl": (2e-7, {}),
    "stl_ascii": (2e-7, {}),
    "obj": (1e-9, {"digits": 12}),
    "ply": (2e-7, {"encoding": "binary"}),
    "ply_ascii": (2e-7, {"encoding": "ascii"}),
    "glb": (2e-7, {}),
    "3mf": (1e-9, {}),
}


@pytest.mark.parametrize("kind", EXPORTS)
def test_reads_what_trimesh_writes(tmp_path, kind):
    rel, options = EXPORTS[kind]
    body = torus(5, 1, 40, 20)
    path = tmp_path / f"ring.{kind.partition('_')[0]}"
    written = trimesh.Trimesh(body.vertices, body.faces, process=False)
    file_type = "stl_ascii" if kind == "stl_ascii" else path.suffix[1:]
    path.write_bytes(_as_bytes(written.export(file_type=file_type, **options)))
    mesh = read_raw(path).objects[0]
    assert len(mesh.vertices) == len(body.vertices)
    assert mesh.vertices[mesh.faces] == pytest.approx(body.vertices[body.faces], abs=6 * rel)
    ours, theirs = measure_mesh(mesh), measure_mesh(body)
    assert ours.is_closed
    assert ours.volume_mm3 == pytest.approx(theirs.volume_mm3, rel=1e-6)


def _as_bytes(content):
    return content.encode() if isinstance(content, str) else content


def test_reads_a_scene_that_trimesh_writes(tmp_path):
    """Names and places of the nodes, in the file's own metres."""
    scene = trimesh.Scene()
    for i in range(3):
        move = trimesh.transformations.translation_matrix([2.0 * i, 0, 0])
        scene.add_geometry(
            trimesh.creation.box((1, 1, 1)), node_name=f"ring-{i}", geom_name=f"g{i}", transform=move
        )
    for name in ("a.glb", "a.gltf"):
        content = scene.export(file_type=name[2:])
        parts = {name: content} if isinstance(content, bytes) else content
        for part, data in parts.items():
            (tmp_path / (name if part == "model.gltf" else part)).write_bytes(data)
        found = read_raw(tmp_path / name)
        assert [mesh.name for mesh in found.objects] == ["ring-0", "ring-1", "ring-2"]
        for i, mesh in enumerate(found.objects):
            assert mesh.vertices.mean(axis=0) == pytest.approx([2 * i, 0, 0], abs=1e-6)


@pytest.mark.parametrize("name", [n for n in sound_files() if not n.endswith("3mf")])
def test_trimesh_reads_the_hand_made_files_the_same(tmp_path, name):
    path = tmp_path / name
    path.write_bytes(sound_files()[name])
    theirs = trimesh.load(path, process=False, force="mesh")
    ours = read_raw(path).objects[0]
    assert _sorted_corners(theirs.vertices, theirs.faces) == pytest.approx(
        _sorted_corners(ours.vertices, ours.faces)
    )


def _sorted_corners(vertices, faces):
    corners = np.round(np.asarray(vertices)[np.asarray(faces)].reshape(len(faces), -1), 9)
    # A triangle may begin at any of its corners, and quadrangles may be cut either way: compare areas by
    # the normal that they face, which no such choice changes.
    normals = np.cross(corners[:, 3:6] - corners[:, :3], corners[:, 6:] - corners[:, :3])
    return normals[np.lexsort(normals.T)]
