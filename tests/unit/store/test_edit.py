"""Edits change what they should and nothing else; results are parsed again by two TOML libraries."""

import os
import stat
import tomllib
from pathlib import Path

import numpy as np
import pytest
import tomlkit

from dryfit.base.errors import DocumentRefused, NotWritten, ProjectMissing, ReferenceUnknown
from dryfit.model.joint import FaceContacts
from dryfit.store import atomic
from dryfit.store.document import parse_document
from dryfit.store.edit import DocumentEditor

VALID = (Path(__file__).parents[2] / "formats" / "schema-1.toml").read_text(encoding="utf-8")

SMALL = """schema = 1
[project]
name = "x"
scale = "1:20"
[[material]]
id = "pla"
family = "PLA"
[[machine]]
id = "tall"
build_volume_mm = [500, 500, 600]
"""


@pytest.fixture
def make(tmp_path):
    def make_editor(text=VALID):
        file = tmp_path / "project.toml"
        file.write_bytes(text.encode("utf-8"))
        return DocumentEditor(file)

    return make_editor


def save(editor):
    """Save, and hold the file against both parsers."""
    document = editor.save()
    data = editor.path.read_bytes()
    assert data.decode("utf-8") == document.text
    assert tomlkit.parse(document.text).unwrap() == tomllib.loads(document.text)
    assert os.listdir(editor.path.parent) == ["project.toml"]
    return document


def set_and_save(editor, path, value):
    editor.set_value(path, value)
    editor.save()


def changed_lines(editor):
    lines = editor.diff().split("\n")[2:]
    return [line for line in lines if line.startswith(("+", "-"))]


def test_a_number_changes_alone_and_its_comment_stays(make):
    editor = make()
    editor.set_value(("project", "risk"), 0.1 + 0.2)
    assert changed_lines(editor) == ["-risk = 0.1", "+risk = 0.3"]
    editor.set_value(("part", "ring-1", "bed"), {"euler_xyz_deg": (0.0, 0.0, 45.0)})
    assert "bed = { euler_xyz_deg = [0.0, 0.0, 45.0] } # middle along Y\n" in editor.text
    document = save(editor)
    assert document.project.risk == 0.3
    assert document.project.parts[0].bed.euler_xyz_deg == (0, 0, 45)
    assert editor.diff() == ""


@pytest.mark.parametrize("newline", ["\n", "\r\n"])
def test_a_part_is_added_after_the_last_part(make, newline):
    editor = make(VALID.replace("\n", newline))
    editor.add_part("ring-3", "meshes/r.stl", "tall", "pla", unit="mm", bed=(0, 90, -0.0), rests=[(0, 0, 0)])
    editor.set_value(("assembly", "order"), ["ring-1", "ring-2", "ring-3"])
    expected = (
        '\n[[part]]\nid = "ring-3"\nmesh = "meshes/r.stl"\nunit = "mm"\nmachine = "tall"\nmaterial = "pla"\n'
        "bed = { euler_xyz_deg = [0, 90, 0.0] }\nrests = [{ euler_xyz_deg = [0, 0, 0] }]\n"
        "\n# ---- how they meet ----\n"
    )
    assert expected.replace("\n", newline) in editor.text
    assert editor.text.count(newline) == editor.text.count("\n")
    document = save(editor)
    assert [part.id for part in document.project.parts] == ["ring-1", "ring-2", "ring-3"]
    removed = [line for line in changed_lines(editor) if line.startswith("-")]
    assert removed == []


def test_joints_are_added_with_faces_of_their_own(make):
    faces = FaceContacts([[0, 0, 0.1 + 0.2], [1e-9, 1, 2]], [[0, 0, 0.3], [0, 1, 2.5]], [[0, 0, 1]] * 2, 7.5)
    editor = make()
    keys = {"locators": "pin", "bond_line_mm": 0.1, "proposed": True}
    editor.add_joint("new", ("ring-2", "ring-1"), faces=faces, **keys)
    assert (
        '[[joint]]\nid = "new"\nparts = ["ring-2", "ring-1"]\nlocators = "pin"\nbond_line_mm = 0.1\n'
        "proposed = true\n[joint.faces]\npoints_mm = [[0.0, 0.0, 0.3], [0.0, 1.0, 2.0]]\n"
        "points_on_second_mm = [[0.0, 0.0, 0.3], [0.0, 1.0, 2.5]]\nnormal = [0.0, 0.0, 1.0]\narea_mm2 = 7.5\n"
        "\n# ---- what must be right ----\n"
    ) in editor.text
    joint = save(editor).project.joints[-1]
    np.testing.assert_allclose(joint.faces.points_on_first, faces.points_on_first, atol=1e-6)


def test_the_first_joint_of_a_document_finds_its_place(make):
    text = SMALL + "\n# the end\n[assembly]\ntemp_c = 20 # indoors"
    editor = make(text)
    for id in ("a", "b"):
        editor.add_part(id, "m.stl#" + id, "tall", "pla")
    editor.add_rows("joint", [{"id": f"j{i}", "parts": ["a", "b"]} for i in range(2)])
    assert editor.text.startswith(SMALL + "\n[[part]]\n")
    end = '\n\n[[joint]]\nid = "j1"\nparts = ["a", "b"]\n\n# the end\n[assembly]\ntemp_c = 20 # indoors'
    assert editor.text.endswith(end)
    editor.set_value(("assembly", "datum"), "a")
    assert editor.text.endswith('temp_c = 20 # indoors\ndatum = "a"\n')
    assert [joint.id for joint in save(editor).project.joints] == ["j0", "j1"]


def test_rows_scattered_over_the_document_stay_where_they_are(make):
    parts = '[[part]]\nid = "{0}"\nmesh = "m.stl"\nmachine = "tall"\nmaterial = "pla"\n'
    joint = '[[joint]]\nid = "{0}"\nparts = ["a", "b"] # {0}\n'
    text = SMALL + parts.format("a") + joint.format("j") + parts.format("b") + joint.format("k")
    editor = make(text)
    editor.add_part("c", "m.stl", "tall", "pla")
    editor.set_value(("joint", "j", "locators"), "pin")
    editor.set_value(("machine", "tall", "error"), {"skew_xz_deg": 0.4, "std": {"skew_xz_deg": 0.02}})
    editor.set_value(("machine", "tall", "error", "std", "scale_x"), 0.001)
    document = save(editor)
    assert [part.id for part in document.project.parts] == ["a", "b", "c"]
    assert document.project.joint("j").locators == "pin"
    error = "[machine.error]\nskew_xz_deg = 0.4\nstd = { skew_xz_deg = 0.02, scale_x = 0.001 }\n[[part]]"
    assert error in document.text
    for line in text.split("\n"):
        assert line in document.text.split("\n")


def test_sub_tables_change_key_by_key(make):
    editor = make()
    editor.set_value(("machine", "tall", "error", "skew_xz_deg"), 0.25)
    editor.set_value(("machine", "tall", "error", "scale_z"), -0.001)
    editor.set_value(("machine", "tall", "error", "std"), {"scale_x": 0.0004})
    editor.set_value(("joint", "jig", "faces"), {"points_mm": [[1, 2, 3]], "normal": [0, 0, 1]})
    assert changed_lines(editor) == [
        "-skew_xz_deg = 0.4",
        "+skew_xz_deg = 0.25",
        "-std = { scale_x = 0.0005, skew_xz_deg = 0.02, scale_y = 0.001 }",
        "+std = { scale_x = 0.0004 }",
        "+scale_z = -0.001",
        "-points_mm = [[0, 0, 0], [1, 0, 0]]",
        "-normals = [[0, 0, 1], [0, 0.6, 0.8]]",
        "-points_on_second_mm = [[0, 0, 0.1], [1, 0, 0.1]]",
        "+points_mm = [[1, 2, 3]]",
        "+normal = [0, 0, 1]",
    ]
    # A machine without stated figures gets a table; a joint's faces go whole.
    editor.set_value(("machine", "old", "error", "scale_x"), 0.002)
    editor.remove_value(("joint", "ring-1:ring-2", "faces"))
    document = save(editor)
    assert document.project.machine("old").error.figures["scale_x"].value == 0.002
    assert document.project.joint("ring-1:ring-2").faces is None
    assert "# the jig carries the datum\n[[joint]]" in document.text


def test_keys_are_removed_with_their_comma(make):
    editor = make()
    editor.remove_value(("part", "ring-1", "bed"))
    editor.remove_value(("machine", "tall", "error", "std", "scale_y"))
    editor.remove_value(("machine", "tall", "error", "std", "scale_x"))
    editor.remove_value(("machine", "tall", "error", "distribution", "skew_xz_deg"))
    assert "std = { skew_xz_deg = 0.02 }\ndistribution = {  }\n" in editor.text
    assert not save(editor).project.parts[0].bed_stated


def test_removing_rows_keeps_the_comments_between_them(make):
    editor = make()
    editor.remove("joint", "jig")
    editor.remove("joint", "found")
    editor.remove("characteristic", "closure")
    document = save(editor)
    assert [joint.id for joint in document.project.joints] == ["ring-1:ring-2"]
    left = "area_mm2 = 600\n\n# the jig carries the datum\n\n# ---- what must be right ----\n\n[[char"
    assert left in document.text
    old_comments = {line for line in VALID.split("\n") if line.startswith("#")}
    assert old_comments <= set(document.text.split("\n"))


def test_what_would_leave_references_to_nothing_is_not_saved(make):
    editor = make()
    before = editor.path.read_bytes()
    editor.remove("part", "ring-2")
    with pytest.raises(DocumentRefused) as caught:
        editor.save()
    assert len(caught.value.faults) > 5
    assert editor.path.read_bytes() == before


@pytest.mark.parametrize("value", [float("nan"), float("inf"), -3.0, "often", True])
def test_an_invalid_value_is_never_written(make, value):
    editor = make()
    before = editor.path.read_bytes()
    with pytest.raises((DocumentRefused, NotWritten)):
        set_and_save(editor, ("project", "risk"), value)
    assert editor.path.read_bytes() == before


def test_a_document_changed_by_somebody_else_is_not_overwritten(make):
    editor = make()
    editor.set_value(("project", "risk"), 0.2)
    editor.path.write_text(VALID + "# theirs\n", encoding="utf-8")
    with pytest.raises(NotWritten, match="changed on disk"):
        editor.save()
    assert editor.path.read_text(encoding="utf-8") == VALID + "# theirs\n"
    editor.path.unlink()
    with pytest.raises(ProjectMissing):
        editor.save()


def test_a_failed_save_leaves_the_old_document_and_can_be_repeated(make, monkeypatch):
    editor = make()
    editor.path.chmod(0o600)
    editor.set_value(("project", "risk"), 0.2)

    def fail(*_):
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patch:
        patch.setattr(atomic.os, "replace", fail)
        with pytest.raises(NotWritten, match="No space"):
            editor.save()
    assert os.listdir(editor.path.parent) == ["project.toml"]
    assert editor.path.read_text(encoding="utf-8") == VALID
    save(editor)
    assert stat.S_IMODE(editor.path.stat().st_mode) == 0o600


def test_unknown_names_are_refused_with_the_nearest(make):
    editor = make()
    for path, nearest in ((("part", "ring1", "bed"), "ring-1"), (("prat", "ring-1", "bed"), "part")):
        with pytest.raises(ReferenceUnknown) as caught:
            editor.set_value(path, 1)
        assert f'did you mean "{nearest}"?' in caught.value.do
    with pytest.raises(ReferenceUnknown, match="not stated"):
        editor.remove_value(("part", "ring-2", "bed"))
    assert editor.diff() == ""


def test_other_ways_to_write_the_same_document(make):
    dotted = (
        'schema = 1\nproject.name = "x"\nproject.scale = "1:20"\n'
        'material = [{ id = "pla", family = "PLA" }]\n'
        '[[machine]]\nid = "tall"\nbuild_volume_mm = [1, 1, 1]\nerror.skew_xz_deg = 0.4 # leans\n'
    )
    editor = make(dotted)
    editor.set_value(("project", "risk"), 0.2)
    editor.set_value(("machine", "tall", "error", "scale_x"), 0.001)
    editor.set_value(("material", "pla", "shrinkage"), 0.002)
    editor.set_value(("search", "max_gap_mm"), 1.0)
    with pytest.raises(NotWritten, match="one list in line"):
        editor.add_rows("material", [{"id": "abs", "family": "ABS"}])
    with pytest.raises(NotWritten, match="one list in line"):
        editor.remove("material", "pla")
    document = save(editor)
    assert 'project.scale = "1:20"\n' in document.text
    assert "error.skew_xz_deg = 0.4 # leans\nerror.scale_x = 0.001\n" in document.text
    assert '[{ id = "pla", family = "PLA", shrinkage = 0.002 }]' in document.text
    assert document.project.search.max_gap_mm == 1.0


def test_odd_texts_survive(make):
    editor = make()
    name = 'a "b" \\ \n\t # [x] é \u2028'
    editor.set_value(("project", "name"), name)
    assert save(editor).project.name == name


def test_long_lists_get_a_line_for_each_entry(make):
    editor = make()
    points = [[float(i), 0.0, 1 / 3] for i in range(9)]
    editor.set_value(("joint", "ring-1:ring-2", "faces", "points_mm"), points)
    assert "points_mm = [\n    [0.0, 0.0, 0.333333],\n    [1.0, 0.0, 0.333333],\n" in editor.text
    assert len(save(editor).project.joints[0].faces.points_on_first) == 9


def test_parsing_is_all_that_save_returns(make):
    editor = make()
    editor.set_value(("project", "risk"), 0.2)
    document = save(editor)
    assert document.sha256 == parse_document(editor.text, "x").sha256
    assert document.path == editor.path


def test_a_comment_that_touches_the_next_header_stays_with_it(make):
    editor = make(SMALL + "# spare = 1\n\n# datum by hand\n[assembly]\ntemp_c = 20\n")
    editor.add_rows("machine", [{"id": "old", "build_volume_mm": [1, 2, 3]}])
    # A comment that follows its own table without a gap stays with that table.
    assert "600]\n# spare = 1\n\n[[machine]]" in editor.text
    editor = make(SMALL + "# datum by hand\n[assembly]\ntemp_c = 20\n")
    editor.add_rows("machine", [{"id": "old", "build_volume_mm": [1, 2, 3]}])
    assert "600]\n\n[[machine]]" in editor.text
    assert "\n\n# datum by hand\n[assembly]\n" in save(editor).text
