"""Opening a project folder: meshes in their places, hashes, units, and what was assumed."""

import hashlib

import numpy as np
import pytest

from dryfit.app.loading import open_project, split_reference
from dryfit.base.errors import MeshRefused, ProjectMissing, UnitUnknown
from support.projects import PORTAL, document, glb_bytes, part_row, stl_bytes, write_project

BLOCK = {"meshes/block.stl": stl_bytes((2.0, 6.0, 10.0))}


def with_block(folder, **keys):
    row = part_row("block", reference="meshes/block.stl", **keys)
    return write_project(folder, document(parts=row, joints="", characteristics="", assembly=""), BLOCK)


def test_every_part_has_its_mesh_in_the_assembly(tmp_path):
    seen = []
    opened = open_project(write_project(tmp_path), lambda done, total: seen.append((done, total)))
    assert seen == [(k, 4) for k in range(1, 5)]
    for name, (size, origin) in PORTAL.items():
        vertices = opened.shapes[name].mesh.vertices
        # glTF stores single precision
        assert vertices.min(axis=0) == pytest.approx(origin, abs=1e-4)
        assert np.ptp(vertices, axis=0) == pytest.approx(size, rel=1e-6)
    expected = hashlib.sha256(glb_bytes()).hexdigest()
    assert dict(opened.mesh_hashes) == dict.fromkeys(PORTAL, expected)


def test_the_document_itself_may_be_named(tmp_path):
    folder = write_project(tmp_path)
    assert open_project(folder / "project.toml").folder == folder
    with pytest.raises(ProjectMissing):
        open_project(tmp_path / "nowhere")


@pytest.mark.parametrize(
    ("unit", "factor"), [("mm", 1.0), ("cm", 10.0), ("m", 1000.0), ("in", 25.4), ("um", 0.001)]
)
def test_a_stated_unit_scales(tmp_path, unit, factor):
    opened = open_project(with_block(tmp_path, unit=f'"{unit}"'))
    extent = np.ptp(opened.shapes["block"].mesh.vertices, axis=0)
    assert extent == pytest.approx(factor * np.array([2.0, 6.0, 10.0]), rel=1e-6)


def test_a_mesh_without_unit_is_refused_likeliest_first(tmp_path):
    with pytest.raises(UnitUnknown) as caught:
        open_project(with_block(tmp_path))
    assert 'part "block".mesh' in caught.value.where
    # 2 x 6 x 10 fits the build volume of half a metre in millimetres and in centimetres, not in metres
    assert caught.value.what.index("millimetres") < caught.value.what.index("centimetres")


def test_a_placement_moves_the_mesh(tmp_path):
    folder = with_block(
        tmp_path, unit='"mm"', placement="{ euler_xyz_deg = [0, 0, 90], translation_mm = [100, 0, 0] }"
    )
    vertices = open_project(folder).shapes["block"].mesh.vertices
    # turned by 90 degrees, x becomes y and y becomes -x
    assert vertices.min(axis=0) == pytest.approx([94.0, 0.0, 0.0])
    assert vertices.max(axis=0) == pytest.approx([100.0, 2.0, 10.0])


def test_a_changed_mesh_is_refused(tmp_path):
    sha256 = hashlib.sha256(BLOCK["meshes/block.stl"]).hexdigest()
    folder = with_block(tmp_path, unit='"mm"', sha256=f'"{sha256}"')
    open_project(folder)
    (folder / "meshes/block.stl").write_bytes(stl_bytes((2.0, 6.0, 11.0)))
    with pytest.raises(MeshRefused, match="content has changed") as caught:
        open_project(folder)
    assert "meshes/block.stl" in caught.value.what
    assert "--again" in caught.value.do


def test_what_the_reader_assumed_is_noted_with_its_file(tmp_path):
    notes = open_project(with_block(tmp_path, unit='"mm"')).notes
    assert any(note.startswith("meshes/block.stl: ") for note in notes)


def test_one_file_is_read_once_for_all_its_parts(tmp_path, monkeypatch):
    from dryfit.app import loading

    read = []
    original = loading.read_meshes
    monkeypatch.setattr(loading, "read_meshes", lambda path, unit: read.append(path) or original(path, unit))
    open_project(write_project(tmp_path))
    assert len(read) == 1


@pytest.mark.parametrize(
    ("mesh", "pieces"),
    [
        ("a.stl", ("a.stl", None)),
        ("a.glb#b", ("a.glb", "b")),
        ("a.glb#b#c", ("a.glb", "b#c")),
        ("a#", ("a", "")),
    ],
)
def test_references_are_split_at_the_first_mark(mesh, pieces):
    assert split_reference(mesh) == pieces
