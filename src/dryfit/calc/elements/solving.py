"""Least squares of curved elements: damped Gauss-Newton from several starts, and what the fit is worth.

Points are moved to their centroid and scaled to unit size before the search, so that tolerances are relative.
Many points are thinned only to choose among the starts; the result is always fitted to all of them.
Source of the damping: Levenberg-Marquardt (memory; checked against scipy.optimize in the tests).
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from dryfit.base.arrays import Array, IntArray
from dryfit.calc.elements.checking import refusal
from dryfit.calc.elements.surfaces import Pose, Surface, evaluate, moved

_CONVERGED = 1e-10  # of the size of the element
_ROUNDING = 1e-14  # residual that rounding alone leaves, of the size of the element
_STEPS = 150
_STEPS_OF_A_START = 12
_THINNED = 600
_AGREEMENT = 0.9  # of the best agreement of surface and normals among the starts
# A start that ends so near to the points (of their size), with so good an agreement, needs no rival: a wrong
# axis leaves more even on the shortest arc that is accepted.
_CLEAN, _CLEAR = 1e-5, 0.95
_SINGULAR = 1e-8  # least ratio of singular values of the scaled derivatives


@dataclass(frozen=True, slots=True, eq=False)
class Settled:
    """Where a search has come to; residuals (n,), derivatives (n, p).

    is_settled  no small step lowers the sum of squares any more
    """

    pose: Pose
    residuals: Array
    derivatives: Array
    is_settled: bool


@dataclass(frozen=True, slots=True, eq=False)
class Solution:
    """A fitted element in the coordinates of the caller.

    residuals   (n,) [mm]
    local       (n, 3) [mm] the points in the frame of the element
    covariance  (p, p) of the free pose and the sizes [mm and rad]; infinite where nothing tells the noise
    agreement   mean cosine between the normals and the outward direction of the element
    """

    surface: Surface
    pose: Pose
    residuals: Array
    local: Array
    covariance: Array
    agreement: float

    @property
    def rms(self) -> float:
        """Root mean square of the residuals."""
        return _rms(self.residuals)

    def position_std(self) -> float:
        """Std of the free part of the position, in its least certain direction."""
        return self._worst([k for k, axis in enumerate(self.surface.free) if axis < 3])

    def axis_std_deg(self) -> float:
        """Std of the direction of the axis, where least certain."""
        return math.degrees(self._worst([k for k, axis in enumerate(self.surface.free) if axis >= 3]))

    def size_std(self, number: int) -> float:
        """Std of one of the element's own sizes."""
        place = len(self.surface.free) + number
        return float(np.sqrt(self.covariance[place, place]))

    def _worst(self, places: list[int]) -> float:
        block = self.covariance[np.ix_(places, places)]
        if not np.isfinite(block).all():
            return math.inf
        return float(np.sqrt(max(np.linalg.eigvalsh(block)[-1], 0.0)))


def settle(
    surface: Surface, pose: Pose, points: Array, steps: int = _STEPS, damping: float = 1e-3
) -> Settled:
    """How near to the pose of least squared distances a start comes in so many steps."""
    residuals, derivatives = evaluate(surface, pose, points)
    for _ in range(steps):
        step = _damped_step(residuals, derivatives, damping)
        trial = moved(surface, pose, step)
        next_residuals, next_derivatives = evaluate(surface, trial, points)
        reach = max(1.0, float(np.abs(trial.sizes).max()))
        # Near the end the sums differ by rounding of the distances only, which must not count as a rise.
        if _rms(next_residuals) <= _rms(residuals) + _ROUNDING * reach:
            pose, residuals, derivatives = trial, next_residuals, next_derivatives
            if damping <= 1e-6 and np.abs(step).max() <= _CONVERGED * reach:
                return Settled(pose, residuals, derivatives, True)
            damping = max(0.03 * damping, 1e-14)
        else:
            damping = max(10.0 * damping, 1e-8)
            if not damping < 1e12:
                break
    return Settled(pose, residuals, derivatives, False)


def _damped_step(residuals: Array, derivatives: Array, damping: float) -> Array:
    squares: Array = derivatives.T @ derivatives
    weight = squares.diagonal().copy()
    # A column without effect must not make the system singular: its step is nil.
    squares.flat[:: len(weight) + 1] += damping * weight + 1e-14 * max(float(weight.max()), 1e-300)
    return np.asarray(np.linalg.solve(squares, -(derivatives.T @ residuals)), dtype=np.float64)


def solve(surface: Surface, starts: Iterable[Pose], points: Array, normals: Array | None) -> Solution:
    """The element of least squared distances from points (n, 3), from the best of the starts.

    starts : in the coordinates of the points
    Among the starts whose surface agrees with the normals, the one that comes nearest to the points wins, and
    among equals the first. Raises ComputationRefused where none settles, or the points leave it undetermined.
    """
    centre = points.mean(axis=0)
    scale = float(np.sqrt(((points - centre) ** 2).sum(axis=1).mean()))
    unit = (points - centre) / scale
    few = thinned(len(points))
    few_normals = None if normals is None else normals[few]
    ends: list[tuple[Settled, float]] = []
    for start in starts:
        scaled = Pose(start.axes, (start.origin - centre) / scale, _scaled_sizes(surface, start, 1.0 / scale))
        settled = settle(surface, scaled, unit[few], _STEPS_OF_A_START)
        ends.append((settled, _agreement(surface, settled.pose, unit[few], few_normals)))
        if settled.is_settled and _rms(settled.residuals) < _CLEAN and abs(ends[-1][1]) > _CLEAR:
            break
    best = _first_to_settle(surface, _ranked(ends), unit, whole=len(few) == len(points))
    if best is None:
        what = f"the search for a {surface.name} does not settle: the points determine none"
        raise refusal(surface.name, len(points), what, "pick a larger or more curved face")
    pose = _at_the_middle(surface, best.pose, unit)
    residuals, derivatives = evaluate(surface, pose, unit)
    covariance = _covariance(surface, residuals, derivatives)
    lengths = _lengths(surface, scale)
    whole = Pose(pose.axes, centre + scale * pose.origin, _scaled_sizes(surface, pose, scale))
    return Solution(
        surface,
        whole,
        residuals * scale,
        pose.to_local(unit) * scale,
        covariance * np.outer(lengths, lengths),
        _agreement(surface, pose, unit, normals),
    )


def _rms(residuals: Array) -> float:
    return float(np.sqrt(np.mean(residuals**2)))


def thinned(count: int) -> IntArray:
    """Indices of at most some hundreds of points, the same ones every time, in no regular order.

    A regular stride would fall in step with the rows of a tessellation.
    """
    if count <= _THINNED:
        return np.arange(count)
    return np.sort(np.random.default_rng(0).choice(count, _THINNED, replace=False))


def _ranked(ends: list[tuple[Settled, float]]) -> list[Settled]:
    """Those that agree with the normals, nearest to the points first; what is rounding makes no difference."""
    least = _AGREEMENT * max((abs(agreement) for _, agreement in ends), default=0.0)
    agreeing = [settled for settled, agreement in ends if abs(agreement) >= least]
    return sorted(agreeing, key=lambda settled: round(_rms(settled.residuals), 9))


def _first_to_settle(
    surface: Surface, ranked: list[Settled], points: Array, *, whole: bool
) -> Settled | None:
    """The first that settles on all points; whole: they have been searched with all points already."""
    for end in ranked:
        if end.is_settled and whole:
            return end
        settled = settle(surface, end.pose, points, damping=1e-7 if end.is_settled else 1e-3)
        if settled.is_settled:
            return settled
    return None


def _agreement(surface: Surface, pose: Pose, points: Array, normals: Array | None) -> float:
    if normals is None:
        return 1.0
    gradient = surface.measure(pose.to_local(points), pose.sizes).gradient @ pose.axes.T
    return float((gradient * normals).sum(axis=1).mean())


def _is_angle(surface: Surface) -> tuple[bool, ...]:
    return (False, True) if surface.name == "cone" else (False,) * surface.sizes


def _scaled_sizes(surface: Surface, pose: Pose, factor: float) -> Array:
    return np.where(_is_angle(surface), pose.sizes, pose.sizes * factor)


def _lengths(surface: Surface, scale: float) -> Array:
    """Factors (p,) that bring the unknowns of scaled points back to millimetres and radians."""
    angles = [axis >= 3 for axis in surface.free] + list(_is_angle(surface))
    return np.where(angles, 1.0, scale)


def _at_the_middle(surface: Surface, pose: Pose, points: Array) -> Pose:
    """The same element with its origin at the mean of the points along the axis, where it may slide."""
    if 2 in surface.free or surface.name == "circle":
        return pose
    rise = float(pose.to_local(points)[:, 2].mean())
    sizes = pose.sizes.copy()
    if surface.name == "cone":
        sizes[0] += rise * math.tan(sizes[1])
    return Pose(pose.axes, pose.origin + rise * pose.axes[:, 2], sizes)


def _covariance(surface: Surface, residuals: Array, derivatives: Array) -> Array:
    """(p, p) of the unknowns. Raises ComputationRefused where the derivatives are singular.

    Source: covariance of a linear least-squares fit, s^2 (J^T J)^-1 with s^2 the sum of squares over n - p.
    """
    count, unknowns = derivatives.shape
    lengths = np.linalg.norm(derivatives, axis=0)
    triangle = np.linalg.qr(derivatives / np.maximum(lengths, 1e-300), mode="r")
    values = np.linalg.svd(triangle, compute_uv=False)
    if not values[-1] > _SINGULAR * values[0]:
        what = f"the points leave the {surface.name} undetermined: more than one fits them as well"
        raise refusal(surface.name, count, what, "pick a larger face, or one that spreads further round")
    if count == unknowns:
        return np.full((unknowns, unknowns), math.inf)
    inverse = np.linalg.inv(triangle)
    variance = residuals @ residuals / (count - unknowns)
    covariance: Array = variance * (inverse @ inverse.T) / np.outer(lengths, lengths)
    return covariance


def refuse_uncertain(solution: Solution, radius: float, radius_std: float) -> None:
    """Raise ComputationRefused where the noise leaves a radius or an axis practically open.

    Beyond a third of the radius the linear covariance no longer tells how far off the radius may be; an
    axis that is open by ten degrees is no axis (common practice, no source).
    """
    name, count = solution.surface.name, len(solution.residuals)
    if math.isfinite(radius_std) and radius_std > abs(radius) / 3.0:
        what = (
            f"the points are too rough for so little of a {name}: a radius of {radius:.4g} is known only to a "
            f"standard uncertainty of {radius_std:.2g}"
        )
        raise refusal(name, count, what, "pick a face that reaches further round")
    turns = any(axis >= 3 for axis in solution.surface.free)
    if turns and math.isfinite(radius_std) and solution.axis_std_deg() > 10.0:
        what = f"the axis of the {name} is known only to {solution.axis_std_deg():.2g} degrees"
        raise refusal(name, count, what, "pick a face that is longer along the axis")
