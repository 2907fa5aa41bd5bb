"""Focal length, principal point and plan directions from vanishing points; whether a picture was cropped."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from dryfit.base.arrays import Array, locked
from dryfit.calc.photo.records import block_diagonal, chance_of, refusal, slopes
from dryfit.calc.photo.vanishing import VanishingPoint

# Principal points of whole pictures lie within this share of the diagonal from the middle (common practice, no source).
USUAL_SHARE = 0.03
WHERE_FOCAL = "focal length from vanishing points"


@dataclass(frozen=True, slots=True)
class FocalLength:
    """focal_px and its standard uncertainty [px]."""

    focal_px: float
    std_px: float


def focal_from_orthogonal(
    first: VanishingPoint, second: VanishingPoint, centre_px: Array, centre_std_px: float
) -> FocalLength:
    """Focal length from the vanishing points of two directions at right angles, the principal point being assumed.

    centre_px : (2,), the picture's middle unless it is known better   centre_std_px : of each coordinate
    Raises ComputationRefused where a point is at infinity (a view square on tells no focal length), or where no focal
    length makes the directions square.
    Source: f2 = -(v1 - c).(v2 - c), Caprile and Torre, International Journal of Computer Vision 4 (1990) 127 (memory).
    """
    centre = locked(centre_px, (2,), "centre_px")
    _check_finite((first, second))
    figures = np.concatenate([first.point, second.point, centre])
    square = float(_square(figures)[0])
    if square <= 0.0:
        raise refusal(
            "no focal length makes these two directions square",
            WHERE_FOCAL,
            "check which lines are level and which upright, and whether the picture is cropped",
        )
    covariance = np.zeros((8, 8))
    covariance[:3, :3], covariance[3:6, 3:6] = first.covariance, second.covariance
    covariance[6:, 6:] = centre_std_px**2 * np.eye(2)
    slope = slopes(_square, figures, _reach(figures))[0]
    focal = math.sqrt(square)
    return FocalLength(focal, math.sqrt(float(slope @ covariance @ slope)) / (2.0 * focal))


def _square(at: Array) -> Array:
    first, second = at[:2] / at[2] - at[6:], at[3:5] / at[5] - at[6:]
    return np.array([-float(first @ second)])


def _reach(figures: Array) -> Array:
    """Each point's last figure is small: its step must be small beside it."""
    reach = np.maximum(np.abs(figures), 1e-3)
    reach[2:6:3] = np.abs(figures[2:6:3])
    return reach


def _check_finite(points: Sequence[VanishingPoint]) -> None:
    for number, each in enumerate(points):
        if abs(each.point[2]) <= 3.0 * np.sqrt(each.covariance[2, 2]):
            raise refusal(
                f"the lines of vanishing point {number + 1} stay parallel on the picture, within their uncertainty",
                WHERE_FOCAL,
                "use a view that is turned further, or give the focal length",
            )


@dataclass(frozen=True, slots=True, eq=False)
class InnerFigures:
    """focal_px, centre_px (2,), and the covariance (3, 3) [px2] of both in that order."""

    focal_px: float
    centre_px: Array
    covariance: Array


def inner_from_three(points: Sequence[VanishingPoint]) -> InnerFigures:
    """Focal length and principal point from the vanishing points of three directions at right angles.

    Raises ComputationRefused where there are not three, one is at infinity, or their triangle is not acute.
    Source: the principal point is the orthocentre, Caprile and Torre 1990 (memory).
    """
    if len(points) != 3:
        raise refusal(
            f"{len(points)} vanishing points, three are needed", WHERE_FOCAL, "mark three directions"
        )
    _check_finite(points)
    places = np.concatenate([each.place_px for each in points])
    blocks = []
    for each in points:
        x, y, w = each.point
        slope = np.array([[1.0 / w, 0.0, -x / w**2], [0.0, 1.0 / w, -y / w**2]])
        blocks.append(slope @ each.covariance @ slope.T)
    values = _orthocentre(places)
    if not np.isfinite(values).all():
        raise refusal(
            "no focal length makes these three directions square",
            WHERE_FOCAL,
            "check which lines belong to which direction",
        )
    slope = slopes(_orthocentre, places, np.maximum(np.abs(places), 1.0))
    return InnerFigures(
        float(values[0]),
        locked(values[1:], (2,), "centre"),
        slope @ block_diagonal(np.array(blocks)) @ slope.T,
    )


def _orthocentre(places: Array) -> Array:
    a, b, c = places.reshape(3, 2)
    rows = np.array([b - c, a - c])
    centre = np.linalg.solve(rows, np.array([(b - c) @ a, (a - c) @ b]))
    square = -float((a - centre) @ (b - centre))
    return np.array([np.sqrt(square) if square > 0.0 else np.nan, *centre])


@dataclass(frozen=True, slots=True)
class CentreCheck:
    """Whether an estimated principal point says that the picture was cropped.

    offset_px : from the picture's middle   chance : of so large an offset by the marks' noise alone
    is_off : it is neither chance nor within what lenses do
    """

    offset_px: float
    chance: float
    is_off: bool


def check_centre(
    centre_px: Array, covariance: Array, width_px: int, height_px: int, level: float = 0.01
) -> CentreCheck:
    """Compare an estimated principal point with the middle of the picture.

    centre_px : (2,)   covariance : (2, 2) [px2]   level : of the test
    Source: chi-square test of two coordinates; the share of the diagonal is common practice, no source.
    """
    away = locked(centre_px, (2,), "centre_px") - np.array([(width_px - 1) / 2.0, (height_px - 1) / 2.0])
    spread = locked(covariance, (2, 2), "covariance")
    chance = chance_of(float(away @ np.linalg.solve(spread, away)), 2)
    assert chance is not None
    offset = float(np.linalg.norm(away))
    usual = USUAL_SHARE * float(np.hypot(width_px, height_px))
    return CentreCheck(offset, chance, bool(chance < level and offset > usual))


@dataclass(frozen=True, slots=True, eq=False)
class PlanAngles:
    """angles_deg (n,): of level directions from the first, seen from above, anticlockwise, within 0 and 180.

    covariance (n, n) [deg2]; the first is zero
    """

    angles_deg: Array
    covariance: Array


def plan_angles(points: Sequence[VanishingPoint], inner: InnerFigures) -> PlanAngles:
    """Angles in plan between level directions, from their vanishing points.

    points : of level directions, two or more; lines have no sense, so that angles are modulo 180
    inner : focal length and principal point with covariance
    Raises ComputationRefused for fewer than two.
    Source: rays of vanishing points are directions, Hartley and Zisserman, Multiple View Geometry, 8.6 (memory).
    """
    if len(points) < 2:
        raise refusal(f"{len(points)} level directions", "plan angles", "mark lines of two or more")
    figures = np.concatenate([*(each.point for each in points), [inner.focal_px], inner.centre_px])
    first = _plan(figures)
    around = first.copy()

    def near(at: Array) -> Array:
        angles = _plan(at)
        return angles - 180.0 * np.round((angles - around) / 180.0)

    reach = np.concatenate([np.full(3 * len(points), 1e-3), np.full(3, inner.focal_px)])
    covariance = block_diagonal(np.array([*(each.covariance for each in points), inner.covariance]))
    slope = slopes(near, figures, reach)
    first[0] = 0.0  # the first is where angles begin; rounding would make it 180
    return PlanAngles(np.mod(first, 180.0), slope @ covariance @ slope.T)


def _plan(at: Array) -> Array:
    """(n,) [deg]; up is the normal of the level directions, away from the picture's lower edge."""
    focal, centre = at[-3], at[-2:]
    rows = at[:-3].reshape(-1, 3)
    rays = np.column_stack([rows[:, :2] - rows[:, 2:] * centre, focal * rows[:, 2]])
    rays /= np.linalg.norm(rays, axis=1)[:, None]
    up = np.linalg.svd(rays)[2][-1]
    up = up if up[1] < 0.0 else -up
    side = np.cross(up, rays[0])
    result: Array = np.degrees(np.arctan2(rays @ side, rays @ rays[0]))
    return result
