"""Photographs through the command: added, listed, marked, checked, and refused."""

from __future__ import annotations

import pytest

from dryfit.app.photo_adding import add_photos
from dryfit.store.document import read_document
from support.command import refusal, run, run_json
from support.pictures import camera_data, pixels, write_picture


@pytest.fixture
def folder(tmp_path):
    project = tmp_path / "house"
    run("new", project, "--scale", "1:20")
    return project


@pytest.fixture
def front(folder, tmp_path):
    data = camera_data(6, private=True, focal_mm=35, focal_35_mm=53, size=(240, 160))
    path = write_picture(tmp_path / "Front wall (2).jpg", array=pixels(240, 160), exif=data)
    status, answer = run_json("photo", "add", path, "--project", folder, "--id", "front")
    assert status == 0
    return answer


def test_a_photograph_is_added_under_a_plain_name_without_what_is_private(folder, front):
    line = front["photos"][0]
    assert line["file"] == "photos/Front-wall-2-.jpg"
    assert (line["width_px"], line["height_px"]) == (160, 240)
    assert line["turned"] == "turned a quarter clockwise"
    # 53 mm over the diagonal of 35 mm film
    assert line["focal_px"] == pytest.approx(53 / 43.267 * (240**2 + 160**2) ** 0.5, rel=1e-3)
    copy = (folder / line["file"]).read_bytes()
    assert b"Invented" not in copy
    assert "no place, name or comment" in front["notes"][0]
    photo = read_document(folder).project.photos[0]
    assert photo.id == "front"
    assert len(photo.sha256) == 64


def test_marks_are_set_moved_removed_and_checked(folder, front):
    words = ("--plane", "wall=xz", "--in", "wall")
    corners = {"a": (10, 200), "b": (140, 205), "c": (138, 40), "d": (12, 30)}
    places = {"a": (0, 0, 0), "b": (4000, 0, 0), "c": (4000, 0, 5000), "d": (0, 0, 5000)}
    for name, (x, y) in corners.items():
        words += ("--point", f"{name}={x},{y}", "--known", f"{name}={','.join(map(str, places[name]))},5")
    status, answer = run_json("photo", "mark", "front", "-p", folder, *words, "--std-all", "0.7")
    assert status == 0
    assert answer["points"] == 4
    assert answer["std_px"] == 0.7
    run("photo", "mark", "front", "-p", folder, "--point", "a=10.5,200.5", "--std", "0.3")
    run("photo", "mark", "front", "-p", folder, "--line", "edge=a:b", "--along", "x")
    run("photo", "mark", "front", "-p", folder, "--length", "a:d=5 m,10 mm", "--along", "z")
    status, answer = run_json("photo", "mark", "front", "-p", folder, "--length", "d:a=5.01 m,10 mm")
    assert (answer["lengths"], answer["changed"]) == (1, ["length d to a"])
    status, check = run_json("photo", "check", folder)
    assert status == 0
    methods = {line["method"]: line for line in check["photos"][0]["methods"]}
    assert methods["plane"]["is_possible"], methods["plane"]
    assert not methods["camera from known points"]["is_possible"]
    assert "4 known points are too few" in methods["camera from known points"]["why"]
    shown = run("photo", "check", folder).stdout
    assert "camera from known points" in shown
    status, answer = run_json("photo", "mark", "front", "-p", folder, "--remove", "edge")
    assert answer["removed"] == ['line "edge"']
    assert answer["lines"] == 0
    status, answer = run_json("photo", "mark", "front", "-p", folder, "--remove", "d:a")
    assert answer["lengths"] == 0


def test_a_list_of_none_and_of_some(folder, tmp_path):
    assert "no photographs yet" in run("photo", "list", folder).stdout
    assert run_json("photo", "check", folder)[1]["state"] == "not checked"
    add_photos(folder, [write_picture(tmp_path / "odd.png", array=pixels(200, 90))])
    status, answer = run_json("photo", "list", folder)
    assert status == 0
    assert answer["photos"][0]["crop"] == "doubtful"
    assert "may be cropped" in answer["photos"][0]["findings"][0]["what"]
    assert "200 x 90" in run("photo", "list", folder).stdout


def test_exit_status_1_where_a_picture_is_gone(folder, front):
    (folder / front["photos"][0]["file"]).unlink()
    assert run("photo", "list", folder).exit_code == 1
    assert run("photo", "check", folder).exit_code == 1


@pytest.mark.parametrize(
    ("words", "what"),
    [
        (("--point", "a=1"), "does not hold 2 numbers"),
        (("--point", "a=nan,3"), "does not hold 2 numbers"),
        (("--point", "=1,2"), "not read as a mark"),
        (("--point", "a=900,20"), "outside the picture of 160 x 240"),
        (("--point", "a/b=9,20"), "the marks have 1 fault"),
        (("--known", "a=1,2,3"), "does not hold 4 numbers"),
        (("--known", "a=1,2,3,4"), "the marks have 1 fault"),
        (("--line", "e=1,2"), "has one end only"),
        (("--line", "e=1,2:3,4"), "the marks have 1 fault"),
        (("--line", "e=1,2:3,4", "--along", "up"), "the marks have 1 fault"),
        (("--length", "a:b=3 m"), "not read as a known length"),
        (("--plane", "p=q,3"), "not read as a plane"),
        (("--size", "s=a:b"), "not read as a size"),
        (("--std", "0.5"), "nothing is to be marked"),
        (("--std-all", "-1"), "no standard uncertainty"),
        (("--remove", "x"), 'nothing is marked as "x"'),
    ],
)
def test_a_wrong_mark_is_refused_and_nothing_written(folder, front, words, what):
    assert what in refusal("photo", "mark", "front", "--project", folder, *words)["what"]
    assert not list((folder / "photos").glob("*.toml"))


def test_hostile_files_are_refused(folder, tmp_path):
    text = tmp_path / "letter.jpg"
    text.write_text("Dear Sir")
    cut = write_picture(tmp_path / "cut.jpg")
    cut.write_bytes(cut.read_bytes()[:700])
    renamed = tmp_path / "renamed.jpg"
    renamed.write_bytes(write_picture(tmp_path / "a.png").read_bytes())
    for path, what in (
        (text, "this is a text"),
        (cut, "cut short or damaged"),
        (renamed, "a PNG picture but its name ends in .jpg"),
        (tmp_path / "none.jpg", "no such picture"),
        (tmp_path, "folder"),
    ):
        refused = refusal("photo", "add", path, "--project", folder)
        assert what in refused["what"]
        assert str(path) in refused["where"]
    assert read_document(folder).project.photos == ()
    assert "no photo" in refusal("photo", "mark", "none", "--project", folder, "--point", "a=1,2")["what"]
