"""The file of marks: what it takes, every fault at once with its place, and edits that touch nothing else."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dryfit.base.errors import DocumentRefused, NotWritten, ReferenceUnknown
from dryfit.store.document import parse_document
from dryfit.store.marks import MarksRefused, marks_path, parse_marks, read_marks
from dryfit.store.marks_edit import MarksEditor

SHA = "0" * 64
HEAD = f'schema = 1\nphoto_sha256 = "{SHA}"\nstd_px = 0.7\n'
WHOLE = (
    HEAD
    + """
# the wall towards the lane
[[plane]]
name = "front"
axes = ["x", "z"]

[[plane]]
name = "cornice"
parallel_to = "front"
offset_mm = 350
offset_std_mm = 20

[[point]]
name = "foot"
at_px = [100, 900.5]
prototype_mm = [0, 0, 0]
prototype_std_mm = 5
plane = "front"

[[point]]
name = "top"
at_px = [101.5, 200]
std_px = 1.5  # behind a branch

[[line]]
name = "corner"
through = ["foot", "top"]
along = "z"

[[line]]
name = "eave"
points_px = [[10, 20], [300, 21], [600, 20.5]]
straight = true

[[length]]
between = ["foot", "top"]
length = "12 ft 3 1/2 in"
std = "1/2 in"
along = "z"

[[size]]
id = "height"
between = ["foot", "top"]
of = "overall.height"
along = "z"
"""
)


def faults(text: str) -> list[str]:
    with pytest.raises(DocumentRefused) as caught:
        parse_marks(text, "front.jpg.marks.toml")
    return [f"{fault.where}: {fault.what}" for fault in caught.value.faults]


def test_everything_that_can_be_marked_is_read():
    marks = parse_marks(WHOLE, "m")
    assert [point.std_px for point in marks.points] == [0.7, 1.5]
    assert marks.point("foot").prototype_mm == (0.0, 0.0, 0.0)
    assert marks.plane("cornice").axes == ("x", "z")
    assert marks.plane("cornice").offset_mm.std == 20.0
    corner, eave = marks.lines
    assert corner.points_px == ((100.0, 900.5), (101.5, 200.0))
    assert corner.std_px == 1.5
    assert eave.is_straight
    assert len(eave.points_px) == 3
    # 147.5 in of 25.4 mm
    assert marks.lengths[0].length.value == pytest.approx(147.5 * 25.4)
    assert marks.lengths[0].length.std == pytest.approx(12.7)
    assert marks.sizes[0].of == "overall.height"


def test_all_faults_come_at_once_each_with_its_line():
    text = WHOLE.replace('std = "1/2 in"', 'std = "half an inch"').replace("offset_std_mm = 20\n", "")
    text = text.replace('"foot", "top"]\nalong = "z"\n\n[[line]]', '"foot", "tip"]\nalong = "up"\n\n[[line]]')
    text = text.replace("at_px = [101.5, 200]", "at_px = [101.5]\nat = 3")
    found = faults(text)
    for words in (
        'plane[2] "cornice" (line 10): a plane parallel to another needs offset_std_mm',
        'point[2] "top".at_px (line 24): 2 entries are expected here, not 1',
        'point[2] "top".at (line 25): the key "at" is unknown',
        'line[1] "corner".through[2] (line 30): there is no point "tip"',
        'line[1] "corner".along (line 31): the text "up" is not known here',
        "length[1].std (line 41)",
    ):
        assert any(words in line for line in found), (words, found)
    assert len(found) == 6


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("schema = 1\n", "", "do not state their schema"),
        ("schema = 1", "schema = 2", "newer program"),
        ("schema = 1", 'schema = "one"', "a whole number is expected"),
        ("std_px = 0.7\n", "", 'the key "std_px" is missing'),
        ("std_px = 0.7", "std_px = 0", "not more than 0"),
        ("at_px = [100, 900.5]", "at_px = [nan, 900.5]", "not a finite number"),
        ("at_px = [100, 900.5]", "at_px = [1e9, 900.5]", "more than 1e+06"),
        ('name = "top"', 'name = "foot"', 'the name "foot" is already that of point[1]'),
        ("prototype_std_mm = 5\n", "", "without its standard uncertainty"),
        ("prototype_mm = [0, 0, 0]\n", "", "prototype_std_mm is stated without prototype_mm"),
        ('plane = "front"', 'plane = "frnt"', 'there is no plane "frnt"'),
        ('axes = ["x", "z"]', 'axes = ["x", "x"]', "two different axes"),
        (
            'axes = ["x", "z"]',
            'parallel_to = "cornice"\noffset_mm = 1\noffset_std_mm = 1',
            "given by another",
        ),
        ('axes = ["x", "z"]', "", "nothing says how the plane runs"),
        ('length = "12 ft 3 1/2 in"', "length = 3750", "a length in quotes is expected"),
        ('length = "12 ft 3 1/2 in"', 'length = "3,75 m"', "a comma may be"),
        ('length = "12 ft 3 1/2 in"', 'length = "0 mm"', "longer than nothing"),
        ('between = ["foot", "top"]\nof', 'between = ["foot", "foot"]\nof', "both ends are the same point"),
        ("[300, 21], ", "", "straight whatever the lens does"),
        ("straight = true\n", "", "says nothing of the building"),
        ("[300, 21]", "[10, 20]", "the same mark stands twice"),
        ('through = ["foot", "top"]', "", "nothing says where the line runs"),
        (
            'through = ["foot", "top"]',
            'through = ["foot", "top"]\nstd_px = 1',
            "has their standard uncertainty",
        ),
        ("[[size]]", "[size]", "a list of tables is expected"),
        ("[[size]]", "[[sizes]]", 'the table "sizes" is unknown'),
        (f'"{SHA}"', '"abc"', "is not a SHA-256"),
        ('name = "top"', 'name = "top" x', "TOML"),
    ],
)
def test_a_fault_is_named(old, new, words):
    assert old in WHOLE
    assert any(words in line for line in faults(WHOLE.replace(old, new, 1))), faults(
        WHOLE.replace(old, new, 1)
    )


def test_marks_lie_beside_their_picture_under_its_whole_name(tmp_path):
    assert marks_path(tmp_path / "front.jpg").name == "front.jpg.marks.toml"
    assert read_marks(tmp_path / "none") is None


@pytest.fixture
def editor(tmp_path):
    path = tmp_path / "front.jpg.marks.toml"
    path.write_text(WHOLE)
    return MarksEditor(path, "front.jpg", SHA, 1.0)


def test_moving_a_mark_changes_its_line_alone(editor):
    assert editor.put("point", {"name": "top", "at_px": [101.6, 200.1], "std_px": None})
    editor.save()
    assert editor.path.read_text() == WHOLE.replace("[101.5, 200]", "[101.6, 200.1]")


def test_a_new_mark_comes_after_the_others_of_its_kind(editor):
    assert not editor.put("point", {"name": "door", "at_px": [5.0, 6.0]})
    text = editor.path.read_text()
    assert editor.save().point("door").std_px == 0.7
    new = editor.path.read_text()
    assert new.replace('\n[[point]]\nname = "door"\nat_px = [5.0, 6.0]\n', "", 1) == text
    assert new.index('"top"') < new.index('"door"') < new.index("[[line]]")


def test_a_point_in_use_cannot_be_removed(editor):
    editor.remove("point", "top")
    with pytest.raises(MarksRefused, match='there is no point "top"'):
        editor.save()
    assert editor.path.read_text() == WHOLE


def test_an_unknown_mark_cannot_be_removed(editor):
    with pytest.raises(ReferenceUnknown, match='no point "tip"'):
        editor.remove("point", "tip")


def test_marks_changed_by_somebody_else_are_not_overwritten(editor):
    editor.put("point", {"name": "top", "at_px": [1.0, 2.0]})
    editor.path.write_text(WHOLE + "# mine\n")
    with pytest.raises(NotWritten, match="changed on disk"):
        editor.save()
    assert editor.path.read_text().endswith("# mine\n")


def test_a_new_file_is_valid_as_it_begins(tmp_path):
    editor = MarksEditor(tmp_path / 'a"b.jpg.marks.toml', 'a"b.jpg', SHA, 0.5)
    assert editor.is_new
    editor.put("point", {"name": "a", "at_px": [1.0, 2.0]})
    editor.save()
    marks = read_marks(editor.path)
    assert marks is not None
    assert marks.point("a").std_px == 0.5


names = st.from_regex(r"[A-Za-z0-9][A-Za-z0-9 _.:+-]{0,12}", fullmatch=True).filter(
    lambda name: name != "ground"
)
places = st.lists(st.floats(-1e5, 1e5), min_size=2, max_size=2)


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(names, places, st.floats(0.01, 50)), max_size=8))
def test_what_is_put_is_what_is_read(tmp_path_factory, rows):
    editor = MarksEditor(tmp_path_factory.mktemp("m") / "a.jpg.marks.toml", "a.jpg", SHA, 1.0)
    for name, place, std in rows:
        editor.put("point", {"name": name, "at_px": place, "std_px": std})
    marks = editor.save()
    last = {name: (place, std) for name, place, std in rows}
    assert {point.name for point in marks.points} == set(last)
    for point in marks.points:
        place, std = last[point.name]
        assert point.at_px == pytest.approx(tuple(place), rel=1e-11, abs=1e-11)
        assert point.std_px == pytest.approx(std, rel=1e-11)


@settings(max_examples=150, deadline=None)
@given(st.integers(0, len(WHOLE) - 1), st.integers(0, 30), st.text(max_size=8))
def test_a_damaged_file_is_read_or_refused(at, length, text):
    damaged = WHOLE[:at] + text + WHOLE[at + length :]
    try:
        parse_marks(damaged, "m")
    except DocumentRefused as refusal:
        faults = refusal.faults
    else:
        return
    assert faults
    assert all(fault.what and fault.where and fault.do for fault in faults)


DOCUMENT = (
    'schema = 1\n[project]\nname = "P"\nscale = "1:20"\n[[photo]]\nid = "front"\nfile = "photos/front.jpg"\n'
)


def test_a_photo_states_its_camera():
    keys = (
        'lens = "my-50"\nfocal_px = 4000\nfocal_std_px = 30\ncentre_px = [2000, 1500]\ncentre_std_px = 8\n'
        "distortion = [-0.1, 0.01, 0, 0, 0]\ndistortion_std = [0.01, 0.02, 0, 0, 0]\n"
        "distance_mm = 24000\ndistance_std_mm = 500\nmirrored = true\ncropped = false\ndate = 1987-06-12\n"
    )
    photo = parse_document(DOCUMENT + keys, "p").project.photos[0]
    assert photo.focal_px.std == 30
    assert photo.distortion[0] == -0.1
    assert photo.is_mirrored
    assert photo.is_cropped is False
    assert photo.date == "1987-06-12"


@pytest.mark.parametrize(
    ("keys", "words"),
    [
        ("focal_px = 4000", "focal_px is stated without its standard uncertainty"),
        ("focal_std_px = 4", "focal_std_px is stated without focal_px"),
        (
            "distortion = [0, 0, 0, 0, 0]\ndistortion_std = [0, 0, 0, 0, 0]",
            "the focal length that it belongs to",
        ),
        ("distance_mm = 1\ndistance_std_mm = 1\nleast_distance_mm = 1", "are both stated"),
        ("centre_px = [1]\ncentre_std_px = 1", "2 entries are expected"),
        ('id = "front"\nfile = "../a.jpg"', "leaves the project folder"),
        ('id = "front"\nfile = "/a.jpg"', "not relative"),
        ('id = "front"\nfile = "a.jpg#1"', "names no picture file"),
        ('id = "front"\nfile = "a.jpg"\n[[photo]]\nid = "front"\nfile = "b.jpg"', "already that of photo[1]"),
    ],
)
def test_a_fault_of_a_photo_is_named(keys, words):
    text = DOCUMENT + keys if not keys.startswith("id") else DOCUMENT.split("id =")[0] + keys
    with pytest.raises(DocumentRefused, match=words.replace("[", r"\[")):
        parse_document(text, "p")
