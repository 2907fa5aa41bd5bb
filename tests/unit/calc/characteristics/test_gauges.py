"""Gauges against closed forms, and their first-order weights against differences of their exact values."""

import math

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from dryfit.base.arrays import Array
from dryfit.base.errors import ComputationRefused
from dryfit.calc.characteristics import FaceRows, Gauge, PartFrame, ProbeRows, build_gauge, face_centroid
from dryfit.model.characteristic import Characteristic
from dryfit.model.contacts import ON_GROUND

X, Y, Z = np.eye(3)
CORNERS = np.array([[-10.0, -20, 0], [10, -20, 0], [10, 20, 0], [-10, 20, 0]])
BOX = np.array([[x, y, z] for x in (-30.0, 30.0) for y in (-5.0, 5.0) for z in (0.0, 80.0)])
FRAMES = {
    "a": PartFrame(0, np.array([0.0, 0.0, 40.0]), BOX),
    "b": PartFrame(1, np.array([0.0, 0.0, 40.0]), BOX),
    "ground": PartFrame(ON_GROUND, np.zeros(3), np.vstack([np.eye(3), -np.eye(3)])),
}


def face(normal: Array = Z, apart: float = 0.0) -> FaceRows:
    shifted = CORNERS + apart * normal
    return FaceRows(np.arange(4), 0, 1, CORNERS, shifted, np.tile(normal, (4, 1)))


def built(wanted: Characteristic, joint: FaceRows | None = None) -> tuple[Gauge, ProbeRows]:
    return build_gauge(wanted, 4, joint, FRAMES)


def read(gauge: Gauge, first: Array, second: Array, turn: Array | None = None) -> float:
    return gauge.evaluate(first, second, np.eye(3) if turn is None else turn)


def test_a_gap_is_the_mean_separation() -> None:
    gauge, probes = built(Characteristic("g", "gap", joint="j"), face(apart=0.2))
    assert gauge.nominal == pytest.approx(0.2)
    assert len(probes.first) == 0
    raised = CORNERS + np.outer([0.1, 0.2, 0.3, 0.8], Z)
    assert read(gauge, CORNERS, raised) == pytest.approx(0.35)
    assert gauge.weights == pytest.approx(np.full((1, 4), 0.25))
    assert gauge.rows.tolist() == [0, 1, 2, 3]


def test_a_gap_turns_with_the_first_part() -> None:
    gauge, _ = built(Characteristic("g", "gap", joint="j"), face())
    turn = Rotation.from_euler("x", 30, degrees=True).as_matrix()
    assert gauge.carrier == 0
    assert read(gauge, CORNERS @ turn.T, (CORNERS + 0.3 * Z) @ turn.T, turn) == pytest.approx(0.3)


@pytest.mark.parametrize(("axis", "sign"), [(Y, 1.0), (-Y, -1.0)])
def test_a_taper_opens_toward_axis_cross_normal(axis: Array, sign: float) -> None:
    gauge, _ = built(Characteristic("t", "taper", joint="j", direction=axis), face())
    # y x z = x: the gap grows from 0 at x = -10 to 0.2 at x = 10
    opened = CORNERS + np.outer([0.0, 0.2, 0.2, 0.0], Z)
    assert read(gauge, CORNERS, opened) == pytest.approx(sign * math.degrees(math.atan(0.2 / 20.0)))
    assert gauge.unit == "deg"
    assert float(gauge.weights[0] @ [0.0, 0.2, 0.2, 0.0]) == pytest.approx(sign * math.degrees(0.01))


def test_a_taper_about_the_other_axis_does_not_see_it() -> None:
    gauge, _ = built(Characteristic("t", "taper", joint="j", direction=X), face())
    opened = CORNERS + np.outer([0.0, 0.2, 0.2, 0.0], Z)
    assert read(gauge, CORNERS, opened) == pytest.approx(0.0, abs=1e-12)


def test_a_step_is_the_shift_of_the_second_part_along_the_direction() -> None:
    gauge, probes = built(Characteristic("s", "step", joint="j", direction=X), face())
    assert probes.p_first == pytest.approx(np.zeros((1, 3)))
    assert (probes.first.tolist(), probes.second.tolist(), gauge.rows.tolist()) == ([0], [1], [4])
    middle = np.zeros((1, 3))
    assert read(gauge, middle, middle + np.array([0.3, 0.4, 0.5])) == pytest.approx(0.3)
    assert read(gauge, middle, middle + np.array([0.3, 0.4, 0.5]), np.array([-Y, X, Z]).T) == pytest.approx(
        -0.4
    )


def test_a_direction_out_of_the_plane_of_the_face_is_refused() -> None:
    lean = (X + 0.2 * Z) / math.hypot(1.0, 0.2)
    with pytest.raises(ComputationRefused, match=r"leans 11\.3 degrees"):
        built(Characteristic("s", "step", joint="j", direction=lean), face())


def test_a_step_at_a_curved_face_is_refused() -> None:
    curved = FaceRows(np.arange(4), 0, 1, CORNERS, CORNERS, np.array([X, -X, Z, Z]))
    with pytest.raises(ComputationRefused, match="curved"):
        built(Characteristic("s", "step", joint="j", direction=Y), curved)


def test_a_taper_without_spread_is_refused() -> None:
    narrow = CORNERS * [0.0, 1.0, 1.0]
    row = FaceRows(np.arange(4), 0, 1, narrow, narrow, np.tile(Z, (4, 1)))
    with pytest.raises(ComputationRefused, match="do not spread"):
        built(Characteristic("t", "taper", joint="j", direction=Y), row)


def test_a_distance_is_straight_or_along_a_direction() -> None:
    points = np.array([[0.0, 0, 0], [30, 40, 0]])
    straight, _ = built(Characteristic("d", "distance", parts=("a", "b"), points_mm=points))
    along, _ = built(Characteristic("d", "distance", parts=("a", "b"), points_mm=points, direction=Y))
    moved = points[1:] + np.array([0.0, 0.0, 120.0])
    assert (straight.nominal, read(straight, points[:1], moved)) == pytest.approx((50.0, 130.0))
    assert (along.nominal, read(along, points[:1], moved)) == pytest.approx((40.0, 40.0))


def test_a_distance_between_coinciding_points_needs_a_direction() -> None:
    same = np.zeros((2, 3))
    with pytest.raises(ComputationRefused, match="coincide"):
        built(Characteristic("d", "distance", parts=("a", "b"), points_mm=same))
    gauge, _ = built(Characteristic("d", "distance", parts=("a", "b"), points_mm=same, direction=Z))
    assert gauge.nominal == 0.0


def test_a_height_of_one_point_is_over_the_ground_and_of_two_between_them() -> None:
    top = np.array([[1.0, 2.0, 80.0]])
    single, probes = built(Characteristic("h", "height", parts=("a",), points_mm=top, direction=Z))
    assert (single.nominal, probes.first.tolist(), probes.second.tolist()) == (80.0, [ON_GROUND], [0])
    both = np.array([[9.0, 9.0, 30.0], [1.0, 2.0, 80.0]])
    pair, probes = built(Characteristic("h", "height", parts=("b", "a"), points_mm=both, direction=Z))
    assert (pair.nominal, probes.first.tolist(), probes.second.tolist()) == (50.0, [1], [0])


def test_angle_and_squareness_of_two_axes() -> None:
    axes = np.array([X, Z])
    angle, probes = built(Characteristic("a", "angle", parts=("a", "b"), axes=axes))
    square, _ = built(Characteristic("q", "squareness", parts=("a", "b"), axes=axes))
    assert (angle.nominal, square.nominal) == pytest.approx((90.0, 0.0))
    # read over the length of the part along its axis: 60 along x, 80 along z
    ends = probes.p_second
    assert np.linalg.norm(ends[1] - ends[0]) == pytest.approx(60.0)
    assert np.linalg.norm(ends[3] - ends[2]) == pytest.approx(80.0)
    # the upright leans toward +x by half a degree: the angle closes
    leaning = ends.copy()
    leaning[3] += 80.0 * math.tan(math.radians(0.5)) * X
    assert read(angle, ends, leaning) == pytest.approx(89.5, abs=1e-12)
    assert read(square, ends, leaning) == pytest.approx(-0.5, abs=1e-12)


def test_the_length_along_an_axis_turns_with_the_part() -> None:
    turn = Rotation.from_rotvec([0.3, 0.2, -0.9]).as_matrix()
    turned = PartFrame(0, np.zeros(3), BOX @ turn.T)
    assert turned.length_along(turn @ X) == pytest.approx(60.0)


def test_parallel_axes_are_refused() -> None:
    with pytest.raises(ComputationRefused, match="parallel"):
        built(Characteristic("a", "angle", parts=("a", "b"), axes=np.array([X, X])))


def test_a_diameter_of_points_on_a_circle() -> None:
    angle = np.radians([10.0, 100.0, 190.0, 250.0, 300.0])
    turn = Rotation.from_rotvec([0.7, -0.2, 0.1]).as_matrix()
    points = np.column_stack([25 * np.cos(angle), 25 * np.sin(angle), 0 * angle]) @ turn.T + [1.0, 2.0, 3.0]
    gauge, probes = built(Characteristic("d", "diameter", parts=("a",) * 5, points_mm=points))
    assert gauge.nominal == pytest.approx(50.0)
    outward = (points - [1.0, 2.0, 3.0]) / 25.0
    assert probes.direction == pytest.approx(outward)
    assert read(gauge, points, points + 0.1 * outward) == pytest.approx(50.2)
    assert read(gauge, points, points + np.array([3.0, 1.0, -2.0])) == pytest.approx(50.0)


def test_points_on_a_line_make_no_circle_and_no_plane() -> None:
    line = np.outer([0.0, 1.0, 2.0, 5.0], X)
    for kind, what in (("diameter", "spread round"), ("flatness", "spread over")):
        with pytest.raises(ComputationRefused, match=what):
            built(Characteristic("d", kind, parts=("a",) * 4, points_mm=line))  # type: ignore[arg-type]


def test_a_flatness_reads_the_residuals_of_its_points() -> None:
    gauge, probes = built(Characteristic("f", "flatness", parts=("a",) * 4, points_mm=CORNERS))
    assert gauge.is_range
    assert gauge.nominal == pytest.approx(0.0, abs=1e-12)
    assert np.abs(probes.direction) == pytest.approx(np.tile(Z, (4, 1)))
    # four corners have one residual: the twist, a quarter of +z1 -z2 +z3 -z4 at each
    twist = np.array([1.0, -1.0, 1.0, -1.0])
    assert gauge.weights == pytest.approx(np.outer(twist, twist) / 4.0, abs=1e-12)
    assert read(gauge, CORNERS, CORNERS + np.outer([0.4, 0, 0, 0], Z)) == pytest.approx(0.2, rel=1e-3)


WANTED = {
    "gap": Characteristic("c", "gap", joint="j"),
    "taper": Characteristic("c", "taper", joint="j", direction=Y),
    "step": Characteristic("c", "step", joint="j", direction=X),
    "distance": Characteristic(
        "c", "distance", parts=("a", "b"), points_mm=np.array([[0.0, 1, 2], [30, 40, 5]])
    ),
    "height": Characteristic("c", "height", parts=("a",), points_mm=np.array([[1.0, 2, 80]]), direction=Z),
    "angle": Characteristic("c", "angle", parts=("a", "b"), axes=np.array([X, (X + 2 * Z) / math.sqrt(5)])),
    "squareness": Characteristic("c", "squareness", parts=("a", "b"), axes=np.array([X, Z])),
    "diameter": Characteristic(
        "c",
        "diameter",
        parts=("a",) * 4,
        points_mm=np.array([[20.0, 0, 0], [0, 20, 0], [-20, 0, 0], [16, -12, 0]]),
    ),
}


@pytest.mark.parametrize("kind", WANTED)
def test_weights_are_the_derivatives_of_the_exact_value(kind: str) -> None:
    joint = face(apart=0.3)
    gauge, probes = built(WANTED[kind], joint)
    if len(probes.first):
        first, second, direction = probes.p_first, probes.p_second, probes.direction
    else:
        first, second, direction = joint.points_on_first, joint.points_on_second, joint.normals
    step = 1e-5
    for row in range(len(direction)):
        bump = np.zeros_like(second)
        bump[row] = step * direction[row]
        slope = (read(gauge, first, second + bump) - read(gauge, first, second - bump)) / (2 * step)
        assert gauge.weights[0, row] == pytest.approx(slope, rel=1e-6, abs=1e-8)


def test_the_centroid_of_a_face_is_that_of_its_polygon() -> None:
    # a corner stated twice and a triangle: the centroid of area, not the mean of points
    triangle = np.array([[0.0, 0, 0], [30, 0, 0], [0, 30, 0], [15, 15, 0]])
    assert face_centroid(triangle, Z) == pytest.approx([10.0, 10.0, 0.0])
    assert face_centroid(triangle[:2], Z) == pytest.approx([15.0, 0.0, 0.0])
    assert face_centroid(np.outer([0.0, 1.0, 5.0], X), Z) == pytest.approx([2.0, 0.0, 0.0])
