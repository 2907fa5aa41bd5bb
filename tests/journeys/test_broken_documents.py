"""What a user is told about a broken document: every fault, its line, and what to do.

Each case replaces one piece of a valid document. Lines are counted in the text that results, by the place
of a marker, not by the program.
"""

from pathlib import Path

import pytest

from dryfit.base.errors import DocumentRefused, ProjectMissing
from dryfit.store.document import parse_document, read_document

VALID = (Path(__file__).parents[1] / "formats" / "schema-1.toml").read_text(encoding="utf-8")
NAME = "project.toml"


def read_faults(text):
    with pytest.raises(DocumentRefused) as caught:
        parse_document(text, NAME)
    assert str(caught.value).startswith("the document has")
    return caught.value.faults


# (what is replaced, by what, text on the line that must be named, place, what, do)
CASES = [
    ("schema = 1\n", "", None, "schema", "does not state its schema", "write schema = 1 as the first line"),
    ("schema = 1", 'schema = "1"', 'schema = "1"', "schema", 'not the text "1"', "schema = 1"),
    ("schema = 1", "schema = true", "schema = true", "schema", "not true", "schema = 1"),
    ("schema = 1", "schema = 2", "schema = 2", "schema", "written by a newer program", "update dryfit"),
    ("schema = 1", "schema = 0", "schema = 0", "schema", "never been a schema 0", "schema = 1"),
    (
        "[project]",
        "[porject]",
        "[porject]",
        "porject",
        'table "porject" is unknown',
        'did you mean "project"?',
    ),
    ("[search]", "[[search]]", "[[search]]", "search", "a table is expected here, not a list", "as [search]"),
    (
        "[project]",
        'colour = "red"\n[project]',
        "colour",
        "colour",
        'key "colour" is unknown',
        "tables: adhesive, assembly",
    ),
    ('name = "Harrow', 'naem = "Harrow', "naem", "project.naem", '"naem" is unknown', 'did you mean "name"?'),
    ('name = "Harrow', '#"Harrow', "[project]", "project.name", '"name" is missing', "add name ="),
    ('scale = "1:20"', 'scale = "1/20"', "scale =", "project.scale", "is not a scale", '"1:20"'),
    ('scale = "1:20"', 'scale = "0:20"', "scale =", "project.scale", "is not a scale", "positive"),
    ('scale = "1:20"', 'scale = "-1:20"', "scale =", "project.scale", "is not a scale", "positive"),
    ('scale = "1:20"', "scale = 20", "scale =", "project.scale", "a text in quotes is expected", '"1:20"'),
    ("risk = 0.1", "risk = 1.5", "risk =", "project.risk", "1.5 is more than 1", "risk = 0.05"),
    ("risk = 0.1", "risk = nan", "risk =", "project.risk", "not a finite number", "finite"),
    (
        "invented = true",
        "invented = 1",
        "invented =",
        "project.invented",
        "true or false is expected",
        "true",
    ),
    ("max_gap_mm = 0.8", "max_gap_mm = -1", "max_gap_mm", "search.max_gap_mm", "less than 0", "max_gap_mm ="),
    ('id = "pla"', 'id = "_pla"', 'id = "_pla"', 'material[1] "_pla".id', "cannot be an id", "begin with"),
    ('id = "pla"', 'id = "ground"', 'id = "ground"', 'material[1] "ground".id', "reserved", "another id"),
    (
        'family = "PLA"',
        'family = "PLAA"',
        "PLAA",
        'material[1] "pla".family',
        '"PLAA" is not in the table',
        'did you mean "PLA"?',
    ),
    ("shrinkage = 0.002", "shrinkage = 2", "shrinkage = 2", 'material[1] "pla".shrinkage', "0.5", "0.2 %"),
    (
        "shrinkage_std = 0.0005",
        "shrinkage_std = -0.1",
        "shrinkage_std",
        'material[1] "pla".shrinkage_std',
        "-0.1 is less than 0",
        "shrinkage_std = 0.0005",
    ),
    ('"uniform"\n\n[[mat', '"flat"\n\n[[mat', '"flat"', "shrinkage_distribution", "not known", "uniform"),
    ("30e-6", "30", "expansion_per_k = 30", "expansion_per_k", "30 is not less than 0.01", "70e-6"),
    (
        'id = "old"',
        'id = "tall"',
        'id = "tall"   ',
        'machine[2] "tall".id',
        "already that of machine[1]",
        "own",
    ),
    (
        "[220, 220.5, 250]",
        "[220, 250]",
        "[220, 250]",
        "build_volume_mm",
        "3 entries are expected",
        "500, 600",
    ),
    ("[220, 220.5, 250]", "[220, 0, 250]", "[220, 0,", "build_volume_mm[2]", "0 is not more than 0", "500"),
    ("[220, 220.5, 250]", '[220, "x", 250]', '"x"', "build_volume_mm[2]", 'not the text "x"', "[500, 500"),
    ("scale_x = 0.0\n", "scael_x = 0.0\n", "scael_x", "error.scael_x", '"scael_x" is unknown', '"scale_x"?'),
    ("scale_x = 0.0\n", "scale_x = 1.0\n", "scale_x = 1.0", "error.scale_x", "not less than 0.5", "0.1 %"),
    (
        "scale_y = 0.001",
        "scale_q = 0.001",
        "std = {",
        "error.std.scale_q",
        "no figure of the",
        "did you mean",
    ),
    (
        "{ skew_xz_deg = ",
        "{ skew_xz = ",
        "distribution = {",
        'machine[1] "tall".error.distribution.skew_xz',
        "no figure",
        '"skew_xz_deg"?',
    ),
    ("skew_xz_deg = 0.02", "skew_xz_deg = -0.02", "std = {", "error.std.skew_xz_deg", "less than 0", "std ="),
    (
        "first_layer_height_mm = 0.3\n",
        "",
        "first_layer_flare_mm",
        "flare_mm",
        "without the height",
        "such as 0.3",
    ),
    (
        'mesh = "meshes/ring-2.stl"',
        "#",
        "[[part]]!2",
        'part[2] "ring-2".mesh',
        '"mesh" is missing',
        "add mesh",
    ),
    (
        "meshes/ring-2.stl",
        "../ring-2.stl",
        "../ring",
        'part[2] "ring-2".mesh',
        "leaves the project",
        "meshes/",
    ),
    (
        "meshes/ring-2.stl",
        "/tmp/ring-2.stl",
        "/tmp/",
        'part[2] "ring-2".mesh',
        "not relative",
        "copy the file",
    ),
    ("meshes/ring-2.stl", "C:/ring-2.stl", "C:/", 'part[2] "ring-2".mesh', "not relative", "copy the file"),
    ('"meshes/ring-2.stl"', "'meshes\\a.stl'", "s\\a", 'part[2] "ring-2".mesh', "backslash", 'by "/"'),
    ("meshes/ring-2.stl", "meshes/r.stl#", "r.stl#", 'part[2] "ring-2".mesh', "names no mesh", "file#object"),
    (
        'unit = "in"',
        'unit = "inch"',
        "inch",
        'part[2] "ring-2".unit',
        '"inch" is not known',
        "words: cm, ft, in",
    ),
    ('machine = "old"', 'machine = "odl"', '"odl"', 'part[2] "ring-2".machine', 'no machine "odl"', '"old"?'),
    (
        'material = "filled nylon"',
        'material = "abs"',
        '"abs"',
        'part[2] "ring-2".material',
        'there is no material "abs"',
        "materials: filled nylon, pla",
    ),
    ('"ABCDEF', '"XBCDEF', "XBCDEF", "sha256", "is not a SHA-256", "64 hexadecimal"),
    ("{ euler_xyz_deg = [180, 0, 0] }", "7", "7, # upside", "rests[2]", "a table is expected", "rests = [{"),
    ("[0, 0, 90] } #", "[0, inf, 90] } #", "inf", "bed.euler_xyz_deg[2]", "not a finite", "finite"),
    (
        'parts = ["ring-1", "ring-2"]\nlocators',
        'parts = ["ring-1", "ring-1"]\nlocators',
        'parts = ["ring-1", "ring-1"]',
        "parts",
        'both sides are "ring-1"',
        "two different parts",
    ),
    (
        '["ground", "ring-1"]',
        '["ring-1", "ground"]',
        '"ground"]',
        "parts",
        "stands second",
        '["ground", "ring-1"]',
    ),
    (
        '["ring-2", "ring-1"]',
        '["ground", "ring-1"]',
        'ound", "ring-1"]!2',
        "parts",
        "no stated faces",
        "[joint.f",
    ),
    (
        '["ring-2", "ring-1"]',
        '["ring-2", "ring-9"]',
        "ring-9",
        "parts[2]",
        'no part "ring-9"',
        "did you mean",
    ),
    ('["ring-2", "ring-1"]', '["ring-2"]', '["ring-2"]', "parts", "2 entries are expected", "parts = ["),
    ('"pin-and-slot"', '"pin and slot"', "locators =", "locators", "not known here", '"pin-and-slot"?'),
    ('"pin-and-slot"', '"none"', "locator_points_mm", "locator_points_mm", "without locators", "remove the"),
    (
        '"pin-and-slot"',
        '"pin"',
        "locator_points_mm",
        "locator_points_mm",
        "2 locator points for pin",
        "give 1",
    ),
    (
        "[20, 0, 0]]\nloc",
        "[0, 0, 0]]\nloc",
        "locator_points",
        "locator_points_mm",
        "at one point",
        "different",
    ),
    ("bond_line_mm = 0.1\n", "", "bond_line_std_mm", "bond_line_std_mm", "bond line that is not", "add bond"),
    (
        "contact_play_mm = 0.05",
        "contact_play_mm = -1",
        "contact_play_mm",
        "play_mm",
        "less than 0",
        "contact",
    ),
    ('role = "locating"', 'role = "closed"', "role =", "role", '"closed" is not known', '"closing"?'),
    ("normal = [0, 1, 0]", "normal = [0, 1, 1]", "normal =", "faces.normal", "1.41421 long", "unit vector"),
    ("normal = [0, 1, 0]", "", "[joint.faces]", "faces", "have no normal", "add normal"),
    (
        "area_mm2 = 600",
        "normals = [[0, 1, 0]]",
        "normals = [[0, 1",
        "faces.normals",
        "both normal and",
        "one",
    ),
    (", [0, 0.6, 0.8]]", "]", "normals =", "faces.normals", "1 entry for 2 points", "points_mm: 2"),
    ("[[0, 0, 0.1], [1, 0, 0.1]]", "[[0, 0, 0]]", "on_second", "points_on_second_mm", "1 entry", "mm: 2"),
    (
        "points_mm = [[0, 0, 0], [1, 0, 0]]\nn",
        "points_mm = []\nn",
        "points_mm = []",
        "points_mm",
        "1 entry",
        "[",
    ),
    ('kind = "gap"', 'kind = "gaps"', "gaps", 'characteristic[1] "closure".kind', "not known", '"gap"?'),
    (
        'joint = "ring-1:ring-2"\nlim',
        'parts = ["ring-1"]\nlim',
        'id = "cl-1',
        '"closure"',
        'needs the key "joint"',
        "add",
    ),
    ('joint = "ring-1:ring-2"\nlim', 'joint = "ring"\nlim', '"ring"', "joint", 'no joint "ring"', "joints:"),
    (
        "limits_mm = [-0.1, 0.4]",
        "limits_deg = [-1, 1]",
        "limits_deg = [-1, 1]",
        "limits_deg",
        "in mm",
        "limits_mm",
    ),
    (
        "limits_mm = [-0.1, 0.4]",
        "limits_mm = [1, 1]",
        "[1, 1]",
        "limits_mm",
        "is not below the upper",
        "first",
    ),
    ("lower_mm = 79", "lower_mm = 82", "lower_mm = 82", "lower_mm", "82 is not below the upper", "room"),
    ("lower_mm = 79", "limits_mm = [1, 2]", "upper_mm = 81", "upper_mm", "both limits_mm and", "one form"),
    ("upper_mm = 0.2", "", 'id = "flat"-1', '"flat"', "has no limits", "limits_mm = [lower, upper]"),
    ("direction = [0, 0, 1]", "", 'id = "climb"-1', '"climb"', 'a step needs the key "direction"', "add"),
    ("axis = [0, 0, 1]", "axis = [0, 0, 2]", "axis = [0, 0, 2]", "axis", "is 2 long, not 1", "unit vector"),
    (
        "axes = [[1, 0, 0], [0, 1, 0]]",
        "axes = [[1, 0, 0]]",
        "axes = [[1, 0, 0]]",
        "axes",
        "2 entries are expected",
        "axes =",
    ),
    (
        "points_mm = [[0, 0, 80]]",
        "points_mm = [[0, 0, 8], [0, 0, 0]]",
        "[0, 0, 8]",
        "points_mm",
        "2 points",
        "one",
    ),
    (
        'parts = ["ring-1", "ring-2", "ring-2"]',
        'parts = ["ring-1"]',
        '["ring-1"]',
        "parts",
        "1 part for",
        "least 3",
    ),
    (
        'datum = "ring-1"',
        'datum = "ring-3"',
        'datum = "ring-3"',
        "assembly.datum",
        'no part "ring-3"',
        "did you mean",
    ),
    (
        'datum = "ring-1"',
        'datum = "ring-2"',
        "order",
        "assembly.order[1]",
        "not with the datum",
        "datum first",
    ),
    (
        'r = ["ring-1", "ring-2"]\nt',
        'r = ["ring-1"]\nt',
        "order",
        "assembly.order",
        "incomplete",
        "exactly once",
    ),
    (
        'r = ["ring-1", "ring-2"]\nt',
        'r = ["ring-1", "ring-2", "ring-1"]\nt',
        "order",
        "assembly.order[3]",
        'the order is cyclic: "ring-1" stands in it 2 times',
        "every part exactly once",
    ),
    ("temp_c = 21", "temp_c = -300", "temp_c = -300", "assembly.temp_c", "less than -273.15", "temp_c = 20"),
    ("temp_c = 21", "temp_c = 2021-01-01", "temp_c =", "assembly.temp_c", "not a date", "temp_c = 20"),
    ("temp_c = 21", "temp_c = 1" + "0" * 400, "temp_c =", "assembly.temp_c", "a number of 401 digits", "20"),
]


def find_marked_line(text, marker):
    """Line of a marker; "!2" at its end: its second place; "-1" at its end: the line above it."""
    back, which = 0, 1
    if marker.endswith("-1"):
        marker, back = marker[:-2], 1
    if marker[-2:-1] == "!":
        marker, which = marker[:-2], int(marker[-1])
    lines = [number for number, line in enumerate(text.split("\n"), start=1) if marker in line]
    return lines[which - 1] - back


@pytest.mark.parametrize(("old", "new", "marker", "place", "what", "do"), CASES)
def test_each_fault_is_named_with_its_line_and_a_remedy(old, new, marker, place, what, do):
    assert old in VALID
    text = VALID.replace(old, new, 1)
    faults = [fault for fault in read_faults(text) if what in fault.what]
    assert len(faults) == 1
    fault = faults[0]
    if marker is None:
        assert fault.where == f"{NAME}: {place}"
    else:
        line = find_marked_line(text, marker)
        assert fault.where.startswith(f"{NAME}: ")
        assert fault.where.endswith(f"{place} (line {line})")
    assert do in fault.do


@pytest.mark.parametrize("case", CASES, ids=lambda case: case[1][:30])
def test_one_slip_brings_no_flood_of_faults(case):
    text = VALID.replace(case[0], case[1], 1)
    assert len(read_faults(text)) <= 2


def test_a_row_is_named_by_number_and_id():
    text = VALID.replace("meshes/ring-2.stl", "../ring-2.stl")
    assert read_faults(text)[0].where == 'project.toml: part[2] "ring-2".mesh (line 64)'
    assert text.split("\n")[63].startswith("mesh = ")


def test_all_faults_come_at_once_sorted_by_line():
    text = (
        VALID.replace("risk = 0.1", "risk = 2")
        .replace('machine = "old"', 'machine = "new"')
        .replace('unit = "in"', 'unit = "inch"')
        .replace("limits_mm = [-0.1, 0.4]", "limits_mm = [2, 1]")
        .replace('datum = "ring-1"', 'datum = "ring-7"')
    )
    faults = read_faults(text)
    lines = [int(fault.where.rpartition("line ")[2].rstrip(")")) for fault in faults]
    assert [fault.where.split(" (")[0] for fault in faults] == [
        "project.toml: project.risk",
        'project.toml: part[2] "ring-2".unit',
        'project.toml: part[2] "ring-2".machine',
        'project.toml: characteristic[1] "closure".limits_mm',
        "project.toml: assembly.datum",
    ]
    assert lines == sorted(lines)


def test_a_broken_row_still_counts_as_being_there():
    text = VALID.replace("[500, 500, 600]", "[500, 500]")
    assert len(read_faults(text)) == 1


def test_a_newer_document_is_not_picked_at():
    text = VALID.replace("schema = 1", "schema = 7").replace("risk =", "rsik =")
    assert len(read_faults(text)) == 1


@pytest.mark.parametrize(
    ("text", "where", "what", "do"),
    [
        (
            "schema = 1\nname = 'x\n",
            "(line 2, column 10, the end of the document)",
            "not TOML",
            "mend the line",
        ),
        ("schema = 1\n[project\nname", "(line 2, column 9)", "not TOML", "mend the line"),
        ("schema = 1\nschema = 1\n\n", "(line 2, column 11)", "a key is stated twice", "remove one"),
        ("[a]\n\n[a]\n", "(line 3, column 3)", "a table is stated twice", "merge the two"),
        ("a = [1,\n2", "(line 2, column 2, the end", "a list is not closed", "add the missing ]"),
        ("a = 1\nb\nc = 1", "(line 2, column 2)", "a key has no =", "write key = value"),
        ("a = 1\nb = x\n", "(line 2, column 5)", "a value is missing or not TOML", "quotes"),
        ("a = 1\nb = 0,5\n", "(line 2, column 6)", "not TOML", "mend the line"),
        ("a = 1\nb = '\0'", "(line 2)", "NUL character", "restore it"),
        ("\ufeffschema = 1", "(line 1)", "byte order mark", "without a byte order mark"),
        ("a = '\ud800'", "(line 1)", "surrogate", "save the document as UTF-8"),
        ("a = " + "[" * 20000, "project.toml", "nested more than 32 deep", "surplus brackets"),
        ("a = " + "[" * 40 + "]" * 40, "project.toml", "nested more than 32 deep", "surplus brackets"),
        ("a = " + "1" * 5000, "project.toml", "a number cannot be read", "fewer digits"),
        ("#" * (16 * 1024 * 1024 + 1), "project.toml", "16.0 MB large", "files of their own"),
    ],
)
def test_a_text_that_is_no_document(text, where, what, do):
    (fault,) = read_faults(text)
    assert where in fault.where
    assert what in fault.what
    assert do in fault.do


@pytest.mark.parametrize(
    ("data", "where", "what"),
    [
        (b"schema = 1\n# caf\xe9\n", "project.toml (line 2)", "not UTF-8: byte 0xe9"),
        ("schema = 1".encode("utf-16"), "project.toml (line 1)", "not UTF-8"),
        (b"\xef\xbb\xbfschema = 1", "project.toml (line 1)", "byte order mark"),
        (b"#" * (16 * 1024 * 1024 + 1), "project.toml", "more than 16 MB"),
    ],
)
def test_a_file_that_is_no_text(tmp_path, data, where, what):
    file = tmp_path / NAME
    file.write_bytes(data)
    with pytest.raises(DocumentRefused) as caught:
        read_document(file)
    assert caught.value.faults[0].where == where
    assert what in caught.value.faults[0].what


def test_no_document(tmp_path):
    for path in (tmp_path, tmp_path / "project.toml", tmp_path / "nowhere" / "project.toml"):
        with pytest.raises(ProjectMissing, match=r"no project\.toml here") as caught:
            read_document(path)
        assert "`dryfit new " in caught.value.do


def test_crlf_lines_are_counted_alike():
    text = VALID.replace("risk = 0.1", "risk = 2")
    assert read_faults(text.replace("\n", "\r\n")) == read_faults(text)
