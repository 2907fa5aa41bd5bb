"""What can be measured on a test artefact, and with which instrument."""

from __future__ import annotations

import math

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from dryfit.calc.artefact import Wish, can_be_read, design_body, list_boxes, list_measures
from dryfit.calc.errormodel import measure_arrays, read_lengths
from dryfit.model.artefact import Measure
from dryfit.model.instrument import Instrument
from support.artefacts import (
    CALIPER,
    GRAMS_400,
    LAYER,
    RULE,
    SQUARE,
    TYPICAL,
    UNSHRUNK,
    a_wish,
    height_at,
    is_on,
)


def test_measures_have_a_number_and_an_id_of_their_own() -> None:
    sizes, _, _ = design_body(TYPICAL)
    measures = list_measures(TYPICAL, sizes, LAYER)
    assert [measure.number for measure in measures] == list(range(1, len(measures) + 1))
    assert len({measure.id for measure in measures}) == len(measures)
    assert all(measure.words for measure in measures)


def test_every_kind_is_there_at_several_sizes_in_each_axis() -> None:
    sizes, _, _ = design_body(TYPICAL)
    measures = list_measures(TYPICAL, sizes, LAYER)
    for axis in range(3):
        kinds = ("height",) if axis == 2 else ("outside", "inside", "step", "centres")
        for kind in kinds:
            lengths = {
                round(item.length_mm)
                for item in measures
                if item.kind == kind and item.second[axis] != item.first[axis]
            }
            assert len(lengths) >= (2 if kind == "centres" else 4), (axis, kind)
            assert max(lengths) >= (0.9 if kind != "centres" else 0.5) * sizes.length_x
    for plane in ((0, 1), (0, 2), (1, 2)):
        slants = [
            item
            for item in measures
            if item.kind == "diagonal" and all(item.first[k] != item.second[k] for k in plane)
        ]
        signs = {np.sign(np.prod([item.second[k] - item.first[k] for k in plane])) for item in slants}
        assert signs == {-1.0, 1.0}, plane


def test_a_square_can_be_turned_round_in_both_directions() -> None:
    sizes, _, _ = design_body(TYPICAL)
    squares = [item for item in list_measures(TYPICAL, sizes, LAYER) if item.kind == "square"]
    for figure in (3, 4, 5):
        figures = np.zeros(8)
        figures[figure] = 0.5
        gaps = read_lengths(measure_arrays(squares), figures).values_mm
        assert gaps.max() > 0.5
        assert gaps.min() < -0.5


def test_a_square_stands_off_the_face_that_its_blade_follows() -> None:
    # the gap opens at the tip where the face leans away from `toward`: that way lies air, behind it the body
    sizes, _, _ = design_body(TYPICAL)
    boxes = list_boxes(sizes)
    squares = [item for item in list_measures(TYPICAL, sizes, LAYER) if item.kind == "square"]
    assert len(squares) == 8
    for item in squares:
        assert item.toward is not None
        for end in (item.first, item.second):
            before = [p + 1e-3 * t for p, t in zip(end, item.toward, strict=True)]
            behind = [p - 1e-3 * t for p, t in zip(end, item.toward, strict=True)]
            assert height_at(before, boxes) <= item.first[2] + 1e-9, item
            assert height_at(behind, boxes) >= end[2], item


def test_slanting_diagonals_are_left_to_the_rule() -> None:
    wish = Wish((180.0, 180.0, 180.0), GRAMS_400, 0.4, 300.0, (150.0,))
    sizes, _, _ = design_body(wish)
    slants = [
        item
        for item in list_measures(wish, sizes, LAYER)
        if item.id.startswith(("diagonal-xz", "diagonal-yz"))
    ]
    assert slants
    assert all(item.length_mm < 297.0 for item in slants)
    assert not any(can_be_read(item, CALIPER) for item in slants)
    assert all(can_be_read(item, RULE) for item in slants)


def test_jaws_reach_what_is_laid_out_for_them() -> None:
    sizes, _, _ = design_body(TYPICAL)
    measures = {item.id: item for item in list_measures(TYPICAL, sizes, LAYER)}
    read = {id for id, item in measures.items() if can_be_read(item, CALIPER)}
    assert "outside-x-A-C" not in read  # 498 mm
    assert max(measures[id].length_mm for id in read if id.startswith("outside-x")) > 200.0
    assert max(measures[id].length_mm for id in read if id.startswith("height-A")) > 280.0
    assert not any(id.startswith(("diagonal-xz", "square")) for id in read)
    assert can_be_read(measures["outside-x-A-C"], RULE)
    assert not can_be_read(measures["foot-y-E"], RULE)
    assert can_be_read(measures["foot-y-E"], CALIPER)
    dial = Instrument("dial", "dial indicator", 300.0, 0.01, 0.05)
    stands, lies = measures["square-xz-A-144"], measures["square-xy-A-144"]
    assert can_be_read(stands, dial)
    assert not can_be_read(lies, dial)
    assert can_be_read(lies, SQUARE)
    micrometer = Instrument("micrometer", "micrometer", 100.0, 0.01, 0.005)
    assert can_be_read(measures["width-y-E"], micrometer)
    assert not can_be_read(measures["height-E"], micrometer)


def estimable(measures: list[Measure]) -> bool:
    """Whether the eight figures can be told apart, with the bed's offset unknown as well."""
    rows = read_lengths(measure_arrays(measures), np.zeros(8)).derivatives[:, :9]
    rows = rows / np.maximum(np.linalg.norm(rows, axis=0), 1e-12)
    return bool(np.linalg.svd(rows, compute_uv=False)[-1] > 1e-3)


@settings(max_examples=40, deadline=None, phases=UNSHRUNK)
@given(st.floats(96.0, 1500.0), st.floats(96.0, 1500.0), st.floats(96.0, 1500.0), st.floats(0.35, 1.2))
def test_caliper_rule_and_square_tell_all_figures_apart_on_any_volume(
    x: float, y: float, z: float, line: float
) -> None:
    wish = Wish((x, y, z), GRAMS_400, line, CALIPER.range_mm, (SQUARE.range_mm,))
    sizes, _, _ = design_body(wish)
    measures = list_measures(wish, sizes, LAYER)
    readable = [item for item in measures if any(can_be_read(item, tool) for tool in (CALIPER, RULE, SQUARE))]
    assert estimable(readable)
    # and none without the square where nothing slants is within reach of a caliper
    assert not estimable(
        [item for item in readable if item.kind in ("outside", "inside", "centres", "step", "height")]
    )


@settings(max_examples=40, deadline=None, phases=UNSHRUNK)
@given(a_wish())
def test_ends_of_every_measure_lie_on_the_body(wish: Wish) -> None:
    sizes, _, _ = design_body(wish)
    boxes = list_boxes(sizes)
    for measure in list_measures(wish, sizes, LAYER):
        for point, out in ((measure.first, measure.first_out), (measure.second, measure.second_out)):
            if measure.kind == "centres" or (measure.kind == "diagonal" and not any(out)):
                assert any(math.hypot(post.x - point[0], post.y - point[1]) < 1e-9 for post in sizes.posts), (
                    measure
                )
            elif measure.id.startswith("tread") and point == measure.second:
                # plumb over the lower tread, at the level of the upper one
                assert point[2] in {tread.height for tread in (*sizes.treads_a, *sizes.treads_b)}
            else:
                assert is_on(point, out, boxes), (measure, point)
