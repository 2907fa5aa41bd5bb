"""The pictures of walls and features: strokes and words lie where the figures say."""

import re
import xml.etree.ElementTree as ET

import numpy as np
import pytest

from dryfit.app.view_walls import WallBars, WallScale, WidthMark
from dryfit.base.estimate import Estimate
from dryfit.model.finding import MeasuredFeature
from dryfit.view.feature_limits import feature_picture
from dryfit.view.walls import tick_words, wall_picture, wall_summary

SCALE = WallScale(0.5, 8.0, (0.5, 1.0, 2.0, 5.0, 8.0))
BARS = WallBars(np.geomspace(0.5, 8.0, 5), np.array([0.0, 300.0, 100.0, 0.0]), 100.0)
MARKS = (WidthMark(1, 0.45), WidthMark(2, 0.5), WidthMark(4, 0.5))
NOMINAL = Estimate(20.0, 0.05)


def feature(measured=20.0, lower=19.8, upper=20.2, nominal=NOMINAL):
    return MeasuredFeature(
        "f",
        "distance",
        ("a",),
        "mm",
        "pass",
        "",
        measured=measured,
        nominal=nominal,
        lower=lower,
        upper=upper,
    )


def strokes(picture, name):
    return [
        [float(x) for x in re.findall(r"[-\d.]+", path)]
        for path in re.findall(rf'class="{name}" d="([^"]+)"', picture)
    ]


def test_bars_are_as_tall_as_their_area_and_as_wide_as_their_interval():
    picture = ET.fromstring(wall_picture(BARS, SCALE, MARKS, "area by thickness"))
    bars = [rect for rect in picture.iter("rect") if rect.get("class") == "area"]
    assert len(bars) == 2
    heights = [float(bar.get("height")) for bar in bars]
    assert heights[0] == pytest.approx(3.0 * heights[1], rel=0.01)
    # Two doublings out of four: each interval takes a quarter of the scale.
    assert float(bars[1].get("x")) - float(bars[0].get("x")) == pytest.approx((560.0 - 24.0) / 4, abs=0.02)
    assert bars[0].find("title").text == "1 to 2 mm: 3 cm2, 60 %"
    assert picture.get("aria-label") == "area by thickness"


def test_the_limit_marks_stand_at_their_thickness():
    picture = wall_picture(BARS, SCALE, MARKS, "x")
    places = [stroke[0] for stroke in strokes(picture, "limit")]
    # 1 mm and 2 mm are one and two doublings of four from 0.5 mm; 0.45 lies before the scale and stands at its end.
    assert places == pytest.approx([12.0, 12.0 + 536.0 / 4, 12.0 + 536.0 / 2], abs=0.02)


def test_the_last_tick_stands_for_all_above_it():
    assert [tick_words(tick, SCALE) for tick in SCALE.ticks_mm] == ["0.5", "1", "2", "5", "8+"]


def test_the_summary_says_what_bounds_no_wall_and_what_is_marked():
    words = wall_summary(BARS, "Walls of post", MARKS[1:])
    assert words.startswith("Walls of post: 80 % of the surface bounds walls; nothing faces the rest.")
    assert "2 x 0.5, 4 x 0.5 mm" in words
    assert "No extrusion width is stated" in wall_summary(BARS, "Walls of post", ())


def test_a_value_in_the_middle_of_its_limits_stands_in_the_middle():
    picture = feature_picture(feature(), 52.0, 13.0)
    (stroke,) = strokes(picture, "lim-value")
    assert stroke[0] == pytest.approx(26.0)
    ticks = [s[0] for s in strokes(picture, "lim-axis") if s[0] == s[2]]
    assert ticks[0] + ticks[1] == pytest.approx(52.0)
    assert "20 mm in the mesh, limits 19.8 to 20.2 mm: pass" in picture


@pytest.mark.parametrize(("measured", "is_right"), [(36.5, True), (3.0, False)])
def test_a_value_far_off_stands_behind_a_break_on_its_side(measured, is_right):
    picture = feature_picture(feature(measured), 52.0, 13.0)
    (stroke,) = strokes(picture, "lim-value")
    ticks = [s[0] for s in strokes(picture, "lim-axis") if s[0] == s[2]]
    assert (stroke[0] > max(ticks)) is is_right
    assert (stroke[0] < min(ticks)) is not is_right
    assert 0.0 < stroke[0] < 52.0


def test_a_value_just_outside_is_drawn_to_scale():
    picture = feature_picture(feature(20.3), 52.0, 13.0)
    (stroke,) = strokes(picture, "lim-value")
    low, high = sorted(s[0] for s in strokes(picture, "lim-axis") if s[0] == s[2])
    assert 0.0 < low < high < stroke[0] < 52.0
    assert (stroke[0] - low) / (high - low) == pytest.approx(0.5 / 0.4, rel=0.01)


def test_one_limit_and_none():
    assert len(strokes(feature_picture(feature(0.0, None, 0.2, None), 52.0, 13.0), "lim-value")) == 1
    assert feature_picture(feature(lower=None, upper=None), 52.0, 13.0) == ""
    assert feature_picture(feature(None), 52.0, 13.0) == ""
