"""The camera of each photograph, and how far each mark lies from where it puts it."""

import shutil

import numpy as np
import pytest

from dryfit.app.evidence_page import count_evidence, look_again, read_evidence
from dryfit.app.photo_marking import MarkChanges, mark_photo
from dryfit.calc.photo import project
from support.evidence import LENS, NAMED, NOISE_PX, OFF, make_project, places
from support.photographs import BUILDING, POSES


@pytest.fixture(scope="module")
def house(tmp_path_factory):
    base = tmp_path_factory.mktemp("sound")
    return make_project(base / "house", base / "pictures")


@pytest.fixture
def folder(house, tmp_path):
    return shutil.copytree(house, tmp_path / "house")


@pytest.fixture(scope="module")
def sound(house):
    return read_evidence(house)


@pytest.fixture(scope="module")
def slipped(tmp_path_factory):
    base = tmp_path_factory.mktemp("slipped")
    return read_evidence(make_project(base / "house", base / "pictures", 14.0))


def test_photographs_with_common_points_are_adjusted_together(sound):
    for name in ("front", "corner", "side"):
        camera = sound.photo(name).verdict.camera
        assert camera.method == "together with other photographs"
        # 19 marks on each with 0.3 px noise; 60 of their 114 figures go into cameras and points
        assert 0.05 < camera.rms_px < NOISE_PX
        assert abs(camera.focal_px - LENS.focal_px) < 3 * camera.focal_std_px
        assert not camera.suspects


def test_a_mark_that_was_set_aside_shows_its_way_from_where_the_others_put_it(slipped):
    camera = slipped.photo("corner").verdict.camera
    assert [item.where for item in camera.suspects] == [f'point "{OFF}"']
    (off,) = [item for item in camera.residuals if item.name == OFF]
    assert not off.is_used
    # it was set 14 px to the right of the truth: marked less computed points right
    assert off.off_px == pytest.approx((14.0, 0.0), abs=1.5)
    assert slipped.photo("corner").state == "stop"
    assert count_evidence(slipped).sizes == 0


def test_the_residual_of_a_mirrored_picture_points_as_it_lies(tmp_path):
    folder = make_project(tmp_path / "house", tmp_path / "pictures", 14.0)
    # the second photograph, flipped left to right as a whole, and said to be
    marks = read_evidence(folder).photo("corner").marks
    points = [{"name": item.name, "at_px": [1199.0 - item.at_px[0], item.at_px[1]]} for item in marks.points]
    mark_photo(folder, "corner", MarkChanges(points=tuple(points)))
    document = folder / "project.toml"
    document.write_text(document.read_text().replace('id = "corner"', 'id = "corner"\nmirrored = true'))
    camera = read_evidence(folder).photo("corner").verdict.camera
    (off,) = [item for item in camera.residuals if item.name == OFF]
    assert off.off_px == pytest.approx((-14.0, 0.0), abs=1.5)


def test_known_points_give_a_camera_and_where_it_stood(folder):
    rows = [
        {
            "name": f"known.{name}",
            "at_px": [float(v) for v in at],
            "prototype_mm": [float(v) for v in BUILDING[row]],
            "prototype_std_mm": 1.0,
        }
        for (name, row), at in zip(NAMED.items(), places(0)[list(NAMED.values())], strict=True)
    ]
    mark_photo(folder, "spare", MarkChanges(points=tuple(rows), std_px=0.3))
    camera = read_evidence(folder).photo("spare").verdict.camera
    assert camera.method == "camera from known points"
    assert camera.tried[0].method == "together with other photographs"
    assert np.linalg.norm(np.array(camera.position_mm) - POSES[0].position_mm) < 100.0
    # exact marks: the camera puts each where it is
    assert camera.rms_px < 0.01
    expected = project(LENS, POSES[0], BUILDING[[NAMED["ridge"]]]).marks_px[0]
    (ridge,) = [item for item in camera.residuals if item.name == "known.ridge"]
    assert ridge.at_px == pytest.approx(tuple(expected))


def test_a_plane_alone_gives_its_residuals_and_what_it_misses(folder):
    for name in ("corner", "side"):
        marks = read_evidence(folder).photo(name).marks
        mark_photo(folder, name, MarkChanges(remove=tuple(f"point={item.name}" for item in marks.points)))
    camera = read_evidence(folder).photo("front").verdict.camera
    assert (camera.method, camera.about) == ("plane", "wall")
    assert [item.method for item in camera.tried] == [
        "together with other photographs",
        "camera from known points",
    ]
    assert {axis.axis for axis in camera.vanishing} == {"x", "z"}
    # the camera stands level: verticals stay parallel to within its noise, the horizontals meet at the right
    (level,) = [item for item in camera.vanishing if item.axis == "x"]
    truth = POSES[0].rotation @ np.array([1.0, 0.0, 0.0])
    place = LENS.centre_px + LENS.focal_px * truth[:2] / truth[2]
    assert level.place_px == pytest.approx(tuple(place), rel=0.02)


def test_two_level_directions_give_the_horizon(folder):
    at = places(1)
    lines = [
        {
            "name": f"{axis}.{low}",
            "points_px": [[float(v) for v in at[end]] for end in (low, high)],
            "along": axis,
        }
        for axis, pairs in (("x", ((0, 3), (21, 24), (14, 17))), ("y", ((3, 6), (24, 27), (17, 20))))
        for low, high in pairs
    ]
    mark_photo(folder, "spare", MarkChanges(lines=tuple(lines), std_px=0.3))
    camera = read_evidence(folder).photo("spare").verdict.camera
    assert camera.method == "vanishing points"
    a, b, c = camera.horizon
    # the horizon of a level plane holds the pictures of all level directions
    for degrees in (20.0, 45.0, 70.0):
        level = np.array([np.cos(np.radians(degrees)), np.sin(np.radians(degrees)), 0.0])
        seen = POSES[1].rotation @ level
        x, y = LENS.centre_px + LENS.focal_px * seen[:2] / seen[2]
        assert abs(a * x + b * y + c) < 2.0


def test_the_stamp_changes_with_each_file_it_rests_on(folder):
    stamp = read_evidence(folder).stamp
    assert look_again(stamp) == stamp
    with (folder / "photos/side.jpg.marks.toml").open("a") as out:
        out.write("# looked at again\n")
    assert look_again(stamp) != stamp
