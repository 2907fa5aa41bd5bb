"""The evidence in words, and what is drawn over a photograph: the same for the page and the command line."""

import math

import pytest

from dryfit.app.evidence_page import read_evidence
from dryfit.app.photo_cameras import MarkResidual
from dryfit.app.photo_checking import check_photos
from dryfit.view.blocks import Sentence
from dryfit.view.evidence import (
    camera_blocks,
    dimension_words,
    evidence_figure,
    heading_words,
    largest_words,
    marks_words,
    missing_words,
    size_words,
    sizes_table,
    suspects_of,
)
from dryfit.view.evidence_drawing import FACTORS, best_factor, convex_outline, photo_drawing
from dryfit.view.photographs import check_blocks
from support.evidence import OFF, make_project


@pytest.fixture(scope="module")
def house(tmp_path_factory):
    base = tmp_path_factory.mktemp("view")
    return make_project(base / "house", base / "pictures", 14.0)


@pytest.fixture(scope="module")
def report(house):
    return read_evidence(house)


def words_of(blocks):
    return [block.text for block in blocks if isinstance(block, Sentence)]


def test_the_figure_of_the_link():
    assert evidence_figure(5, 3) == "5 photographs, 3 sizes"
    assert evidence_figure(1, 1) == "1 photograph, 1 size"
    assert evidence_figure(0, 0) == ""


def test_the_heading_counts_what_does_not_fit(report):
    assert heading_words(report).text == "4 photographs; 0 sizes for the schedule; 1 thing that does not fit"
    (suspect,) = suspects_of(report)
    assert suspect.startswith(f'corner: point "{OFF}": its mark does not go with the other photographs, 1')


def test_a_photograph_says_its_size_its_marks_and_what_is_missing(report):
    corner, spare = report.photo("corner"), report.photo("spare")
    assert size_words(corner) == "1200 x 900 px, turned a quarter clockwise"
    assert size_words(spare) == "1200 x 900 px"
    assert marks_words(report.photo("front")) == "19 points, 4 lines, 2 known lengths, 1 plane, 2 sizes"
    assert marks_words(spare) == "nothing is marked"
    assert missing_words(spare) == ("nothing is marked on it: choose point, then click on the picture",)
    assert any("no size is to be measured" in words for words in missing_words(corner))


def test_the_page_and_the_command_say_the_same_of_a_camera(house, report):
    camera = report.photo("corner").verdict.camera
    said = words_of(camera_blocks(camera))
    assert said[0].startswith(
        "camera: together with other photographs: 19 points in common with front, side; marks 0."
    )
    assert set(said) <= set(words_of(check_blocks(check_photos(house))))
    assert largest_words(camera).startswith(f"{OFF} 13.")
    assert "px (set aside)" in largest_words(camera)


def test_a_size_says_why_it_is_not_used(report):
    table = sizes_table(report.sizes.sizes)
    assert table.states == ("stop", "stop")
    assert table.rows[0][-1] == f'not used: point "{OFF}" on corner'


def test_a_size_is_drawn_in_metres_or_millimetres():
    assert dimension_words(3660.0, 21.0) == "3.660(21) m"
    assert dimension_words(812.4, 3.0) == "812.4(3.0) mm"


def test_the_drawing_holds_marks_residuals_planes_and_sizes(report):
    front = photo_drawing(report, report.photo("front"))
    assert (front["width"], front["height"]) == (1200, 900)
    assert len(front["points"]) == 19
    (wall,) = front["planes"]
    corners = {tuple(place) for place in wall["outline"]}
    marks = report.photo("front").marks
    assert {marks.point(name).at_px for name in ("nw.foot", "nw.top", "ne.foot", "ne.top")} <= corners
    assert [item["state"] for item in front["sizes"]] == ["stop", "stop"]
    assert front["sizes"][0]["words"].endswith(" m")
    assert {item["words"] for item in front["lengths"]} == {"12 m", "9 m"}
    corner = photo_drawing(report, report.photo("corner"))
    (off,) = [item for item in corner["points"] if item["suspicion"]]
    assert (off["name"], off["is_used"]) == (OFF, False)
    assert off["off_words"].endswith(" px, set aside")
    assert corner["factor"] in FACTORS
    spare = photo_drawing(report, report.photo("spare"))
    assert spare["points"] == []
    assert spare["factor"] == 1


def test_residuals_are_drawn_as_large_as_is_well_seen(report):
    camera = report.photo("front").verdict.camera
    longest = max(item.distance_px for item in camera.residuals if item.is_used)
    factor = best_factor(camera, 1200)
    assert factor * longest <= 72.0 < FACTORS[FACTORS.index(factor) + 1] * longest
    assert best_factor(None, 1200) == 1


def test_the_outline_of_a_plane_is_convex():
    places = sorted([(0.0, 0.0), (4.0, 0.0), (4.0, 3.0), (0.0, 3.0), (2.0, 1.0), (2.0, 3.0), (1.0, 2.0)])
    assert set(convex_outline(places)) == {(0.0, 0.0), (4.0, 0.0), (4.0, 3.0), (0.0, 3.0)}
    assert convex_outline([(1.0, 1.0), (2.0, 2.0)]) == [(1.0, 1.0), (2.0, 2.0)]


def test_a_residual_knows_its_length():
    assert MarkResidual("a", (0.0, 0.0), (3.0, -4.0), None, True).distance_px == pytest.approx(
        math.hypot(3, 4)
    )
