"""A homography between two planes from corresponding points."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dryfit.base.arrays import Array
from dryfit.calc.photo.records import checked_marks, homogeneous, mark_covariances, refusal
from dryfit.calc.photo.solving import covariance_of, solve

# Three points are in line where the area between them is below this share of their extent squared.
IN_LINE = 1e-6


@dataclass(frozen=True, slots=True, eq=False)
class Homography:
    """matrix (3, 3): from the first plane to the second, of unit norm; covariance (9, 9) of its rows in order.

    residual    (n, 2) second points less first ones carried over
    vpv, dof    weighted sum of squared residuals and its degrees of freedom
    """

    matrix: Array
    covariance: Array
    residual: Array
    vpv: float
    dof: int


def fit_homography(first: Array, second: Array, std_second: float | Array) -> Homography:
    """The homography that carries exactly known points to measured ones.

    first, second : (n, 2), at least four   std_second : as for mark_covariances, in the unit of the second points
    Raises ComputationRefused for fewer than four points, or where too many are in line or coincide.
    Source: normalised direct linear transformation and its refinement, Hartley and Zisserman, Multiple View Geometry,
    algorithms 4.2 and 4.3 (memory; checked against OpenCV's findHomography).
    """
    before, after = checked_marks(first, "first"), checked_marks(second, "second")
    if len(before) != len(after):
        raise ValueError("as many first points as second ones are needed")
    check_spread(before, "the fit of a homography")
    check_spread(after, "the fit of a homography")
    lower = np.linalg.cholesky(mark_covariances(std_second, len(after)))
    start = linear_homography(before, after)

    def evaluate(matrix: Array) -> tuple[Array, Array]:
        there, by_matrix = _carried(matrix, before)
        # the scale of the matrix is no unknown: moves along it are projected out
        free = by_matrix.reshape(-1, 9) @ _tangent(matrix)
        residual = np.linalg.solve(lower, (after - there)[:, :, None])[:, :, 0]
        return residual.ravel(), np.linalg.solve(lower, free.reshape(-1, 2, 8)).reshape(-1, 8)

    def move(matrix: Array, step: Array) -> Array:
        moved = matrix.ravel() + _tangent(matrix) @ step
        result: Array = (moved / np.linalg.norm(moved)).reshape(3, 3)
        return result

    solved = solve(evaluate, start, move, "the fit of a homography")
    covariance, free = covariance_of(solved.jacobian)
    if free.shape[1]:
        raise _degenerate("the fit of a homography")
    tangent = _tangent(solved.state)
    residual = after - carry(solved.state, before)
    return Homography(
        solved.state, tangent @ covariance @ tangent.T, residual, solved.vpv, 2 * len(before) - 8
    )


def carry(matrix: Array, points: Array) -> Array:
    """Points (n, 2) carried over by a homography."""
    there = homogeneous(points) @ matrix.T
    result: Array = there[:, :2] / there[:, 2:]
    return result


def _carried(matrix: Array, points: Array) -> tuple[Array, Array]:
    """The same, with derivatives (n, 2, 9) by the matrix's rows."""
    lifted = homogeneous(points)
    there = lifted @ matrix.T
    result = there[:, :2] / there[:, 2:]
    slope = np.zeros((len(points), 2, 9))
    slope[:, 0, :3] = slope[:, 1, 3:6] = lifted / there[:, 2:]
    slope[:, :, 6:] = -result[:, :, None] * (lifted / there[:, 2:])[:, None, :]
    return result, slope


def local_gain(matrix: Array, points: Array) -> Array:
    """(n, 2, 2) derivatives of carry by the points."""
    there = homogeneous(points) @ matrix.T
    result = there[:, :2] / there[:, 2:]
    gain: Array = (matrix[:2, :2] - result[:, :, None] * matrix[2, :2]) / there[:, 2, None, None]
    return gain


def linear_homography(before: Array, after: Array) -> Array:
    """The homography of least algebraic misfit, of unit norm (3, 3), the first points having positive depth."""
    scale_a, scale_b = conditioner(before), conditioner(after)
    a, b = carry(scale_a, before), carry(scale_b, after)
    lifted, zero = homogeneous(a), np.zeros((len(a), 3))
    rows = np.vstack(
        [np.hstack([lifted, zero, -b[:, :1] * lifted]), np.hstack([zero, lifted, -b[:, 1:] * lifted])]
    )
    inner = np.linalg.svd(rows)[2][-1].reshape(3, 3)
    matrix: Array = np.linalg.inv(scale_b) @ inner @ scale_a
    depth = homogeneous(before) @ matrix[2]
    return matrix / (np.linalg.norm(matrix) * (1.0 if np.median(depth) > 0.0 else -1.0))


def conditioner(points: Array) -> Array:
    """(3, 3) shift and scale that bring points to mean zero and mean distance root two."""
    centre = points.mean(axis=0)
    spread = float(np.linalg.norm(points - centre, axis=1).mean())
    scale = np.sqrt(2.0) / max(spread, 1e-300)
    return np.array([[scale, 0.0, -scale * centre[0]], [0.0, scale, -scale * centre[1]], [0.0, 0.0, 1.0]])


def check_spread(points: Array, where: str) -> None:
    """Raise ComputationRefused unless four of the points are such that no three of them are in line."""
    if len(points) < 4:
        do = "mark at least four points of the plane, no three of them in line"
        raise refusal(f"{len(points)} points do not determine a plane's view", where, do)
    hull = _wide_quadrilateral(points)
    extent = float(np.ptp(points, axis=0).max())
    areas = [abs(_area(*np.delete(hull, index, axis=0))) for index in range(4)]
    if extent == 0.0 or min(areas) <= IN_LINE * extent**2:
        raise _degenerate(where)


def _wide_quadrilateral(points: Array) -> Array:
    """Four points that stretch far: the two farthest along the main axis, and the best two beside them."""
    centred = points - points.mean(axis=0)
    axis = np.linalg.svd(centred, full_matrices=False)[2][0]
    along = centred @ axis
    first, second = points[along.argmin()], points[along.argmax()]
    doubled = np.array([_area(first, second, point) for point in points])
    third = points[np.abs(doubled).argmax()]
    best = [
        min(abs(_area(first, second, p)), abs(_area(first, third, p)), abs(_area(second, third, p)))
        for p in points
    ]
    return np.array([first, second, third, points[int(np.argmax(best))]])


def _area(a: Array, b: Array, c: Array) -> float:
    return float((b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]))


def _degenerate(where: str) -> Exception:
    return refusal(
        "the points coincide, or all but one of them are in line: they do not determine how the plane is seen",
        where,
        "mark four points of which no three are in line, spread over the plane",
    )


def _tangent(matrix: Array) -> Array:
    """(9, 8) orthonormal basis of the directions that change more than the matrix's scale."""
    unit = matrix.ravel() / np.linalg.norm(matrix)
    basis: Array = np.linalg.svd(unit[None, :])[2][1:].T
    return basis
