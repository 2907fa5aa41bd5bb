"""Lens distortion from lines that are straight in reality."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from dryfit.base.arrays import Array
from dryfit.calc.photo.camera import Lens, lens_of, undistort
from dryfit.calc.photo.records import checked_marks, floats, refusal

WHERE = "lens distortion from straight lines"
_MOST_STEPS = 50
# k1 is found where its standard uncertainty is below this; beyond, a lens could be anything (common practice).
LARGEST_STD = 0.5


@dataclass(frozen=True, slots=True, eq=False)
class PlumbFit:
    """lens: with the distortion found, for the focal length and principal point that were given.

    covariance  (p, p) of the estimated figures, names in estimated; as the stated marks have it
    bow_px      (l,) of each line: root mean square of its marks' distances from straight, distortion taken away
    before_px   (l,) the same with the distortion left in
    vpv, dof    weighted sum of squared distances and its degrees of freedom
    """

    lens: Lens
    estimated: tuple[str, ...]
    covariance: Array
    bow_px: Array
    before_px: Array
    vpv: float
    dof: int


def fit_plumb_lines(
    lines_px: Sequence[Array],
    std_px: float,
    lens: Lens,
    is_k2_estimated: bool = False,
    believed_std: Array | None = None,
) -> PlumbFit:
    """k1, and k2 if wished, that make curved lines straight.

    lines_px : marks (n, 2) along each line, at least three each   std_px : of a coordinate of a mark
    lens : focal length and principal point; both may be guesses, k1 is per squared unit of that focal length
    believed_std : (p,) of each estimated figure about zero before any line is seen; counts as one observation each
    Raises ComputationRefused where lines are too few or short, or run through the picture's middle, where no lens
    bends them.
    Source: plumb-line calibration, Brown, Photogrammetric Engineering 37 (1971) 855; conditions between observations
    adjusted after Helmert (memory).
    """
    lines = [checked_marks(line, "lines_px") for line in lines_px]
    _check(lines, std_px)
    names = ("k1", "k2") if is_k2_estimated else ("k1",)
    index = np.array([3, 4][: len(names)])
    vector = lens.vector
    vector[[3, 4]] = 0.0
    prior = np.zeros(len(names)) if believed_std is None else floats(believed_std) ** -2.0
    step: Array = np.zeros(len(names))
    normal = np.eye(len(names))
    for _ in range(_MOST_STEPS):
        normal, pull, _ = _normal_equations(lines, std_px, vector, index)
        normal = normal + np.diag(prior)
        pull = pull - prior * vector[index]
        if np.linalg.cond(normal) > 1e12 or np.sqrt(np.linalg.inv(normal)[0, 0]) > LARGEST_STD:
            raise _straight_through()
        step = floats(np.linalg.solve(normal, pull))
        share = min(1.0, 0.3 / float(np.abs(step).max(initial=1e-300)))
        vector[index] += share * step
        if np.abs(step).max() < 1e-10:
            break
    else:
        raise refusal("the steps did not settle", WHERE, "look for a mark on another line")
    vpv = _normal_equations(lines, std_px, vector, index)[2] + float(prior @ vector[index] ** 2)
    return PlumbFit(
        lens_of(vector),
        names,
        floats(np.linalg.inv(normal)),
        np.array([_bow(lens_of(vector), line) for line in lines]),
        np.array([_bow(lens_of(np.append(vector[:3], np.zeros(5))), line) for line in lines]),
        vpv,
        sum(len(line) - 2 for line in lines) - (len(names) if believed_std is None else 0),
    )


def _check(lines: Sequence[Array], std_px: float) -> None:
    if not std_px > 0.0:
        raise ValueError("a mark needs a standard uncertainty above zero, in pixels")
    if not lines:
        raise refusal("no line is marked", WHERE, "mark lines that are straight in reality")
    for number, line in enumerate(lines):
        if len(line) < 3:
            raise refusal(f"line {number + 1} has fewer than three marks", WHERE, "mark more along it")
        if np.ptp(line, axis=0).max() <= 4.0 * std_px:
            raise refusal(f"the marks of line {number + 1} coincide", WHERE, "mark it over its length")


def _normal_equations(
    lines: Sequence[Array], std_px: float, vector: Array, index: Array
) -> tuple[Array, Array, float]:
    """Normal matrix, right-hand side and weighted sum of squares of the distortion, each line's own two eliminated."""
    lens = lens_of(vector)
    normal, pull, vpv = np.zeros((len(index), len(index))), np.zeros(len(index)), 0.0
    for line in lines:
        found = undistort(lens, line)
        centre, along, across = _axes(found.xy)
        away = (found.xy - centre) @ across
        slope = np.einsum("j,njk->nk", across, found.by_lens[:, :, index])
        noise = std_px * np.linalg.norm(np.einsum("j,njk->nk", across, found.by_mark), axis=1)
        own = np.column_stack([np.ones(len(line)), (found.xy - centre) @ along]) / noise[:, None]
        basis = np.linalg.qr(own)[0]
        left = away / noise - basis @ (basis.T @ (away / noise))
        slope = slope / noise[:, None]
        slope = slope - basis @ (basis.T @ slope)
        normal += slope.T @ slope
        pull -= slope.T @ left
        vpv += float(left @ left)
    return normal, pull, vpv


def _axes(points: Array) -> tuple[Array, Array, Array]:
    centre = points.mean(axis=0)
    axes = np.linalg.svd(points - centre, full_matrices=False)[2]
    return centre, axes[0], np.array([-axes[0][1], axes[0][0]])


def _bow(lens: Lens, line: Array) -> float:
    xy = undistort(lens, line).xy
    centre, _, across = _axes(xy)
    return lens.focal_px * float(np.sqrt((((xy - centre) @ across) ** 2).mean()))


def _straight_through() -> Exception:
    return refusal(
        "the lines do not tell the distortion: a line through the picture's middle stays straight in any lens",
        WHERE,
        "mark long lines near the edges of the picture",
    )


def carry_distortion(lens: Lens, focal_px: float) -> Lens:
    """The same distortion written for another focal length: k goes with even powers of it."""
    if not focal_px > 0.0:
        raise ValueError("a focal length lies above zero")
    ratio = focal_px / lens.focal_px
    return Lens(
        focal_px, lens.centre_px, lens.k1 * ratio**2, lens.k2 * ratio**4, lens.p1 * ratio, lens.p2 * ratio,
        lens.k3 * ratio**6,
    )  # fmt: skip
