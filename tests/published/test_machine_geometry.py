"""Machine geometry from lengths: face diagonals, body diagonals, edges of a tetrahedron (closed forms)."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import least_squares
from scipy.spatial.transform import Rotation

from dryfit.calc.errormodel import machine_gain
from published.registry import check

DIAGONALS = "Squareness from two diagonals, parallelogram law"
BODY = "Body diagonals, worked example"
EDGES = "Six edges of a tetrahedron"


def rhomboid(a: float, b: float, lean_deg: float) -> tuple[float, float]:
    """Printed diagonals (d1, d2) of a face whose printed sides are a and b, leaning by lean_deg.

    A machine that leans without stretching the upright side needs tan(sxy) = sin(lean), 1 + ey = cos(lean).
    """
    lean = math.radians(lean_deg)
    figures = [0.0, math.cos(lean) - 1.0, 0.0, math.degrees(math.atan(math.sin(lean))), 0.0, 0.0]
    gain = machine_gain(np.array(figures))
    long, short = gain @ np.array([a, b, 0.0]), gain @ np.array([a, -b, 0.0])
    return float(np.linalg.norm(long)), float(np.linalg.norm(short))


def test_diagonals_of_a_square() -> None:
    d1, d2 = rhomboid(100.0, 100.0, 0.1)
    check(DIAGONALS, "d1, 100 x 100, 0.1 deg", 141.544715787337, d1, 1e-11, seen=False, unit="mm")
    check(DIAGONALS, "d2, 100 x 100, 0.1 deg", 141.297888988767, d2, 1e-11, seen=False, unit="mm")
    check(DIAGONALS, "d1^2 + d2^2", 2.0 * (100.0**2 + 100.0**2), d1**2 + d2**2, 1e-8, seen=False, unit="mm2")


def test_squareness_of_a_plate() -> None:
    # 500.20 and 499.80 over 400 x 300 mean .833333 mrad: such a machine must show that difference
    lean = math.degrees(math.asin(0.833333333e-3))
    d1, d2 = rhomboid(400.0, 300.0, lean)
    check(
        DIAGONALS,
        "d1^2 - d2^2, 400 x 300",
        500.20**2 - 499.80**2,
        d1**2 - d2**2,
        1e-6,
        seen=False,
        unit="mm2",
    )
    sine = (d1**2 - d2**2) / (4.0 * 400.0 * 300.0)
    check(DIAGONALS, "squareness, 400 x 300", 0.833333, 1e3 * math.asin(sine), 1e-6, seen=False, unit="mrad")


@pytest.mark.parametrize(("plane", "figure"), [((0, 1), 3), ((0, 2), 4), ((1, 2), 5)])
def test_a_lean_lengthens_the_diagonal_it_leans_along(plane: tuple[int, int], figure: int) -> None:
    figures = np.zeros(6)
    figures[figure] = 0.5
    corner, other = np.zeros(3), np.zeros(3)
    corner[list(plane)], other[list(plane)] = (1.0, 1.0), (1.0, -1.0)
    gain = machine_gain(figures)
    difference = np.sum((gain @ corner) ** 2) - np.sum((gain @ other) ** 2)
    # the upright side is 1/cos(0.5 deg) long
    sine = difference * math.cos(math.radians(0.5)) / 4.0
    assert math.degrees(math.asin(sine)) == pytest.approx(0.5, abs=1e-12)


def test_body_diagonals() -> None:
    shears = np.degrees(np.arctan([5e-4, -2e-4, 1e-4]))
    gain = machine_gain(np.r_[2e-4, -1e-4, 3e-4, shears])
    size = np.array([300.0, 200.0, 250.0])
    theirs = {"+++": 120.2322, "-++": 51.8556, "+-+": -39.3002, "++-": 165.8403}
    for signs, value in theirs.items():
        corner = size * [1.0 if sign == "+" else -1.0 for sign in signs]
        ours = 1e3 * (np.linalg.norm(gain @ corner) - np.linalg.norm(corner))
        check(BODY, f"lengthening, {signs}", value, float(ours), 5e-5, seen=False, unit="um")


def recovered(corners: np.ndarray, figures: np.ndarray) -> np.ndarray:
    """The six figures back from the printed lengths of the six edges."""
    edges = np.array([corners[j] - corners[i] for i in range(4) for j in range(i)])
    printed = np.linalg.norm(edges @ machine_gain(figures).T, axis=1)

    def misfit(guess: np.ndarray) -> np.ndarray:
        return (np.linalg.norm(edges @ machine_gain(guess).T, axis=1) - printed) / printed

    fitted = least_squares(
        misfit, np.zeros(6), xtol=1e-15, ftol=1e-15, gtol=1e-15, x_scale=[1e-2] * 3 + [0.5] * 3
    )
    return np.asarray(fitted.x)


def test_edges_of_a_regular_tetrahedron() -> None:
    corners = np.array([[1, 1, 1], [1, -1, -1], [-1, 1, -1], [-1, -1, 1]], dtype=float) * 100.0
    figures = np.array([2e-3, -1e-3, 3e-3, 0.5, -0.3, 0.2])
    names = ("scale x", "scale y", "scale z", "skew xy", "skew xz", "skew yz")
    for name, theirs, ours in zip(names, figures, recovered(corners, figures), strict=True):
        unit = "" if name.startswith("scale") else "deg"
        check(EDGES, name, theirs, ours, 1e-9, seen=False, unit=unit)


scales = st.floats(-0.01, 0.01)
skews = st.floats(-1.0, 1.0)
turns = st.floats(-3.0, 3.0)
# three edges that cannot lie in a plane: each row's diagonal outweighs the rest
slants = st.floats(-0.4, 0.4)


@settings(max_examples=30, deadline=None)
@given(
    st.tuples(*[slants] * 6),
    st.tuples(turns, turns, turns),
    st.tuples(*[scales] * 3, *[skews] * 3),
    st.floats(5.0, 500.0),
)
def test_any_tetrahedron_that_is_not_flat_gives_all_six_figures(
    slant: tuple[float, ...], turn: tuple[float, ...], figures: tuple[float, ...], size_mm: float
) -> None:
    edges = np.eye(3)
    edges[~np.eye(3, dtype=bool)] = slant
    corners = size_mm * np.vstack([np.zeros(3), edges]) @ Rotation.from_rotvec(turn).as_matrix()
    assert recovered(corners, np.array(figures)) == pytest.approx(np.array(figures), abs=1e-7)
