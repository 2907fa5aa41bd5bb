"""The sheet: one self-contained document, whose figures and areas are those of the forecast."""

import math
import re
import time
import types
from xml.etree import ElementTree

import numpy as np
import pytest
import shapely
from scipy.stats import norm

from building import forecast, machine, ring, tower
from dryfit.app.drawing import Drawing, draw_sheet
from dryfit.app.drawing_marks import worst_of
from dryfit.model.characteristic import Characteristic
from dryfit.model.forecast import CharacteristicForecast, ForecastReport
from dryfit.view.digits import write_estimate
from dryfit.view.sheet import sheet_svg
from dryfit.view.sheet_dimension import Obstacles, draw_dimension
from dryfit.view.sheet_ink import text_width, wrap
from dryfit.view.sheet_limits import hatch_lines, limits_geometry, limits_picture

SVG = "{http://www.w3.org/2000/svg}"
FAULTY = machine(skew_xy_deg=0.5)


def drawn(assembled, exaggeration: float | None = None) -> tuple[Drawing, ForecastReport]:
    opened = types.SimpleNamespace(project=assembled.project, shapes=assembled.shapes)
    report = forecast(assembled)
    return draw_sheet(opened, assembled.chain, report, exaggeration), report


def item(
    predicted: float,
    std: float,
    lower: float | None,
    upper: float | None,
    p_out: float | None = 0.5,
    name: str = "a",
) -> CharacteristicForecast:
    return CharacteristicForecast(
        name, "gap", "mm", 0.0, predicted, std, predicted - 2 * std, predicted + 2 * std, lower, upper, p_out,
        predicted - 3 * std, predicted + 3 * std, 0.0, (),
    )  # fmt: skip


def texts(svg: str) -> list[str]:
    return [node.text or "" for node in ElementTree.fromstring(svg).iter(f"{SVG}text")]


@pytest.fixture(scope="module")
def sheet() -> tuple[Drawing, ForecastReport, str]:
    drawing, report = drawn(ring(6, FAULTY))
    return drawing, report, sheet_svg(drawing, report, "2026-01-31")


def test_one_document_that_needs_no_other(sheet):
    svg = sheet[2]
    root = ElementTree.fromstring(svg)
    assert root.tag == f"{SVG}svg"
    assert root.get("role") == "img"
    assert root.find(f"{SVG}title").text
    assert root.find(f"{SVG}desc").text
    names = {name for node in root.iter() for name in node.attrib}
    assert not {name for name in names if "href" in name or name == "src"}
    assert "url(" not in svg
    assert "@import" not in svg
    assert re.findall(r"https?://[^\"]*", svg) == ["http://www.w3.org/2000/svg"]


def test_a_name_with_marks_of_the_language_does_no_harm():
    assembled = ring(4, FAULTY).replaced(name='<b>&"ring"', invented=True)
    drawing, report = drawn(assembled)
    assert '<b>&"ring"' in texts(sheet_svg(drawing, report))
    assert any("invented data" in text for text in texts(sheet_svg(drawing, report)))


def test_the_gap_that_is_drawn_is_the_gap_of_the_report(sheet):
    drawing, report, svg = sheet
    gaps = [gap for view in drawing.views for gap in view.dimensions if gap.is_gap]
    stated = report.characteristics[0]
    assert [(gap.id, gap.value, gap.std) for gap in gaps] == [("gap", stated.predicted, stated.std)]
    assert write_estimate(stated.predicted, stated.std) in texts(svg)
    # The ends stand apart by the gap times the exaggeration, to first order in the turning of the faces.
    apart = (gaps[0].ends[1] - gaps[0].ends[0]) @ gaps[0].along
    assert apart == pytest.approx(stated.predicted * drawing.exaggeration, rel=0.02)


def test_the_drawn_gap_grows_with_the_exaggeration_and_its_figure_does_not():
    one, five = (drawn(ring(6, FAULTY), factor)[0] for factor in (1.0, 5.0))
    first, second = (d.views[1].dimensions[0] for d in (one, five))
    assert first.value == second.value
    length = [(gap.ends[1] - gap.ends[0]) @ gap.along for gap in (first, second)]
    assert length[1] == pytest.approx(5.0 * length[0], rel=1e-9)


def test_a_closing_gap_without_limits_says_that_its_spread_is_not_known():
    assembled = ring(6, FAULTY).replaced(characteristics=())
    assembled = assembled.replaced(
        characteristics=(Characteristic("step", "step", joint="j6", direction=[1.0, 0.0, 0.0], upper=0.4),)
    )
    drawing, report = drawn(assembled)
    gap = next(gap for view in drawing.views for gap in view.dimensions if gap.is_gap)
    expected = forecast(ring(6, FAULTY)).characteristics[0].predicted
    assert gap.id == "j6"
    assert gap.std is None
    assert gap.value == pytest.approx(expected, abs=0.05)
    assert "j6, spread not known" in texts(sheet_svg(drawing, report))


def test_a_straight_machine_departs_nowhere_and_is_drawn_in_true_size():
    drawing, report = drawn(ring(6, machine()))
    assert drawing.exaggeration == 1.0
    assert drawing.largest_departure_mm == pytest.approx(0.0, abs=1e-9)
    assert "true size" in texts(sheet_svg(drawing, report))
    for view in drawing.views:
        for part in view.parts:
            nominal = sum(shapely.LineString(points).length for points in part.nominal.lines)
            printed = sum(shapely.LineString(points).length for points in part.printed.lines)
            assert printed == pytest.approx(nominal, rel=1e-6)


def test_the_largest_departure_is_that_of_a_leaning_tower():
    # Closed form: the top of a block of height h that stands fast leans by h tan(skew).
    top = Characteristic("top", "height", parts=("b1",), points_mm=[[0.0, 0.0, 100.0]], direction=[0.0, 0.0, 1.0], upper=100.5)  # fmt: skip  # noqa: E501
    assembled = tower(machine(skew_xz_deg=1.0), (top,), heights_mm=(100.0,))
    drawing, _ = drawn(assembled)
    lean = 100.0 * math.tan(math.radians(1.0))
    assert drawing.largest_departure_mm == pytest.approx(lean, rel=0.03)
    front = drawing.views[0]
    assert front.high[0] - front.low[0] == pytest.approx(80.0 + drawing.exaggeration * lean, rel=0.01)


def test_views_are_aligned_and_at_a_preferred_scale(sheet):
    svg = sheet[2]
    assert "1:10" in texts(svg)
    assert "20:1" not in texts(svg)


@pytest.mark.parametrize(
    ("predicted", "std", "lower", "upper"),
    [
        (0.1, 0.2, -0.1, 0.4), (0.5, 0.1, None, 0.4), (0.5, 0.1, 0.45, None),
        (0.0, 5.0, -0.1, 0.4), (3.0, 0.1, -0.1, 0.4),
    ],
)  # fmt: skip
def test_the_area_out_of_limits_is_the_probability_out(predicted, std, lower, upper):
    # Closed form: the normal distribution, from a general-purpose library.
    wanted = item(predicted, std, lower, upper)
    shape = limits_geometry(wanted, 60.0, 18.0)
    inside = outside = 0.0
    for (x0, y0), (x1, y1) in zip(shape.curve, shape.curve[1:], strict=False):
        area = (x1 - x0) * (shape.base - 0.5 * (y0 + y1))
        if shape.is_outside(0.5 * (x0 + x1)):
            outside += area
        else:
            inside += area
    below = 0.0 if lower is None else norm.cdf(lower, predicted, std)
    above = 0.0 if upper is None else norm.sf(upper, predicted, std)
    assert outside / (inside + outside) == pytest.approx(below + above, abs=0.002)


def test_hatching_stays_out_of_limits_and_under_the_curve():
    shape = limits_geometry(item(0.1, 0.2, -0.1, 0.4), 60.0, 18.0)
    region = shapely.Polygon(
        [(shape.curve[0][0], shape.base), *shape.curve, (shape.curve[-1][0], shape.base)]
    )
    lines = hatch_lines(shape)
    assert lines
    for piece in lines:
        assert all(shape.is_outside(x) for x, _ in piece)
        assert all(region.buffer(0.02).contains(shapely.Point(point)) for point in piece)


@pytest.mark.parametrize("limits", [(-0.1, 0.4), (None, 0.15), (0.15, None), (0.9, None)])
def test_hatching_fills_what_lies_out_of_limits(limits):
    # Against a general-purpose geometry library: each slanting line cut with the area out of limits.
    shape = limits_geometry(item(0.1, 0.2, *limits), 60.0, 18.0)
    area = shapely.Polygon([(shape.curve[0][0], shape.base), *shape.curve, (shape.curve[-1][0], shape.base)])
    beyond = [
        *([shapely.box(-100.0, -100.0, shape.lower, 200.0)] if shape.lower is not None else []),
        *([shapely.box(shape.upper, -100.0, 200.0, 200.0)] if shape.upper is not None else []),
    ]
    outside = area & shapely.union_all(beyond)
    lines = hatch_lines(shape)
    assert lines
    drawn = 0.0
    for (x0, y0), (x1, y1) in lines:
        assert y0 - y1 == pytest.approx(x1 - x0)  # at 45 degrees
        foot = x0 - (shape.base - y0)
        whole = shapely.LineString([(foot, shape.base), (foot + shape.base, 0.0)]) & outside
        assert shapely.LineString([(x0, y0), (x1, y1)]).within(whole.buffer(0.02))
        drawn += math.hypot(x1 - x0, y1 - y0)
    step = 1.1
    cut = sum(
        (shapely.LineString([(f, shape.base), (f + shape.base, 0.0)]) & outside).length
        for f in np.arange(
            math.floor((shape.curve[0][0] - shape.base) / step) * step, shape.curve[-1][0], step
        )
    )
    assert drawn == pytest.approx(cut, abs=0.15 * len(lines))


def test_limits_and_curve_far_apart_are_drawn_with_a_break_at_one_scale():
    shape = limits_geometry(item(20.24, 0.12, -0.1, 0.4), 60.0, 18.0)
    assert shape.break_at is not None
    assert shape.upper < shape.break_at < shape.curve[0][0]
    per_mm = (shape.upper - shape.lower) / 0.5
    assert shape.to_x(20.34) - shape.to_x(20.24) == pytest.approx(0.1 * per_mm, rel=1e-9)
    mirrored = limits_geometry(item(-20.24, 0.12, -0.4, 0.1), 60.0, 18.0)
    assert mirrored.curve[-1][0] < mirrored.break_at < mirrored.lower


@pytest.mark.parametrize(
    "case",
    [item(0.0, 0.0, 0.0, 0.0), item(1.0, 0.0, None, None), item(9.0, 0.0, -0.1, 0.4), item(0.2, 0.1, -0.1, 0.4, None)],
)  # fmt: skip
def test_degenerate_predictions_are_pictured_without_a_curve(case):
    picture = limits_picture(case, 0.05, 60.0, 18.0)
    ElementTree.fromstring(picture)
    assert "lim-curve" not in picture
    assert "nan" not in picture


def test_everything_of_a_limits_picture_stays_in_its_box():
    for case in (item(20.0, 0.1, -0.1, 0.4), item(0.0, 5.0, -0.1, 0.4), item(0.5, 0.1, None, 0.4)):
        shape = limits_geometry(case, 60.0, 18.0)
        assert all(0.0 <= x <= 60.0 and 0.0 <= y <= 18.0 for x, y in shape.curve)
        assert all(0.0 <= x <= 60.0 for x in (shape.lower, shape.upper) if x is not None)


def test_the_worst_is_the_likeliest_out_and_then_the_farthest():
    def report(*items: CharacteristicForecast) -> ForecastReport:
        return ForecastReport("t", 0.05, items, (), (), "a", (), (), (), "0", "")

    near, far = item(1.0, 0.1, -0.1, 0.4, 1.0, "near"), item(20.0, 0.1, -0.1, 0.4, 1.0, "far")
    unknown = item(0.0, 0.1, -0.1, 0.4, None, "unknown")
    assert worst_of(report(near, far, unknown)) == "far"
    assert worst_of(report(unknown)) is None
    assert worst_of(report()) is None


def test_what_does_not_fit_is_counted():
    assembled = ring(4, FAULTY)
    many = tuple(Characteristic(f"gap-{k}", "gap", joint="j4", lower=-0.1, upper=0.4) for k in range(40))
    drawing, report = drawn(assembled.replaced(characteristics=many))
    said = texts(sheet_svg(drawing, report))
    shown = [text for text in said if text in {entry.id for entry in many}]
    rest = next(text for text in said if text.startswith("and") and "do not go on this sheet" in text)
    assert f"and {40 - len(set(shown))} more" in rest


def test_labels_of_two_gaps_at_one_place_keep_apart():
    obstacles = Obstacles((0.0, 0.0, 200.0, 200.0))
    boxes = []
    for value in ("20.2(12)", "3.14(43)", "0.02(43)"):
        draw_dimension([(100, 100), (100, 101)], (0.0, 1.0), (50, 100), value, "gap", False, obstacles)
        boxes.append(obstacles._labels[-1])
    for k, box in enumerate(boxes):
        for other in boxes[:k]:
            assert box.intersection(other).area == pytest.approx(0.0, abs=1e-9)


def test_wrapped_lines_are_no_wider_than_asked():
    text = "The ring will not close: 20.2 mm against 0.4. " * 6
    lines = wrap(text, 3.0, 120.0, 3)
    assert len(lines) == 3
    assert lines[-1].endswith("...")
    assert all(text_width(line, 3.0) <= 120.0 for line in lines)


def test_sixty_parts_stay_small_and_quick():
    drawing_start = time.perf_counter()
    drawing, report = drawn(ring(60, FAULTY))
    svg = sheet_svg(drawing, report)
    assert len(svg.encode()) < 500_000
    # Generous for a busy machine; measured 0.6 s with the forecast.
    assert time.perf_counter() - drawing_start < 20.0
