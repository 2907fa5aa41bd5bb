"""What is read off a printed artefact: closed forms, signs and derivatives."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dryfit.calc.errormodel import UNKNOWNS, MeasureArrays, machine_gain, measure_arrays, read_lengths
from dryfit.model.artefact import Measure

X, Y, Z = (1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)


def back(direction: tuple[float, float, float]) -> tuple[float, float, float]:
    return (-direction[0], -direction[1], -direction[2])


def outside(axis: tuple[float, float, float], length: float, low: bool = False) -> Measure:
    far = (axis[0] * length, axis[1] * length, axis[2] * length)
    level = axis if axis[2] == 0 else (0.0, 0.0, 0.0)
    return Measure(1, "o", "outside", "faces", (0, 0, 0), far, back(level), level, low, low)


def inside(axis: tuple[float, float, float], length: float) -> Measure:
    far = (axis[0] * length, axis[1] * length, axis[2] * length)
    return Measure(1, "i", "inside", "faces", (0, 0, 0), far, axis, back(axis))


def centres(first: tuple[float, float, float], second: tuple[float, float, float]) -> Measure:
    return Measure(1, "c", "centres", "points", first, second)


def square(
    blade: tuple[float, float, float], stock: tuple[float, float, float], height: float = 100.0
) -> Measure:
    tip = (blade[0] * height, blade[1] * height, blade[2] * height)
    return Measure(1, "s", "square", "points", (0, 0, 0), tip, toward=stock)


def figures(**named: float) -> np.ndarray:
    vector = np.zeros(10)
    for name, value in named.items():
        vector[UNKNOWNS.index(name)] = value
    return vector


def read(measure: Measure, **named: float) -> float:
    unknown = figures(**named)
    return float(read_lengths(measure_arrays([measure]), unknown[:8], *unknown[8:]).values_mm[0])


# ---- closed forms ------------------------------------------------------------------------------------------


def test_a_perfect_machine_prints_what_was_commanded() -> None:
    assert read(outside(X, 250.0)) == 250.0
    assert read(inside(Y, 40.0)) == 40.0
    assert read(centres((1.0, 2.0, 3.0), (4.0, 6.0, 15.0))) == pytest.approx(13.0)
    assert read(square(Z, X)) == 0.0


@pytest.mark.parametrize(("axis", "name"), [(X, "scale_x"), (Y, "scale_y"), (Z, "scale_z")])
def test_a_scale_lengthens_its_own_axis_alone(axis: tuple[float, float, float], name: str) -> None:
    assert read(outside(axis, 250.0), **{name: 0.002}) == pytest.approx(250.5)
    for other in {X, Y, Z} - {axis}:
        assert read(outside(other, 250.0), **{name: 0.002}) == pytest.approx(250.0)


def test_an_offset_grows_outside_lengths_and_shrinks_inside_ones() -> None:
    assert read(outside(X, 50.0), boundary_offset_mm=0.1) == pytest.approx(50.2)
    assert read(inside(X, 50.0), boundary_offset_mm=0.1) == pytest.approx(49.8)
    assert read(centres((0, 0, 0), (50.0, 0, 0)), boundary_offset_mm=0.1) == 50.0


def test_an_offset_leaves_a_step_between_like_faces_alone() -> None:
    step = Measure(1, "s", "step", "faces", (0, 0, 0), (80.0, 0, 0), X, X)
    assert read(step, boundary_offset_mm=0.1) == 80.0


def test_an_offset_moves_the_mitre_of_a_corner_by_each_face() -> None:
    # corner to corner of a plate a x b: both faces of each corner move out by d
    a, b, d = 300.0, 400.0, 0.1
    diagonal = Measure(1, "d", "diagonal", "points", (0, 0, 0), (a, b, 0), (-1, -1, 0), (1, 1, 0))
    assert read(diagonal, boundary_offset_mm=d) == pytest.approx(math.hypot(a + 2 * d, b + 2 * d), abs=1e-12)


def test_the_flare_acts_on_low_ends_alone() -> None:
    assert read(outside(X, 50.0, low=True), first_layer_flare_mm=0.2) == pytest.approx(50.4)
    assert read(outside(X, 50.0), first_layer_flare_mm=0.2) == 50.0
    one_low = Measure(1, "o", "outside", "faces", (0, 0, 0), (50.0, 0, 0), back(X), X, True, False)
    assert read(one_low, first_layer_flare_mm=0.2) == pytest.approx(50.2)


def test_shrinkage_makes_every_length_smaller_and_no_angle() -> None:
    assert read(outside(Z, 200.0), shrinkage=0.003) == pytest.approx(199.4)
    assert read(centres((0, 0, 0), (30.0, 40.0, 0)), shrinkage=0.003) == pytest.approx(49.85)
    assert read(square(Z, X), skew_xz_deg=0.5, shrinkage=0.003) == read(square(Z, X), skew_xz_deg=0.5)


def test_the_bed_enters_only_heights_from_the_underside() -> None:
    height = Measure(1, "h", "height", "faces", (0, 0, 0), (0, 0, 80.0), from_bed=True)
    assert read(height, bed_offset_mm=0.07) == pytest.approx(80.07)
    assert read(outside(Z, 80.0), bed_offset_mm=0.07) == 80.0


def test_faces_of_a_leaning_block_stand_closer_by_the_cosine() -> None:
    # a block that leans toward +X keeps its level width; across its faces it is thinner by cos(lean)
    lean = 2.0
    assert read(outside(X, 50.0), skew_xz_deg=lean) == pytest.approx(50.0 * math.cos(math.radians(lean)))
    assert read(outside(Z, 50.0), skew_xz_deg=lean) == pytest.approx(50.0)


def test_faces_are_read_along_their_printed_normal() -> None:
    # independent: the plane through three printed points of each face
    gain = machine_gain(np.array([0.01, -0.02, 0.015, 3.0, -2.0, 4.0]))
    corners = np.array([[0, 0, 0], [0, 30.0, 0], [0, 0, 20.0]]) @ gain.T
    normal = np.cross(corners[1] - corners[0], corners[2] - corners[0])
    normal /= np.linalg.norm(normal)
    expected = abs(normal @ (gain @ [60.0, 0, 0]))
    assert read(
        outside(X, 60.0), scale_x=0.01, scale_y=-0.02, scale_z=0.015,
        skew_xy_deg=3.0, skew_xz_deg=-2.0, skew_yz_deg=4.0,
    ) == pytest.approx(expected, abs=1e-12)  # fmt: skip


# ---- the sign of a square ----------------------------------------------------------------------------------


@pytest.mark.parametrize(("name", "along"), [("skew_xz_deg", X), ("skew_yz_deg", Y)])
def test_a_print_that_leans_toward_the_stock_closes_the_gap_at_the_tip(
    name: str, along: tuple[float, float, float]
) -> None:
    # leaning toward the stock: less than 90 degrees: negative, the gap is at the heel
    expected = 100.0 * math.tan(math.radians(0.5))
    assert read(square(Z, along), **{name: 0.5}) == pytest.approx(-expected)
    assert read(square(Z, back(along)), **{name: 0.5}) == pytest.approx(expected)


def test_the_gap_is_the_departure_of_the_printed_angle_from_90_degrees() -> None:
    # ISO 230-1:2012, 3.6.7 (memory of its sign): positive where the angle is larger than 90 degrees
    unknown = figures(scale_x=0.01, scale_y=-0.02, skew_xy_deg=3.0, skew_xz_deg=2.0, skew_yz_deg=-1.0)
    gain = machine_gain(unknown[:6])
    for blade, stock in ((Y, X), (Z, back(X)), (Z, Y), (X, back(Y))):
        b, t = gain @ blade, gain @ stock
        angle = math.acos(b @ t / np.linalg.norm(b) / np.linalg.norm(t))
        gap = float(read_lengths(measure_arrays([square(blade, stock)]), unknown[:8]).values_mm[0])
        assert gap == pytest.approx(100.0 * math.tan(angle - math.pi / 2), abs=1e-9)
        assert (gap > 0) == (angle > math.pi / 2)


def test_turning_a_square_round_turns_the_sign_of_its_gap() -> None:
    lean = {"skew_xz_deg": 0.3, "scale_z": 0.004}
    assert read(square(Z, X), **lean) == pytest.approx(-read(square(Z, back(X)), **lean))


# ---- refusals ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "measure",
    [
        Measure(1, "same", "outside", "faces", (1, 2, 3), (1, 2, 3)),
        Measure(1, "edges", "outside", "edges", (0, 0, 0), (1, 0, 0)),
        Measure(1, "no stock", "square", "points", (0, 0, 0), (0, 0, 9)),
        Measure(1, "stock along blade", "square", "points", (0, 0, 0), (0, 0, 9), toward=(0, 0, 1)),
    ],
    ids=lambda measure: measure.id,
)
def test_a_measure_without_a_meaning_is_refused(measure: Measure) -> None:
    with pytest.raises(ValueError, match=measure.id):
        measure_arrays([measure])


def test_no_measures_give_no_values() -> None:
    lengths = read_lengths(measure_arrays([]), np.zeros(8))
    assert lengths.values_mm.shape == (0,)
    assert lengths.derivatives.shape == (0, 10)


# ---- derivatives -------------------------------------------------------------------------------------------

coordinate = st.floats(-400.0, 400.0)
point = st.tuples(coordinate, coordinate, coordinate)
direction = st.tuples(st.floats(-1.0, 1.0), st.floats(-1.0, 1.0), st.floats(-1.0, 1.0)).filter(
    lambda d: np.linalg.norm(d) > 0.2
)
fault = st.tuples(
    *[st.floats(-0.02, 0.02)] * 3,
    *[st.floats(-3.0, 3.0)] * 3,
    *[st.floats(-0.3, 0.3)] * 3,
    st.floats(-0.01, 0.01),
)


@st.composite
def a_measure(draw: st.DrawFn) -> Measure:
    first, along = np.array(draw(point)), np.array(draw(direction))
    second = first + draw(st.floats(20.0, 500.0)) * along / np.linalg.norm(along)
    kind = draw(st.sampled_from(["outside", "centres", "square"]))
    toward = np.array(draw(direction))
    if kind == "square" and np.linalg.norm(np.cross(along, toward)) < 0.2:
        toward = np.cross(along, [1.0, 0.0, 0.0]) + np.cross(along, [0.0, 1.0, 0.0])
    level = [tuple(np.r_[draw(direction)[:2], 0.0]) for _ in range(2)]
    return Measure(
        1, "m", kind, draw(st.sampled_from(["faces", "points"])), tuple(first), tuple(second),
        level[0], level[1], draw(st.booleans()), draw(st.booleans()),
        tuple(toward) if kind == "square" else None, draw(st.booleans()),
    )  # fmt: skip


def differences(measures: MeasureArrays, at: np.ndarray) -> np.ndarray:
    """Central differences, (n, 10)."""
    steps = np.array([1e-5] * 3 + [1e-3] * 3 + [1e-2] * 3 + [1e-5])
    columns = []
    for step, unit in zip(steps, np.eye(10), strict=True):
        up, down = at + step * unit, at - step * unit
        high = read_lengths(measures, up[:8], up[8], up[9]).values_mm
        low = read_lengths(measures, down[:8], down[8], down[9]).values_mm
        columns.append((high - low) / (2 * step))
    return np.stack(columns, axis=1)


@settings(max_examples=150, deadline=None)
@given(st.lists(a_measure(), min_size=1, max_size=6), fault)
def test_derivatives_are_the_slopes_of_the_values(
    measures: list[Measure], unknown: tuple[float, ...]
) -> None:
    arrays, at = measure_arrays(measures), np.array(unknown)
    lengths = read_lengths(arrays, at[:8], at[8], at[9])
    assert lengths.derivatives == pytest.approx(differences(arrays, at), rel=1e-5, abs=1e-4)


@settings(max_examples=50, deadline=None)
@given(st.lists(a_measure(), min_size=2, max_size=6), fault)
def test_each_measure_is_read_as_if_it_were_alone(
    measures: list[Measure], unknown: tuple[float, ...]
) -> None:
    at = np.array(unknown)
    together = read_lengths(measure_arrays(measures), at[:8], at[8], at[9])
    for index, measure in enumerate(measures):
        alone = read_lengths(measure_arrays([measure]), at[:8], at[8], at[9])
        assert together.values_mm[index] == pytest.approx(alone.values_mm[0], abs=1e-12)
        assert together.derivatives[index] == pytest.approx(alone.derivatives[0], abs=1e-9)


def test_rows_of_arrays_are_the_arrays_of_those_measures() -> None:
    measures = [outside(X, 50.0, low=True), square(Z, X), centres((0, 0, 0), (3.0, 4.0, 0))]
    chosen = measure_arrays(measures).rows(np.array([2, 0, 2]))
    again = measure_arrays([measures[2], measures[0], measures[2]])
    at = figures(scale_x=0.01, boundary_offset_mm=0.1, first_layer_flare_mm=0.05)[:8]
    assert read_lengths(chosen, at).values_mm == pytest.approx(read_lengths(again, at).values_mm)
