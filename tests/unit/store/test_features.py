"""Rows of dimensions and features: what is read, what is refused and where, and edits that keep comments.

The documents are read by the standard library's TOML parser, and again by tomlkit after an edit.
"""

import tomllib

import numpy as np
import pytest
import tomlkit
from hypothesis import given, settings
from hypothesis import strategies as st

from dryfit.base.errors import DocumentRefused
from dryfit.base.estimate import Estimate
from dryfit.model.feature import FEATURE_KINDS, FeatureLimits
from dryfit.store.document import parse_document
from dryfit.store.edit import DocumentEditor
from dryfit.store.toml_layout import scan_layout

# A valid document with a feature of every kind; all of it is invented.
FEATURES = """\
schema = 1
[project]
name = "x"
scale = "1:20"
[[material]]
id = "pla"
family = "PLA"
density_g_per_cm3 = 1.3
density_std_g_per_cm3 = 0.02
[[machine]]
id = "tall"
build_volume_mm = [500, 500, 600]
extrusion_width_mm = 0.45
overhang_deg = 45
clearance_mm = 5.0
[[dimension]]
id = "drum.height"
prototype_mm = 4000
prototype_std_mm = 20.0
source = "two tapes"
[[dimension]]
id = "bore"
prototype_mm = 500
[[part]]
id = "a"
mesh = "meshes/a.stl"
unit = "mm"
machine = "tall"
material = "pla"
shell_mm = 1.6
infill = 0.15
[[part]]
id = "b"
mesh = "meshes/b.stl"
unit = "mm"
machine = "tall"
material = "pla"
[[feature]]
id = "apart"
kind = "distance"
faces = [
    { part = "a", point_mm = [0, 0, 1], normal = [0, 0, 1], form = "plane", size_mm = 3.5 }, # the floor
    { part = "b", direction = [0, 0, -1.0004] },
]
nominal_mm = 20
nominal_std_mm = 0.1
limits_mm = [19.5, 20.5]
[[feature]]
id = "drum height"
kind = "extent"
parts = ["a", "b"]
direction = [0, 0, 1]
dimension = "drum.height"
deviations_mm = [-0.5, 0.5]
[[feature]]
id = "bore"
kind = "diameter"
faces = [{ part = "a", point_mm = [1, 0, 0], form = "cylinder" }]
dimension = "bore"
iso_286 = "H8"
[[feature]]
id = "hole from edge"
kind = "position"
faces = [{ part = "a", point_mm = [1, 0, 0] }, { part = "a", direction = [-1, 0, 0] }]
nominal_mm = 12
iso_2768 = "m"
[[feature]]
id = "hole from point"
kind = "position"
faces = [{ part = "a", point_mm = [1, 0, 0] }]
at_mm = [0, 0, 0]
direction = [1, 0, 0]
nominal_mm = 1.0
upper_mm = 1.5
[[feature]]
id = "corner"
kind = "angle"
faces = [{ part = "a", direction = [1, 0, 0] }, { part = "a", direction = [0, 1, 0] }]
nominal_deg = 90
nominal_std_deg = 0.2
deviations_deg = [-0.5, 0.5]
[[feature]]
id = "floor"
kind = "flatness"
faces = [{ part = "a", direction = [0, 0, -1] }]
upper_mm = 0.1
[[feature]]
id = "waist"
kind = "section"
part = "b"
at_mm = [0, 0, 50]
normal = [0, 0, 1]
direction = [1, 0, 0]
[[feature]]
id = "wall"
kind = "thickness"
faces = [{ part = "b", point_mm = [1, 0, 0], form = "cone" }]
lower_mm = 0.8
upper_mm = 1.2
[[feature]]
id = "pins"
kind = "centres"
faces = [{ part = "a", point_mm = [1, 0, 0], form = "sphere" }, { part = "b", point_mm = [9, 0, 0] }]
"""


@pytest.fixture(scope="module")
def project():
    return parse_document(FEATURES, "project.toml").project


def refuse(text):
    with pytest.raises(DocumentRefused) as refusal:
        parse_document(text, "project.toml")
    return refusal.value.faults


def test_every_kind_is_read(project):
    assert {feature.kind for feature in project.features} == set(FEATURE_KINDS)
    parts = {feature.id: feature.parts for feature in project.features}
    assert parts["apart"] == parts["drum height"] == parts["pins"] == ("a", "b")
    assert parts["hole from edge"] == ("a",)
    assert parts["waist"] == ("b",)


def test_picks(project):
    stated, looking_down = project.features[0].faces
    np.testing.assert_array_equal(stated.point_mm, [0, 0, 1])
    assert (stated.part, stated.form, stated.size_mm, stated.direction) == ("a", "plane", 3.5, None)
    # The typed direction was 0.0004 too long and is made a unit vector.
    np.testing.assert_array_equal(looking_down.direction, [0, 0, -1])
    assert looking_down.point_mm is None


def test_nominals_and_dimensions(project):
    nominal = {feature.id: feature.nominal for feature in project.features}
    assert nominal["apart"] == Estimate(20.0, 0.1)
    assert nominal["corner"] == Estimate(90.0, 0.2)
    assert nominal["drum height"] is None
    assert project.features[1].dimension == "drum.height"
    assert project.dimension("drum.height").prototype_mm == Estimate(4000.0, 20.0)
    assert project.dimension("drum.height").source == "two tapes"
    assert project.dimension("bore").prototype_mm == Estimate(500.0, 0.0)


def test_limits_in_each_form(project):
    limits = {feature.id: feature.limits for feature in project.features}
    assert limits["apart"] == FeatureLimits(19.5, 20.5)
    assert limits["drum height"] == FeatureLimits(lower_deviation=-0.5, upper_deviation=0.5)
    assert limits["bore"] == FeatureLimits(iso_286="H8")
    assert limits["hole from edge"] == FeatureLimits(iso_2768="m")
    assert limits["hole from point"] == FeatureLimits(upper=1.5)
    assert limits["wall"] == FeatureLimits(0.8, 1.2)
    assert limits["waist"] == FeatureLimits()


def test_keys_of_machine_material_and_part(project):
    machine = project.machine("tall")
    assert (machine.extrusion_width_mm, machine.overhang_deg, machine.clearance_mm) == (0.45, 45.0, 5.0)
    assert project.material("pla").density_g_per_cm3 == Estimate(1.3, 0.02)
    assert (project.part("a").shell_mm, project.part("a").infill) == (1.6, 0.15)
    assert project.part("b").shell_mm is project.part("b").infill is None


def test_density_comes_from_the_family():
    text = FEATURES.replace("density_g_per_cm3 = 1.3\ndensity_std_g_per_cm3 = 0.02\n", "")
    document = parse_document(text, "project.toml")
    assert document.project.material("pla").density_g_per_cm3 == Estimate(1.24, 0.01)
    assert not any("density" in line for line in document.assumptions)  # no forecast rests on it


def test_an_unknown_family_has_no_density_unless_it_is_stated():
    text = FEATURES.replace(
        'family = "PLA"\ndensity_g_per_cm3 = 1.3\ndensity_std_g_per_cm3 = 0.02',
        'family = "wood"\nexpansion_per_k = 30e-6',
    )
    assert parse_document(text, "project.toml").project.material("pla").density_g_per_cm3 is None


def test_sizes_without_a_standard_uncertainty_are_said_to_be_exact():
    assumptions = parse_document(FEATURES, "project.toml").assumptions
    assert 'dimension "bore": stated without a standard uncertainty, taken as exact' in assumptions
    assert (
        'features "hole from edge", "hole from point": nominal stated without a standard uncertainty, '
        "taken as exact"
    ) in assumptions


# (old, new, text of the line that is named, what, do)
FAULTS = [
    # keys against kinds
    ("at_mm = [0, 0, 50]\n", "", 'id = "waist"-1', 'needs the key "at_mm"', "add at_mm"),
    ("upper_mm = 0.1", "at_mm = [7, 7, 7]", "at_mm = [7, 7, 7]", "does not belong", "it takes faces"),
    ('part = "b"\n', "", 'id = "waist"-1', "needs the part", 'part = "..."'),
    ('part = "b"\n', 'parts = ["a", "b"]\n', 'parts = ["a", "b"]!2', "2 parts", "give 1"),
    ('parts = ["a", "b"]', 'part = "a"\nparts = ["a", "b"]', "parts = [", "both part and parts", "keep one"),
    ('parts = ["a", "b"]', 'parts = ["a", "a"]', "parts = [", "named twice", "name each part once"),
    ("at_mm = [0, 0, 0]\n", "", 'id = "hole from point"-1', 'needs the key "at_mm"', "add at_mm"),
    (
        "nominal_mm = 12\n",
        "nominal_mm = 12\nat_mm = [0, 0, 0]\n",
        "at_mm = [0, 0, 0]",
        "a position whose datum is a face",
        "remove it",
    ),
    ('kind = "extent"', 'kind = "height"', 'kind = "height"', "not known here", "extent"),
    # faces
    (
        '{ part = "a", direction = [1, 0, 0] }, ',
        "",
        'faces = [{ part = "a", direction = [0, 1',
        "1 face",
        "give 2",
    ),
    (
        ", direction = [0, 0, -1] }]",
        " }]",
        'faces = [{ part = "a" }]',
        "neither by a point nor",
        "add point_mm",
    ),
    (
        "direction = [0, 0, -1] }",
        'direction = [0, 0, -1], form = "plane" }',
        'form = "plane" }]',
        '"form" does not',
        "remove",
    ),
    (
        'point_mm = [1, 0, 0], form = "cylinder"',
        "direction = [1, 0, 0]",
        'faces = [{ part = "a", direction = [1, 0, 0] }]',
        "only a plane can be found by direction",
        "give point_mm",
    ),
    (
        'point_mm = [1, 0, 0], form = "cone"',
        "direction = [1, 0, 0]",
        'faces = [{ part = "b", direction = [1, 0, 0] }]',
        "measured at a point",
        "give point_mm",
    ),
    ('form = "cylinder"', 'form = "plane"', 'form = "plane" }]', "the face is a plane", "pick another face"),
    ('form = "cylinder"', 'form = "tube"', 'form = "tube"', "not known here", "cylinder"),
    (
        "direction = [0, 0, 1]\n",
        "direction = [0, 0, 2]\n",
        "direction = [0, 0, 2]",
        "2 long, not 1",
        "unit vector",
    ),
    # nominals
    (
        'dimension = "drum.height"\n',
        'dimension = "drum.height"\nnominal_mm = 200\n',
        "nominal_mm = 200",
        "both dimension and nominal_mm",
        "keep one",
    ),
    ("nominal_deg = 90", "nominal_mm = 90", "nominal_mm = 90", "angle is in deg", "write nominal_deg"),
    ("nominal_deg = 90\n", 'dimension = "bore"\n', 'dimension = "bore"!2', "gives no angle", "nominal_deg"),
    ("nominal_mm = 20\n", "", "nominal_std_mm = 0.1", "without nominal_mm", "add nominal_mm"),
    ("nominal_deg = 90", "nominal_deg = 190", "nominal_deg = 190", "more than 180", "like nominal_deg"),
    # limits
    ("upper_mm = 0.1", "upper_deg = 0.1", "upper_deg = 0.1", "are in mm", "write upper_mm"),
    (
        "upper_mm = 1.5",
        "upper_mm = 1.5\nlimits_mm = [0, 2]",
        "upper_mm = 1.5",
        "stated in 2 forms",
        "keep one",
    ),
    (
        'iso_286 = "H8"',
        'iso_286 = "H8"\niso_2768 = "m"',
        'iso_2768 = "m"',
        "2 forms: iso_286, iso_2768",
        "keep one",
    ),
    ("limits_mm = [19.5, 20.5]", "limits_mm = [20.5, 19.5]", "limits_mm =", "not below the upper", "first"),
    ("lower_mm = 0.8", "lower_mm = 1.2", "upper_mm = 1.2", "not below the upper", "leave room"),
    (
        "deviations_mm = [-0.5, 0.5]",
        "deviations_mm = [1, 1]",
        "deviations_mm",
        "not below the upper",
        "first",
    ),
    ("nominal_mm = 12\n", "", 'iso_2768 = "m"', "without a nominal", "add nominal_mm or dimension"),
    ("upper_mm = 0.1", 'iso_286 = "IT8"', 'iso_286 = "IT8"', "does not belong", "state limits_mm"),
    ('iso_286 = "H8"', 'iso_286 = "K8"', 'iso_286 = "K8"', 'the letters "K"', "IT6 to IT12"),
    ('iso_286 = "H8"', 'iso_286 = "H5"', 'iso_286 = "H5"', "the grade 5", "IT6 to IT12"),
    ('iso_286 = "H8"', 'iso_286 = "snug"', 'iso_286 = "snug"', "is no class of ISO 286", "letters and grade"),
    ('iso_2768 = "m"', 'iso_2768 = "M"', 'iso_2768 = "M"', "no class of ISO 2768", "f, m, c or v"),
    ("nominal_mm = 12\n", "nominal_mm = 0.4\n", 'iso_2768 = "m"', "0.4 mm", "from 0.5 to 4000 mm"),
    (
        "prototype_mm = 500\n",
        "prototype_mm = 80000\n",
        'iso_286 = "H8"',
        "4000 mm is not covered",
        "up to 3150",
    ),
    # references
    ('dimension = "drum.height"', 'dimension = "drum.hight"', "drum.hight", "no dimension", "drum.height"),
    ('part = "b", direction', 'part = "c", direction', '"c", direction', "no part", "parts: a, b"),
    ('parts = ["a", "b"]', 'parts = ["a", "d"]', 'parts = ["a", "d"]', "no part", "parts: a, b"),
    ('part = "b"\n', 'part = "ground"\n', 'part = "ground"', "no part", "parts: a, b"),
    ('id = "corner"', 'id = "apart"', 'id = "apart"!2', "already that of feature[1]", "id of its own"),
    ('id = "bore"', 'id = "drum.height"', 'id = "drum.height"!2', "already that of dimension[1]", "its own"),
    # the other new keys
    ("prototype_mm = 500", "prototype_mm = 0", "prototype_mm = 0", "not more than 0", "prototype_mm = 4000"),
    ("prototype_mm = 500", "prototype = 500", "prototype = 500", "unknown", "prototype_mm"),
    ("overhang_deg = 45", "overhang_deg = 90", "overhang_deg = 90", "not less than 90", "overhang_deg = 45"),
    ("clearance_mm = 5.0", "clearance_mm = 250.0", "clearance_mm", "leaves nothing", "such as 5"),
    ("infill = 0.15", "infill = 15", "infill = 15", "more than 1", "15 % filled"),
    ("infill = 0.15\n", "", "shell_mm", "without infill", "add infill"),
    ("= 1.3\n", "= 1300\n", "density_g_per_cm3 = 1300", "not less than 25", "1.24"),
]


def find_line(text, marker):
    """Line of the n-th (marker!n) line that holds a text, or so many before it (marker-n)."""
    back, which = 0, 1
    if marker.endswith("-1"):
        marker, back = marker[:-2], 1
    if marker[-2:-1] == "!":
        marker, which = marker[:-2], int(marker[-1])
    lines = [number for number, line in enumerate(text.split("\n"), start=1) if marker in line]
    return lines[which - 1] - back


@pytest.mark.parametrize(("old", "new", "marker", "what", "do"), FAULTS)
def test_each_fault_is_named_with_its_line_and_a_remedy(old, new, marker, what, do):
    assert old in FEATURES
    head, found, tail = FEATURES.rpartition(old) if old == 'part = "b"\n' else FEATURES.partition(old)
    text = head + new + tail
    assert found
    faults = refuse(text)
    match = [fault for fault in faults if what in fault.what]
    assert len(match) == 1, faults
    assert do in match[0].do
    assert match[0].where.endswith(f"(line {find_line(text, marker)})")
    assert len(faults) <= 3, faults


def test_all_faults_of_one_row_come_at_once():
    text = FEATURES.replace("nominal_deg = 90", 'dimension = "nothing"').replace(
        "deviations_deg = [-0.5, 0.5]", "limits_mm = [2, 1]\nat_mm = [0, 0, 0]"
    )
    whats = " | ".join(fault.what for fault in refuse(text))
    for what in ("no dimension", "gives no angle", "are in deg", "not below", '"at_mm" does not', "both"):
        assert what in whats


def test_faces_as_tables_of_their_own_are_read_alike(project):
    text = FEATURES.replace(
        'faces = [{ part = "a", direction = [0, 0, -1] }]\nupper_mm = 0.1\n',
        'upper_mm = 0.1\n[[feature.faces]]\npart = "a"\ndirection = [0, 0, -1]\n',
    )
    assert text != FEATURES
    read = parse_document(text, "project.toml").project.features[6]
    assert (read.id, read.limits, read.parts) == ("floor", project.features[6].limits, ("a",))
    np.testing.assert_array_equal(read.faces[0].direction, project.features[6].faces[0].direction)


def make_editor(tmp_path, text=FEATURES):
    file = tmp_path / "project.toml"
    file.write_text(text, encoding="utf-8")
    return DocumentEditor(file)


def test_a_feature_is_appended_and_every_comment_stays(tmp_path):
    editor = make_editor(tmp_path)
    pick = {"part": "a", "point_mm": np.array([1 / 3, 0, 0]), "normal": [1.0, 0.0, 0.0], "form": "cylinder"}
    editor.add_feature("new bore", "diameter", faces=[pick], nominal_mm=4.0, iso_286="H9", dimension=None)
    document = editor.save()
    assert document.text.startswith(FEATURES)
    assert document.text[len(FEATURES) :] == (
        '\n[[feature]]\nid = "new bore"\nkind = "diameter"\n'
        'faces = [{ part = "a", point_mm = [0.333333, 0.0, 0.0], normal = [1.0, 0.0, 0.0], form = "cylinder" }]\n'
        'nominal_mm = 4.0\niso_286 = "H9"\n'
    )
    assert tomlkit.parse(document.text).unwrap() == tomllib.loads(document.text)
    assert document.project.features[-1].limits.iso_286 == "H9"


def test_the_first_feature_and_dimension_go_where_the_program_writes_them(tmp_path):
    head = FEATURES.partition("[[dimension]]")[0]
    editor = make_editor(tmp_path, head + "# the end\n[assembly]\ntemp_c = 20.0\n")
    editor.add_rows(
        "part", [{"id": "a", "mesh": "a.stl", "unit": "mm", "machine": "tall", "material": "pla"}]
    )
    editor.add_feature("height", "extent", part="a", direction=[0, 0, 1], dimension="h")
    editor.add_rows("dimension", [{"id": "h", "prototype_mm": 20.0}])
    order = [editor.text.index(mark) for mark in ("[[dimension]]", "[[part]]", "[[feature]]", "# the end")]
    assert order == sorted(order)
    assert editor.save().project.features[0].dimension == "h"


def test_machine_keys_change_alone(tmp_path):
    editor = make_editor(tmp_path)
    editor.set_value(("machine", "tall", "overhang_deg"), 50.0)
    editor.remove_value(("machine", "tall", "clearance_mm"))
    editor.set_value(("machine", "tall", "extrusion_width_mm"), 0.6)
    removed = [line for line in editor.diff().split("\n")[2:] if line.startswith("-")]
    assert removed == ["-extrusion_width_mm = 0.45", "-overhang_deg = 45", "-clearance_mm = 5.0"]
    machine = editor.save().project.machine("tall")
    assert (machine.extrusion_width_mm, machine.overhang_deg, machine.clearance_mm) == (0.6, 50.0, None)


def test_a_feature_is_removed_alone(tmp_path):
    editor = make_editor(tmp_path)
    editor.remove("feature", "waist")
    assert [feature.id for feature in editor.save().project.features if feature.id == "waist"] == []


PLACES = sorted(scan_layout(FEATURES).entries.values(), key=lambda entry: entry.value_start)
VALUES = [
    *("true", '"ground"', '""', "[]", "{}", "0", "-1", "1e308", "9" * 400, "nan", "[[1]]", "[0, 0, 1]"),
    *('"angle"', '"thickness"', '"a"', "{ part = 1 }", "[{}]", '[{ part = "a" }]', "1979-05-27", '"IT8"'),
]


@settings(max_examples=300, deadline=None)
@given(st.sampled_from(PLACES), st.sampled_from(VALUES))
def test_whatever_a_value_becomes_the_document_is_read_or_refused_in_three_parts(entry, value):
    text = FEATURES[: entry.value_start] + value + FEATURES[entry.value_end :]
    faults = ()
    try:
        assert parse_document(text, "project.toml").project.features
    except DocumentRefused as refusal:
        faults = refusal.faults
    assert all(fault.where and fault.what and fault.do for fault in faults)
