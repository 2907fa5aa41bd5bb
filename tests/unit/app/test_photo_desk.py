"""Marks under the hand: nothing that another wrote is overwritten, and steps go back."""

import shutil

import pytest

from dryfit.app.photo_desk import MarkChanged, edit_marks, move_mark, read_seen, take_back
from dryfit.app.photo_form import (
    change_length,
    change_line,
    change_plane,
    change_point,
    change_size,
    change_std,
)
from dryfit.app.photo_marking import MarkChanges, MarkRefused, mark_photo
from dryfit.base.errors import NotWritten
from dryfit.store.marks import MarksRefused
from support.evidence import make_project


@pytest.fixture(scope="module")
def house(tmp_path_factory):
    base = tmp_path_factory.mktemp("desk")
    return make_project(base / "house", base / "pictures")


@pytest.fixture
def folder(house, tmp_path):
    return shutil.copytree(house, tmp_path / "house")


@pytest.fixture
def file(folder):
    return folder / "photos/front.jpg.marks.toml"


def at(folder, name, photo="front"):
    return read_seen(folder, photo).point(name).at_px


def write(folder, change, photo="front"):
    seen = read_seen(folder, photo)
    return edit_marks(folder, photo, change.changes, change.words, seen, change.touched)


def test_a_move_writes_a_thousandth_of_a_pixel_and_leaves_the_rest_of_the_text(folder, file):
    file.write_text(file.read_text().replace('name = "ridge"', 'name = "ridge"  # the lead, not the tile'))
    x, y = at(folder, "ridge")
    before = file.read_text()
    _, step = move_mark(folder, "front", "point", "ridge", 0, (x + 0.1, y), (x, y))
    assert at(folder, "ridge") == pytest.approx((x + 0.1, y))
    assert "# the lead, not the tile" in file.read_text()
    changed = [
        pair
        for pair in zip(before.splitlines(), file.read_text().splitlines(), strict=True)
        if pair[0] != pair[1]
    ]
    assert len(changed) == 1
    again = take_back(folder, step)
    assert file.read_text() == before
    take_back(folder, again)
    assert at(folder, "ridge") == pytest.approx((x + 0.1, y))


def test_a_mark_that_was_moved_elsewhere_meanwhile_is_not_overwritten(folder, file):
    was = at(folder, "ridge")
    mark_photo(folder, "front", MarkChanges(points=({"name": "ridge", "at_px": [500.0, 40.0]},)))
    text = file.read_text()
    with pytest.raises(MarkChanged, match="moved elsewhere"):
        move_mark(folder, "front", "point", "ridge", 0, (was[0] + 1.0, was[1]), was)
    assert file.read_text() == text


def test_another_mark_may_have_changed_meanwhile(folder):
    was = at(folder, "ridge")
    mark_photo(folder, "front", MarkChanges(points=({"name": "porch.w", "at_px": [500.0, 640.0]},)))
    move_mark(folder, "front", "point", "ridge", 0, (was[0] + 1.0, was[1]), was)
    assert at(folder, "porch.w") == (500.0, 640.0)
    assert at(folder, "ridge")[0] == pytest.approx(was[0] + 1.0)


def test_steps_of_one_mark_join_and_others_do_not(folder):
    x, y = at(folder, "ridge")
    _, first = move_mark(folder, "front", "point", "ridge", 0, (x + 1.0, y), (x, y))
    _, second = move_mark(folder, "front", "point", "ridge", 0, (x + 2.0, y), (x + 1.0, y))
    both = first.joined(second)
    take_back(folder, both)
    assert at(folder, "ridge") == (x, y)
    left = at(folder, "porch.w")
    _, third = move_mark(folder, "front", "point", "porch.w", 0, (left[0] + 1.0, left[1]), left)
    assert second.joined(third) is None


def test_a_step_is_not_taken_back_over_a_later_change(folder, file):
    x, y = at(folder, "ridge")
    _, step = move_mark(folder, "front", "point", "ridge", 0, (x + 1.0, y), (x, y))
    file.write_text(file.read_text() + "# a note by hand\n")
    with pytest.raises(NotWritten, match="changed on disk"):
        take_back(folder, step)
    assert file.read_text().endswith("# a note by hand\n")


def test_the_first_mark_of_a_picture_is_taken_back_with_its_file(folder):
    row = {"name": "door", "at_px": [100.0, 100.0]}
    _, step = edit_marks(folder, "spare", MarkChanges(points=(row,)), "mark door", None, (("point", "door"),))
    assert read_seen(folder, "spare").points[0].name == "door"
    take_back(folder, step)
    assert read_seen(folder, "spare") is None


def test_a_point_is_renamed_wherever_it_is_named(folder):
    x, y = at(folder, "nw.foot")
    typed = {"name": "west.foot", "x": f"{x}", "y": f"{y}", "std": "0.5", "plane": "wall"}
    write(folder, change_point("nw.foot", typed))
    marks = read_seen(folder, "front")
    assert marks.point("west.foot").std_px == 0.5
    assert "west.foot" in marks.lines[0].through
    assert marks.lengths[0].between[0] == "west.foot"


def test_what_is_emptied_in_a_form_is_no_longer_stated(folder, file):
    x, y = at(folder, "ridge")
    typed = {"name": "ridge", "x": f"{x}", "y": f"{y}", "std": "0.7", "known x": "6000", "known y": "4500"}
    write(folder, change_point("ridge", typed | {"known z": "13000", "known std": "5"}))
    assert read_seen(folder, "front").point("ridge").prototype_mm == (6000.0, 4500.0, 13000.0)
    write(folder, change_point("ridge", {"name": "ridge", "x": f"{x}", "y": f"{y}"}))
    point = read_seen(folder, "front").point("ridge")
    assert point.prototype_mm is None
    assert point.std_px == read_seen(folder, "front").std_px
    assert "prototype_std_mm" not in file.read_text()


def test_lines_lengths_planes_and_sizes_are_changed_by_their_forms(folder):
    write(folder, change_line("z.0", {"name": "west.edge", "along": "z"}, True))
    length = {"from": "ne.foot", "to": "ne.top", "length": "9 m", "std": "1 cm", "along": "z"}
    write(folder, change_length(length))
    write(folder, change_plane({"name": "porch", "parallel to": "wall", "offset": "800", "offset std": "20"}))
    size = {"name": "rise", "from": "ne.top", "to": "ridge", "of": "house.height"}
    write(folder, change_size(size))
    marks = read_seen(folder, "front")
    assert marks.lines[0].name == "west.edge"
    assert marks.lengths[-1].length.value == 9000.0
    assert (marks.planes[-1].parallel_to, marks.planes[-1].offset_mm.value) == ("wall", 800.0)
    assert marks.sizes[-1].id == "rise"
    write(folder, change_length({**length, "to": "sill.e", "length": "3 m"}, "ne.foot:ne.top"))
    write(folder, change_plane({"name": "porch", "axes": "yz"}, "porch"))
    write(folder, change_size({**size, "name": "roof"}, "rise"))
    marks = read_seen(folder, "front")
    assert [item.between for item in marks.lengths][-1] == ("ne.foot", "sill.e")
    assert len(marks.lengths) == 3
    assert marks.planes[-1].axes == ("y", "z")
    assert marks.sizes[-1].id == "roof"
    edit_marks(folder, "front", change_std({"std": "0.4"}), "std", marks)
    assert read_seen(folder, "front").std_px == 0.4


def test_a_form_is_checked_against_what_it_showed(folder):
    seen = read_seen(folder, "front")
    mark_photo(folder, "front", MarkChanges(planes=({"name": "wall", "axes": ["y", "z"]},)))
    change = change_plane({"name": "wall", "axes": "xy"}, "wall")
    with pytest.raises(MarkChanged, match="plane"):
        edit_marks(folder, "front", change.changes, change.words, seen, change.touched)


@pytest.mark.parametrize(
    ("field", "words", "said"),
    [("x", "left", "no number"), ("x", "nan", "finite"), ("y", "", "empty"), ("name", " ", "empty")],
)
def test_what_cannot_be_read_names_its_field(field, words, said):
    with pytest.raises(MarkRefused, match=said) as refused:
        change_point("ridge", {"name": "ridge", "x": "1", "y": "2", field: words})
    assert refused.value.where == f"the field {field}"


def test_a_name_that_is_taken_or_needed_elsewhere_is_refused_and_nothing_changes(folder, file):
    text = file.read_text()
    x, y = at(folder, "ridge")
    with pytest.raises(MarksRefused):
        write(folder, change_point("ridge", {"name": "porch.w", "x": f"{x}", "y": f"{y}"}))
    gone = MarkChanges(remove=("point=nw.foot",))
    with pytest.raises(MarksRefused):
        edit_marks(folder, "front", gone, "remove", read_seen(folder, "front"), (("point", "nw.foot"),))
    assert file.read_text() == text
