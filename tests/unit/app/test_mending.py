"""Mending a part on disk: the copy, the document, the original, and what is refused."""

from __future__ import annotations

import hashlib

import numpy as np
import pytest
import trimesh

from dryfit.app.loading import open_project
from dryfit.app.mending import MendOptions, MendRefused, mend_part, options_for_mending
from dryfit.base.errors import MeshRefused, NotWritten, UnitUnknown
from dryfit.files.mesh import read_meshes
from dryfit.files.mesh.write import encode_ply
from dryfit.model.mesh import TriangleMesh
from dryfit.view.mending import mend_blocks, mend_plain, mend_state
from support.mesh_files import box, stl_binary
from support.projects import HEAD, MACHINE, MATERIAL, contents, part_row, stl_bytes, write_project

OPEN = stl_binary(box((20.0, 60.0, 100.0))[0], box()[1][:-1])
PART = part_row("post one", reference="meshes/post.stl", unit='"mm"  # as the modeller exports') + (
    "[part.placement]\ntranslation_mm = [1000, 0, 0]\n"
)


def make(folder, data=OPEN, part=PART):
    text = "\n".join([HEAD, MACHINE, MATERIAL, part])
    return write_project(folder, text, {"meshes/post.stl": data})


def test_a_hole_is_filled_and_the_document_names_the_copy(tmp_path):
    folder = make(tmp_path)
    before = contents(folder)
    report = mend_part(folder, "post one", MendOptions(fill_holes_up_to_mm=1000))
    assert report.mended == "meshes/post-one-mended.ply"
    after = contents(folder)
    assert after["meshes/post.stl"] == before["meshes/post.stl"]
    text = after["project.toml"].decode()
    assert 'mesh = "meshes/post-one-mended.ply"' in text
    assert 'unit = "mm"  # as the modeller exports' in text
    assert "# measured last winter" in text
    assert report.sha256 == hashlib.sha256(after[report.mended]).hexdigest()
    assert f'sha256 = "{report.sha256}"' in text
    shape = open_project(folder).shapes["post one"]
    assert shape.measures.is_closed
    assert shape.measures.volume_mm3 == pytest.approx(20 * 60 * 100, rel=1e-12)
    assert shape.measures.bounds[0] == pytest.approx([1000, 0, 0])
    assert report.steps == (("holes filled", 1),)
    assert report.moved_mm == 0
    assert [item.state for item in report.before] == ["stop"]
    assert report.remaining == ()


def test_a_mesh_in_metres_becomes_one_in_millimetres(tmp_path):
    """The copy states another unit than the original, and the part keeps its size."""
    small = stl_binary(box((0.02, 0.06, 0.1))[0], box()[1][:-1])
    folder = make(tmp_path, small, PART.replace('"mm"', '"m"'))
    size = open_project(folder).shapes["post one"].measures.extent_mm
    mend_part(folder, "post one", MendOptions(fill_holes_up_to_mm=1000))
    assert (open_project(folder).shapes["post one"].measures.extent_mm == size).all()
    assert 'unit = "mm"  # as' in (folder / "project.toml").read_text()


def test_looking_writes_nothing(tmp_path):
    folder = make(tmp_path)
    before = contents(folder)
    report = mend_part(folder, "post one", MendOptions(fill_holes_up_to_mm=1000), write=False)
    assert not report.is_written
    assert report.steps == (("holes filled", 1),)
    assert contents(folder) == before


def test_nothing_to_mend_is_refused(tmp_path):
    folder = make(tmp_path, stl_bytes())
    before = contents(folder)
    with pytest.raises(MendRefused, match="nothing is to mend"):
        mend_part(folder, "post one")
    assert contents(folder) == before


def test_what_needs_an_option_says_which(tmp_path):
    with pytest.raises(MendRefused, match="nothing can be mended as asked: 1 hole") as caught:
        mend_part(make(tmp_path), "post one")
    assert "--fill-holes-up-to" in caught.value.do
    assert '"post one"' in caught.value.do


def test_mending_twice_keeps_both_copies(tmp_path):
    vertices, faces = box((20.0, 60.0, 100.0))
    data = stl_binary(vertices, np.concatenate([faces[:-1], faces[:1]]))
    folder = make(tmp_path, data)
    first = mend_part(folder, "post one")
    assert first.steps == (("faces that were there more than once left out", 1),)
    assert any("hole" in item.what for item in first.remaining)
    second = mend_part(folder, "post one", MendOptions(fill_holes_up_to_mm=1000))
    assert (first.mended, second.mended) == ("meshes/post-one-mended.ply", "meshes/post-one-mended-2.ply")
    assert second.original == first.mended
    assert {"meshes/post.stl", first.mended, second.mended} <= set(contents(folder))


def test_a_changed_file_an_unknown_part_and_a_missing_unit_are_refused(tmp_path):
    folder = make(tmp_path, part=PART.replace("[part.placement]", f'sha256 = "{"0" * 64}"\n[part.placement]'))
    with pytest.raises(MeshRefused, match="not the file that was imported"):
        mend_part(folder, "post one")
    with pytest.raises(MendRefused, match='no part "post 2"'):
        mend_part(folder, "post 2")
    bare = make(tmp_path / "bare", part=part_row("post one", reference="meshes/post.stl"))
    with pytest.raises(UnitUnknown):
        mend_part(bare, "post one")


def test_no_file_is_left_where_the_document_cannot_be_saved(tmp_path, monkeypatch):
    folder = make(tmp_path)
    before = contents(folder)

    def fail(*_):
        raise NotWritten("no room", "project.toml", "make room")

    monkeypatch.setattr("dryfit.app.mending.DocumentEditor.save", fail)
    with pytest.raises(NotWritten, match="no room"):
        mend_part(folder, "post one", MendOptions(fill_holes_up_to_mm=1000))
    assert contents(folder) == before


def test_options_are_checked():
    assert options_for_mending(None, 3.0, None, True) == MendOptions(0.0, 3.0, 0.0, True)
    with pytest.raises(MendRefused, match="drop_shells_below"):
        options_for_mending(None, None, 1.5, False)


def test_what_is_written_reads_back_to_the_last_digit(tmp_path):
    """By trimesh, a general-purpose library, and by the reader."""
    rng = np.random.default_rng(4)
    vertices, faces = rng.standard_normal((8, 3)) * 1e4, box()[1]
    path = tmp_path / "a.ply"
    path.write_bytes(encode_ply(TriangleMesh(vertices, faces), ("a name: Bär\nend_header", "x" * 999)))
    other = trimesh.load(path, process=False)
    assert (other.vertices == vertices).all()
    assert (other.faces == faces).all()
    mesh = read_meshes(path, "mm").objects[0]
    assert (mesh.vertices == vertices).all()
    assert (mesh.faces == faces).all()


def test_words_and_keys(tmp_path):
    report = mend_part(make(tmp_path), "post one", MendOptions(fill_holes_up_to_mm=1000, unite=True))
    assert mend_state(report) == "pass"
    texts = [getattr(block, "text", "") for block in mend_blocks(report)]
    assert texts[0] == "Portal: post one mended, written to meshes/post-one-mended.ply"
    assert "The surface did not move." in texts
    assert "Nothing remains to mend." in texts
    plain = mend_plain(report)
    assert plain["steps"] == [{"what": "holes filled", "count": 1}]
    assert plain["written"] is True
    assert plain["before"][0]["state"] == "stop"
