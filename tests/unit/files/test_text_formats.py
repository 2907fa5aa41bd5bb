"""STL, OBJ and PLY: hand-made files for each feature."""

from __future__ import annotations

import numpy as np
import pytest

from dryfit.base.errors import MeshRefused
from dryfit.calc.mesh import measure_mesh
from dryfit.files.mesh import read_raw
from support.mesh_files import FACES, QUADS, box, obj, ply_binary, ply_header, ply_text, stl_binary, stl_text


@pytest.fixture
def read(tmp_path):
    def read_bytes(name, content):
        path = tmp_path / name
        path.write_bytes(content)
        return read_raw(path)

    return read_bytes


def test_stl_corners_are_merged_by_equality_only(read):
    vertices, faces = box()
    near = vertices.copy()
    near[0, 0] = np.nextafter(np.float32(0), np.float32(1))
    mesh = read("a.stl", stl_binary(vertices, faces)).objects[0]
    assert len(mesh.vertices) == 8
    assert "vertices merged by exact equality" in mesh.notes
    assert (mesh.vertices[mesh.faces] == vertices[faces]).all()
    # One corner of one triangle a hair aside: no longer the same point.
    soup = stl_binary(np.concatenate([vertices, near[:1]]), np.concatenate([faces[1:], [[8, 2, 3]]]))
    assert len(read("a.stl", soup).objects[0].vertices) == 9


def test_minus_zero_is_zero(read):
    vertices, faces = box()
    text = stl_text(vertices, faces).replace(b"vertex 0.0 0.0 0.0", b"vertex -0.0 0 0", 1)
    assert len(read("a.stl", text).objects[0].vertices) == 8


def test_text_stl_keeps_all_digits_and_names(read):
    vertices, faces = box((0.1, 1 / 3, 2e-7))
    both = stl_text(vertices, faces, "rib left") + b"\n\n" + stl_text(vertices, faces, "rib  right")
    found = read("a.stl", both.replace(b"facet", b"FACET").replace(b"solid", b"Solid"))
    assert [mesh.name for mesh in found.objects] == ["rib left", "rib  right"]
    assert (found.objects[1].vertices.max(axis=0) == vertices.max(axis=0)).all()


def test_a_text_stl_may_be_named_like_a_keyword(read):
    found = read("a.stl", stl_text(*box(), "facet of the endsolids"))
    assert found.objects[0].name == "facet of the endsolids"


def test_stl_degenerate_triangles_stay(read):
    vertices, faces = box()
    found = read("a.stl", stl_binary(vertices, np.concatenate([faces, [[0, 0, 1]]])))
    assert len(found.objects[0].faces) == 13
    assert measure_mesh(found.objects[0]).degenerate_faces == 1


def test_obj_objects_and_groups(read):
    first, second = box(), box(origin=(5, 0, 0))
    text = obj(*first, "left") + obj(*second, "right", 8)
    found = read("a.obj", text)
    assert [mesh.name for mesh in found.objects] == ["left", "right"]
    assert found.objects[1].vertices.min(axis=0).tolist() == [5, 0, 0]
    assert len(found.objects[1].vertices) == 8
    grouped = text.replace(b"o left", b"g left").replace(b"o right", b"g right")
    assert [mesh.name for mesh in read("a.obj", grouped).objects] == ["left", "right"]


def test_obj_group_that_is_taken_up_again_is_one_group(read):
    vertices, faces = box()
    lines = obj(vertices, faces).splitlines()
    text = b"\n".join([*lines[:8], b"g a", *lines[8:12], b"g b", b"g a", *lines[12:]])
    found = read("a.obj", text)
    assert [mesh.name for mesh in found.objects] == ["a"]
    assert len(found.objects[0].faces) == 12
    assert "'b'" in found.notes[0]


def test_obj_negative_indices_count_back_from_their_line(read):
    vertices, faces = box()
    lines = obj(vertices, faces).decode().splitlines()
    back = ["f " + " ".join(str(i - 8) for i in face) for face in faces.tolist()]
    extra = ["v 9 9 9"]
    found = read("a.obj", "\n".join(lines[:8] + back[:6] + extra + ["f 1 2 9"]).encode())
    expected = np.concatenate([vertices[faces[:6]], [[vertices[0], vertices[1], [9, 9, 9]]]])
    assert (found.objects[0].vertices[found.objects[0].faces] == expected).all()


def test_obj_line_continuations_comments_and_corner_forms(read):
    vertices, _ = box()
    lines = obj(vertices, QUADS).decode()
    lines = lines.replace("f 1 3 4 2", "f 1/1 3/2 \\\n 4//3 2/7/9 # a face").replace(
        "v 1.0", "v \\\r\n 1.0", 1
    )
    text = "# head\nmtllib x.mtl\nusemtl y\ns off\nvn 0 0 1\nvt 0 0\n" + lines + "l 1 2\np 3\n"
    found = read("a.obj", text.encode())
    assert measure_mesh(found.objects[0]).volume_mm3 == pytest.approx(6)
    assert any("lines" in note for note in found.notes)
    assert any("points" in note for note in found.notes)


def test_obj_error_lines_count_continuations(read):
    with pytest.raises(MeshRefused, match="line 5"):
        read("a.obj", b"v 0 0 \\\n0\nv 1 0 0\nv 0 1 0\nf 1 2 x\n")


def test_obj_weights_and_colours_are_dropped(read):
    text = b"v 0 0 0 1\nv 1 0 0 1\nv 0 1 0 1\nf 1 2 3\n"
    assert read("a.obj", text).objects[0].vertices.shape == (3, 3)
    mixed = b"v 0 0 0 1 0 0\nv 1 0 0\nv 0 1 0 # a comment\nf 1 2 3\n"
    assert read("a.obj", mixed).objects[0].vertices.tolist() == [[0, 0, 0], [1, 0, 0], [0, 1, 0]]


# An arrowhead whose notch lies opposite its first corner: a fan from there would cover the notch.
NOTCHED = np.array([[0, 0, 0], [4, 0, 0], [1, 1, 0], [0, 4, 0]], dtype=float)


def test_polygons_with_a_notch_keep_their_area(read):
    """Shoelace area of the arrowhead: 4; of a fan that ignores the notch: 4 as well, but not unsigned."""
    rolled = np.roll(NOTCHED, -1, axis=0)
    for corners in (NOTCHED, rolled):
        lines = [f"v {x} {y} {z}" for x, y, z in corners] + ["f 1 2 3 4"]
        mesh = read("a.obj", "\n".join(lines).encode()).objects[0]
        assert measure_mesh(mesh).area_mm2 == pytest.approx(4.0, abs=1e-12)
        assert (np.cross(*np.diff(mesh.vertices[mesh.faces], axis=1).transpose(1, 0, 2))[:, 2] > 0).all()


def test_a_polygon_that_crosses_itself_is_refused(read):
    text = b"v 0 0 0\nv 4 4 0\nv 4 0 0\nv 0 3 0\nf 1 2 3 4\n"
    with pytest.raises(MeshRefused, match="cannot be triangulated"):
        read("a.obj", text)


def test_a_warped_polygon_is_read_with_its_departure(read):
    """Corners lie alternately 0.125 above and below the mean plane z = (x + y) / 4, along z.

    Across the plane, whose normal is (-1, -1, 4) / sqrt(18), that is 0.125 * 4 / sqrt(18) = 0.118.
    """
    text = b"v 0 0 0\nv 1 0 0\nv 1 1 0.5\nv 0 1 0\nf 1 2 3 4\n"
    notes = read("a.obj", text).objects[0].notes
    assert any("not all of them are flat: corners lie up to 0.118" in note for note in notes)
    flat = read("a.obj", text.replace(b"0.5", b"0")).objects[0].notes
    assert flat == ("1 polygons were divided into triangles",)


@pytest.mark.parametrize("order", ["<", ">"])
@pytest.mark.parametrize("kind", ["f4", "f8"])
def test_ply_binary(read, order, kind):
    vertices, faces = box((0.5, 2, 3))
    mesh = read("a.ply", ply_binary(vertices, faces, order, kind)).objects[0]
    assert (mesh.vertices == vertices).all()
    assert (mesh.faces == faces).all()


@pytest.mark.parametrize("make", [ply_binary, lambda v, f: _mixed_text(v, f)])
def test_ply_lists_of_changing_length(read, make):
    vertices, _ = box()
    mixed = [*QUADS[:3].tolist(), *FACES[3:6].tolist(), *FACES[9:].tolist()]
    mesh = read("a.ply", make(vertices, mixed)).objects[0]
    measures = measure_mesh(mesh)
    assert (len(mesh.faces), measures.is_closed) == (12, True)
    assert measures.volume_mm3 == pytest.approx(6)


def _mixed_text(vertices, faces):
    lines = [" ".join(map(repr, row)) for row in vertices.tolist()]
    lines += [" ".join(map(str, [len(face), *face])) for face in faces]
    return ply_header("ascii", len(vertices), len(faces)) + "\n".join(lines).encode()


def test_ply_with_other_properties_and_elements(read):
    vertices, faces = box()
    header = (
        b"ply\nformat binary_little_endian 1.0\nelement camera 1\nproperty float a\n"
        b"element vertex 8\nproperty uchar red\nproperty float x\nproperty float y\nproperty double z\n"
        b"element edge 2\nproperty list uchar short ends\n"
        b"element face 12\nproperty list uchar float texcoord\nproperty list uint ushort vertex_index\n"
        b"property uchar flag\nend_header\n"
    )
    body = b"\0\0\0\0"
    row = np.dtype([("r", "u1"), ("x", "<f4"), ("y", "<f4"), ("z", "<f8")])
    rows = np.zeros(8, dtype=row)
    rows["x"], rows["y"], rows["z"] = vertices.T
    body += rows.tobytes() + b"\x02\1\0\2\0" + b"\x01\1\0"
    for face in faces:
        body += b"\x02" + bytes(8) + b"\3\0\0\0" + face.astype("<u2").tobytes() + b"\x07"
    found = read("a.ply", header + body)
    assert measure_mesh(found.objects[0]).volume_mm3 == pytest.approx(6)
    assert len(found.notes) == 2


def test_ply_text_has_all_digits(read):
    vertices, faces = box((0.1, 1 / 3, 2e-7))
    assert (read("a.ply", ply_text(vertices, faces)).objects[0].vertices == vertices).all()
