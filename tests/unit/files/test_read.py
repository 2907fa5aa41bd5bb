"""The reader's face: units, names, selection, and telling the formats apart."""

from __future__ import annotations

import hashlib
import pickle

import numpy as np
import pytest

from dryfit.base.errors import MeshRefused, UnitUnknown
from dryfit.calc.mesh import measure_mesh
from dryfit.files.mesh import read_meshes, read_raw, select_object
from support.mesh_files import box, glb, gltf_document, obj, ply_text, sound_files, stl_binary, stl_text

FILES = sound_files()
STATED = {"3mf": "mm", "glb": "m", "gltf": "m"}


def put(tmp_path, name, content):
    path = tmp_path / name
    path.write_bytes(content)
    return path


@pytest.mark.parametrize("name", FILES)
def test_every_format_gives_the_same_box(tmp_path, name):
    """A box of 1 x 2 x 3 has volume 6 and area 22."""
    path = put(tmp_path, name, FILES[name])
    found = read_raw(path)
    measures = measure_mesh(found.objects[0])
    assert measures.volume_mm3 == pytest.approx(6.0, abs=1e-12)
    assert measures.area_mm2 == pytest.approx(22.0, abs=1e-12)
    assert measures.is_closed
    assert not measures.is_inside_out
    assert found.format == name.rpartition(".")[2]
    assert found.unit_stated == found.vertex_unit == STATED.get(found.format)
    assert found.sha256 == found.objects[0].sha256 == hashlib.sha256(FILES[name]).hexdigest()
    assert len(found.objects[0].vertices) == 8
    assert not found.objects[0].vertices.flags.writeable


@pytest.mark.parametrize(
    ("unit", "factor"), [("um", 0.001), ("mm", 1), ("cm", 10), ("m", 1000), ("in", 25.4), ("ft", 304.8)]
)
def test_vertices_come_in_millimetres(tmp_path, unit, factor):
    """Factors: SI prefixes; inch and foot of the 1959 agreement."""
    mesh = read_meshes(put(tmp_path, "a.ply", FILES["text.ply"]), unit).objects[0]
    assert mesh.vertices.max(axis=0) == pytest.approx(np.array([1, 2, 3]) * factor, rel=1e-15)


def test_a_file_without_a_unit_needs_one(tmp_path):
    with pytest.raises(UnitUnknown, match="STL files never do"):
        read_meshes(put(tmp_path, "a.stl", FILES["binary.stl"]), None)


def test_the_stated_unit_may_be_repeated_and_not_contradicted(tmp_path):
    path = put(tmp_path, "a.glb", FILES["box.glb"])
    assert read_meshes(path, None).objects[0].vertices.max() == 3000.0
    assert read_meshes(path, "m").objects[0].vertices.max() == 3000.0
    with pytest.raises(MeshRefused, match="states the unit 'm', and 'mm' is asked for"):
        read_meshes(path, "mm")


def test_unnamed_objects_are_called_after_the_file(tmp_path):
    one = stl_text(*box())
    assert read_raw(put(tmp_path, "rib.stl", one)).objects[0].name == "rib"
    names = [mesh.name for mesh in read_raw(put(tmp_path, "ribs.stl", one + one)).objects]
    assert names == ["ribs-1", "ribs-2"]


def test_repeated_names_get_a_suffix_and_a_note(tmp_path):
    parts = [stl_text(*box(), name) for name in ("rib", "rib", "rib-2", "rib")]
    found = read_raw(put(tmp_path, "a.stl", b"".join(parts)))
    assert [mesh.name for mesh in found.objects] == ["rib", "rib-3", "rib-2", "rib-4"]
    assert any("occurs more than once" in note for note in found.objects[1].notes)
    assert not any("occurs more than once" in note for note in found.objects[2].notes)


def test_one_object_is_selected_by_name(tmp_path):
    parts = [stl_text(*box(), name) for name in ("ring-1", "ring-2", "crown")]
    found = read_raw(put(tmp_path, "frame.stl", b"".join(parts)))
    assert select_object(found, "ring-2").name == "ring-2"
    with pytest.raises(
        MeshRefused, match=r"no object named 'ring-3'[\s\S]*did you mean 'ring-[12]'.*'crown'"
    ):
        select_object(found, "ring-3")
    with pytest.raises(MeshRefused, match=r"3 objects and none is named[\s\S]*frame.stl#NAME.*'ring-1'"):
        select_object(found, None)


def test_the_only_object_needs_no_name(tmp_path):
    found = read_raw(put(tmp_path, "a.stl", FILES["binary.stl"]))
    assert select_object(found, None) is found.objects[0]


@pytest.mark.parametrize("name", FILES)
def test_content_goes_before_the_extension(tmp_path, name):
    kind = name.rpartition(".")[2]
    other = "wrong.obj" if kind != "obj" else "wrong.stl"
    found = read_raw(put(tmp_path, other, FILES[name]))
    assert found.format == kind
    assert "is called ." + other[-3:] in found.notes[0]
    assert found.notes[0] in found.objects[0].notes
    assert read_raw(put(tmp_path, "without", FILES[name])).format == kind


@pytest.mark.parametrize(
    "header", [b"solid box", b"ply\n", b"glTF is not what this is"[2:], b"{", b"\xff\xfe"]
)
def test_a_binary_stl_is_known_by_its_size_whatever_it_begins_with(tmp_path, header):
    found = read_raw(put(tmp_path, "a.stl", stl_binary(*box(), header)))
    assert (found.format, len(found.objects[0].faces)) == ("stl", 12)


def test_a_byte_order_mark_is_passed_over(tmp_path):
    mark = b"\xef\xbb\xbf"
    document, data = gltf_document(*box())
    for name in ("text.stl", "box.obj", "text.ply", "box.gltf"):
        assert len(read_raw(put(tmp_path, name, mark + FILES[name])).objects[0].faces) == 12
    assert glb(document, data)[:4] == b"glTF"


@pytest.mark.parametrize("ending", ["\n", "\r\n", "\r"])
def test_line_ends_of_all_systems(tmp_path, ending):
    vertices, faces = box()
    for name, text in (
        ("a.stl", stl_text(vertices, faces, "box")),
        ("a.obj", obj(vertices, faces, "box")),
        ("a.ply", ply_text(vertices, faces)),
    ):
        found = read_raw(put(tmp_path, name, text.replace(b"\n", ending.encode())))
        assert len(found.objects[0].faces) == 12
        assert found.objects[0].name in ("box", "a")


def test_a_refusal_has_three_parts_and_pickles(tmp_path):
    with pytest.raises(MeshRefused) as caught:
        read_raw(tmp_path / "absent.stl")
    again = pickle.loads(pickle.dumps(caught.value))
    assert (again.what, again.where, again.do) == (caught.value.what, caught.value.where, caught.value.do)
    assert "absent.stl" in again.where
