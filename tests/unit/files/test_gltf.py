"""glTF and GLB: hand-made files for each feature. Section numbers are those of glTF 2.0."""

from __future__ import annotations

import copy
import json
import os

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from dryfit.base.errors import MeshRefused
from dryfit.calc.mesh import measure_mesh
from dryfit.files.mesh import read_meshes, read_raw
from support.mesh_files import FACES, box, glb, gltf, gltf_document


@pytest.fixture
def read(tmp_path):
    def read_document(document, data, name="a.glb"):
        path = tmp_path / name
        path.write_bytes(glb(document, data))
        return read_raw(path)

    return read_document


def points_of(mesh):
    return mesh.vertices[mesh.faces]


@pytest.mark.parametrize("index_type", [5121, 5123, 5125])
def test_indices_of_all_widths(read, index_type):
    vertices, faces = box()
    mesh = read(*gltf_document(vertices, faces, index_type)).objects[0]
    assert (points_of(mesh) == vertices[faces]).all()
    assert mesh.name == "box"


def test_metres_become_millimetres(tmp_path):
    (tmp_path / "a.glb").write_bytes(glb(*gltf_document(*box())))
    assert read_meshes(tmp_path / "a.glb", None).objects[0].vertices.max(axis=0).tolist() == [
        1000,
        2000,
        3000,
    ]


def test_corners_without_indices_are_merged(read):
    vertices, faces = box()
    soup = vertices[faces].reshape(-1, 3)
    document, data = gltf_document(soup, np.arange(36))
    del document["meshes"][0]["primitives"][0]["indices"]
    mesh = read(document, data).objects[0]
    assert (len(mesh.vertices), measure_mesh(mesh).is_closed) == (8, True)
    assert "vertices merged by exact equality" in mesh.notes


def test_node_transforms_multiply_down_the_tree(read):
    """Quaternion convention x, y, z, w and order T R S (5.25), checked against scipy's Rotation."""
    vertices, faces = box()
    turn = Rotation.from_euler("xyz", [0.3, -0.5, 1.1])
    document, data = gltf_document(vertices, faces)
    matrix = np.eye(4)
    matrix[:3, :3] = Rotation.from_euler("z", 0.7).as_matrix()
    matrix[:3, 3] = [10, 20, 30]
    document["nodes"] = [
        {"name": "frame", "children": [1], "matrix": matrix.T.ravel().tolist()},
        {
            "mesh": 0,
            "translation": [1, 2, 3],
            "rotation": turn.as_quat().tolist(),
            "scale": [2, 3, 4],
        },
    ]
    document["meshes"][0]["name"] = "rib"
    mesh = read(document, data).objects[0]
    expected = turn.apply(vertices * [2, 3, 4]) + np.array([1, 2, 3])
    expected = expected @ matrix[:3, :3].T + matrix[:3, 3]
    assert points_of(mesh) == pytest.approx(expected[faces], abs=1e-12)
    assert mesh.name == "rib"
    assert any("scales the body by 4 x 3 x 2" in note for note in mesh.notes)


def test_a_mirroring_node_keeps_the_surface_facing_outwards(read):
    mesh = read(*gltf_document(*box(), scale=[-1, 1, 1])).objects[0]
    assert measure_mesh(mesh).volume_mm3 == pytest.approx(6)
    assert mesh.vertices.min(axis=0).tolist() == [-1, 0, 0]
    assert any("mirroring" in note for note in mesh.notes)


def test_several_nodes_may_show_one_mesh(read):
    document, data = gltf_document(*box())
    document["nodes"] = [{"mesh": 0, "name": "a"}, {"mesh": 0, "name": "b", "translation": [5, 0, 0]}]
    document["scenes"] = [{"nodes": [0, 1]}]
    found = read(document, data)
    assert [(mesh.name, mesh.vertices[:, 0].min()) for mesh in found.objects] == [("a", 0), ("b", 5)]


def test_only_the_stated_scene_is_read(read):
    document, data = gltf_document(*box())
    document["nodes"] += [{"mesh": 0, "name": "elsewhere"}]
    document["scenes"] += [{"nodes": [1]}]
    found = read(document, data)
    assert [mesh.name for mesh in found.objects] == ["box"]
    assert "1 mesh nodes do not belong to the scene" in found.notes[0]
    del document["scene"]
    with pytest.raises(MeshRefused, match="2 scenes and states none"):
        read(document, data)
    del document["scenes"]
    assert [mesh.name for mesh in read(document, data).objects] == ["box", "elsewhere"]


def test_primitives_of_one_mesh_join_along_their_seams(read):
    document, data = gltf_document(*box())
    first = document["meshes"][0]["primitives"][0]
    document["accessors"][1]["count"] = 18
    document["accessors"].append({**document["accessors"][1], "byteOffset": 36})
    document["meshes"][0]["primitives"] = [first, {**first, "indices": 2, "mode": 4}]
    mesh = read(document, data).objects[0]
    assert len(mesh.faces) == 12
    assert measure_mesh(mesh).is_closed


@pytest.mark.parametrize(
    ("mode", "order", "expected"),
    [
        # 3.7.2.1: p_i = (v_i, v_(i+1+i%2), v_(i+2-i%2)) of a strip, (v_(i+1), v_(i+2), v_0) of a fan.
        (5, [0, 1, 2, 3, 4], [[0, 1, 2], [1, 3, 2], [2, 3, 4]]),
        (6, [0, 1, 2, 3, 4], [[1, 2, 0], [2, 3, 0], [3, 4, 0]]),
    ],
)
def test_strips_and_fans(read, mode, order, expected):
    vertices, _ = box()
    document, data = gltf_document(vertices, np.array(order))
    document["meshes"][0]["primitives"][0]["mode"] = mode
    mesh = read(document, data).objects[0]
    assert (points_of(mesh) == vertices[np.array(expected)]).all()


def test_interleaved_vertices(read):
    vertices, faces = box()
    rows = np.zeros((8, 6), dtype="<f4")
    rows[:, 3:] = vertices
    document, data = gltf_document(np.zeros((16, 3)), faces)
    data = rows.tobytes() + data[192:]
    document["bufferViews"][0]["byteStride"] = 24
    document["accessors"][0] |= {"byteOffset": 12, "count": 8}
    assert (points_of(read(document, data).objects[0]) == vertices[faces]).all()


@pytest.mark.parametrize("is_based", [True, False])
def test_sparse_accessors(read, is_based):
    """3.6.2.3: values at the given indices replace those of the view, or zeros where there is none."""
    vertices, faces = box()
    document, data = gltf_document(vertices, faces)
    start = len(data)
    data += np.array([1, 7], dtype="<u2").tobytes() + np.array([[7, 8, 9], [1, 1, 2]], "<f4").tobytes()
    document["bufferViews"] += [
        {"buffer": 0, "byteOffset": start, "byteLength": 4},
        {"buffer": 0, "byteOffset": start + 4, "byteLength": 24},
    ]
    document["buffers"][0]["byteLength"] = len(data)
    document["accessors"][0]["sparse"] = {
        "count": 2,
        "indices": {"bufferView": 2, "componentType": 5123},
        "values": {"bufferView": 3},
    }
    expected = vertices.copy() if is_based else np.zeros((8, 3))
    if not is_based:
        del document["accessors"][0]["bufferView"]
    expected[[1, 7]] = [[7, 8, 9], [1, 1, 2]]
    assert (points_of(read(document, data).objects[0]) == expected[faces]).all()


def test_quantised_positions(read):
    """3.6.2.2 and KHR_mesh_quantization: a normalised short is c / 32767."""
    vertices, faces = box()
    document, data = gltf_document(vertices, faces)
    shorts = np.zeros((8, 4), dtype="<i2")
    shorts[:, :3] = vertices * 8191
    document["extensionsUsed"] = document["extensionsRequired"] = ["KHR_mesh_quantization"]
    document["bufferViews"][0] |= {"byteLength": 64, "byteStride": 8}
    document["accessors"][0] |= {"componentType": 5122, "normalized": True}
    mesh = read(document, shorts.tobytes() + bytes(32) + data[96:]).objects[0]
    assert points_of(mesh) == pytest.approx(vertices[faces] * 8191 / 32767, rel=1e-15)
    del document["extensionsUsed"]
    with pytest.raises(MeshRefused, match="5126 is expected"):
        read(document, shorts.tobytes() + bytes(32) + data[96:])


def test_buffers_beside_the_file_are_read_and_hashed(tmp_path):
    document, data = gltf_document(*box())
    (tmp_path / "sub dir").mkdir()
    document["buffers"][0]["uri"] = "sub%20dir/box.bin"
    (tmp_path / "a.gltf").write_text(json.dumps(document))
    (tmp_path / "sub dir" / "box.bin").write_bytes(data)
    first = read_raw(tmp_path / "a.gltf")
    assert measure_mesh(first.objects[0]).volume_mm3 == pytest.approx(6)
    changed = bytearray(data)
    changed[3] ^= 64
    (tmp_path / "sub dir" / "box.bin").write_bytes(changed)
    assert read_raw(tmp_path / "a.gltf").sha256 != first.sha256
    assert any("buffer files" in note for note in first.notes)


@pytest.mark.parametrize(
    "uri",
    [
        "../box.bin",
        "/etc/passwd",
        "file:///etc/passwd",
        "http://a/b.bin",
        "link.bin",
        "%2e%2e/box.bin",
        "a%00",
    ],
)
def test_buffers_outside_the_folder_are_refused(tmp_path, uri):
    folder = tmp_path / "mesh"
    folder.mkdir()
    document, data = gltf_document(*box())
    (tmp_path / "box.bin").write_bytes(data)
    os.symlink(tmp_path / "box.bin", folder / "link.bin")
    document["buffers"][0]["uri"] = uri
    (folder / "a.gltf").write_text(json.dumps(document))
    with pytest.raises(MeshRefused, match="outside the file's folder"):
        read_raw(folder / "a.gltf")


def test_a_text_file_with_a_data_uri_equals_the_binary_one(tmp_path, read):
    document, data = gltf_document(*box())
    (tmp_path / "a.gltf").write_bytes(gltf(copy.deepcopy(document), data))
    text = read_raw(tmp_path / "a.gltf").objects[0]
    assert (points_of(text) == points_of(read(document, data).objects[0])).all()
    assert len(text.faces) == len(FACES)
