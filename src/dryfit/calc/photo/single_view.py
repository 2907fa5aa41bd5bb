"""Heights from one photograph with a vertical vanishing point, a horizon and a known height."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from dryfit.base.arrays import Array, locked
from dryfit.calc.photo.camera import Lens
from dryfit.calc.photo.records import (
    Sizes,
    block_diagonal,
    chance_of,
    mark_covariances,
    refusal,
    slopes,
)
from dryfit.calc.photo.vanishing import Horizon, VanishingPoint

WHERE = "heights in a single view"
# A foot so near the horizon, in standard uncertainties of the distance, says nothing of a height.
_CLEAR = 5.0


@dataclass(frozen=True, slots=True, eq=False)
class UprightView:
    """A view of level ground: vertical vanishing point (3,) and horizon (3,), their joint covariance (6, 6)."""

    vertical: Array
    horizon: Array
    covariance: Array

    def __post_init__(self) -> None:
        for name in ("vertical", "horizon"):
            object.__setattr__(self, name, locked(getattr(self, name), (3,), name))
        object.__setattr__(self, "covariance", locked(self.covariance, (6, 6), "covariance"))


def upright_view(vertical: VanishingPoint, horizon: Horizon) -> UprightView:
    """A view from a vertical vanishing point and a horizon found from other lines."""
    covariance = np.zeros((6, 6))
    covariance[:3, :3], covariance[3:, 3:] = vertical.covariance, horizon.covariance
    return UprightView(vertical.point, horizon.line, covariance)


def upright_view_by_lens(
    vertical: VanishingPoint, lens: Lens, focal_std_px: float, centre_std_px: float
) -> UprightView:
    """The same with the horizon that follows from the vertical vanishing point and a known lens.

    Source: pole and polar of the image of the absolute conic, Hartley and Zisserman, Multiple View Geometry, 8.6
    (memory).
    """
    figures = np.concatenate([vertical.point, [lens.focal_px], lens.centre_px])

    def both(at: Array) -> Array:
        return np.concatenate([at[:3], _polar(at[:3], float(at[3]), at[4:])])

    slope = slopes(both, figures, np.concatenate([np.full(3, 1e-3), np.full(3, lens.focal_px)]))
    covariance = np.zeros((6, 6))
    covariance[:3, :3] = vertical.covariance
    covariance[3:, 3:] = np.diag([focal_std_px**2, centre_std_px**2, centre_std_px**2])
    values = both(figures)
    return UprightView(values[:3], values[3:], slope @ covariance @ slope.T)


def _polar(point: Array, focal: float, centre: Array) -> Array:
    x, y = point[:2] - centre * point[2]
    line = np.array([x, y, focal**2 * point[2] - x * centre[0] - y * centre[1]])
    line = line / np.linalg.norm(line[:2])
    result: Array = line * (1.0 if line[1] > 0.0 else -1.0)
    return result


@dataclass(frozen=True, slots=True)
class KnownHeight:
    """A height known beforehand."""

    height_mm: float
    std_mm: float


@dataclass(frozen=True, slots=True, eq=False)
class Heights:
    """sizes: of the targets. normalised (r,): of each known height against all, NaN where there is one only.

    vpv, dof, p_value  of the test that the known heights agree with one another
    """

    sizes: Sizes
    normalised: Array
    vpv: float
    dof: int
    p_value: float | None


def measure_heights(
    view: UprightView,
    known_px: Array,
    known: Sequence[KnownHeight],
    targets_px: Array,
    std_px: float | Array,
) -> Heights:
    """Heights of upright things that stand on the same level ground as things of known height.

    known_px : (r, 2, 2) foot and top of each thing of known height   targets_px : (n, 2, 2) foot and top
    std_px : of a coordinate, one for all, or (r + n, 2) for foot and top, known ones first
    Raises ComputationRefused where nothing is known, where foot and top coincide, or where a foot lies on the horizon.
    Source: Criminisi, Reid and Zisserman, International Journal of Computer Vision 40 (2000) 123.
    """
    first = locked(known_px, (None, 2, 2), "known_px")
    targets = locked(targets_px, (None, 2, 2), "targets_px")
    if len(first) != len(known):
        raise ValueError("as many marked things as known heights are needed")
    if not len(known):
        raise refusal("no height is known", WHERE, "mark one thing whose height is known")
    heights = np.array([each.height_mm for each in known])
    std = np.array([each.std_mm for each in known])
    if not ((heights > 0.0).all() and (std > 0.0).all()):
        raise ValueError("known heights and their standard uncertainties lie above zero")
    things = np.concatenate([first, targets])
    spread = np.broadcast_to(np.asarray(std_px, dtype=np.float64), (len(things), 2))
    noise = block_diagonal(mark_covariances(spread.ravel(), 2 * len(things)))
    _check_things(view, things, spread)
    figures = np.concatenate([view.vertical, view.horizon, things.ravel()])
    covariance = np.zeros((len(figures), len(figures)))
    covariance[:6, :6], covariance[6:, 6:] = view.covariance, noise
    reach = np.concatenate([np.full(3, 1e-2), [1e-2, 1e-2, 10.0], np.full(things.size, 10.0)])

    def logs(at: Array) -> Array:
        return np.log(_ratios(at))

    slope = slopes(logs, figures, reach)
    values, whole = logs(figures), slope @ covariance @ slope.T
    return _scaled(values, whole, heights, std)


def _ratios(at: Array) -> Array:
    """(n,) heights up to one common factor."""
    vertical, horizon, things = at[:3], at[3:6], at[6:].reshape(-1, 2, 2)
    one = np.ones((len(things), 1))
    foot, top = np.hstack([things[:, 0], one]), np.hstack([things[:, 1], one])
    across = np.cross(vertical, top)
    along = (np.cross(foot, top) * across).sum(axis=1) / (across**2).sum(axis=1)
    ratio = along / (foot @ horizon)
    # The vanishing point may be of either sign, above or below.
    result: Array = ratio * np.sign(np.median(ratio))
    return result


def _check_things(view: UprightView, things: Array, spread: Array) -> None:
    sides = things[:, 0] @ view.horizon[:2] + view.horizon[2]
    for number, (thing, side) in enumerate(zip(things, sides, strict=True)):
        if np.linalg.norm(thing[1] - thing[0]) <= 3.0 * spread[number].max():
            raise refusal(f"foot and top of thing {number + 1} coincide", WHERE, "mark both ends")
        line = np.append(thing[0], 1.0)
        doubt = float(np.hypot(np.sqrt(line @ view.covariance[3:, 3:] @ line), spread[number, 0]))
        if abs(side) <= _CLEAR * doubt:
            raise refusal(
                f"the foot of thing {number + 1} lies on the horizon", WHERE, "mark where it meets the ground"
            )
    wrong = np.flatnonzero(np.sign(sides) != np.sign(sides[0]))
    if len(wrong):
        raise refusal(
            f"the feet of thing {wrong[0] + 1} and of the first lie on either side of the horizon",
            WHERE,
            "check which mark is the foot and which the top, and that all stand on one level",
        )
    ratios = _ratios(np.concatenate([view.vertical, view.horizon, things.ravel()]))
    if (ratios <= 0.0).any():
        number = int(np.flatnonzero(ratios <= 0.0)[0]) + 1
        raise refusal(
            f"thing {number} points the other way up from the rest, or stands behind the horizon",
            WHERE,
            "check which mark is its foot and which its top",
        )


def _scaled(values: Array, whole: Array, heights: Array, std: Array) -> Heights:
    """Scale by all known heights together, each by its covariance; logarithms make the ratios differences."""
    count = len(heights)
    offset = np.log(heights) - values[:count]
    spread = whole[:count, :count] + np.diag((std / heights) ** 2)
    weight = np.linalg.inv(spread)
    share = weight.sum(axis=0) / weight.sum()
    scale = float(share @ offset)
    targets = np.exp(values[count:] + scale)
    # what each target's logarithm takes from the ratios, and from the known heights
    by_ratio = np.hstack([-np.tile(share, (len(targets), 1)), np.eye(len(targets))])
    covariance = by_ratio @ whole @ by_ratio.T + float(share @ np.diag((std / heights) ** 2) @ share)
    sizes = Sizes(targets, covariance * np.outer(targets, targets))
    left = offset - scale
    vpv = float(left @ weight @ left)
    pulled = weight - np.outer(weight.sum(axis=1), weight.sum(axis=0)) / weight.sum()
    able = np.diag(pulled) > 1e-9 * np.diag(weight)
    normalised = np.full(count, np.nan)
    normalised[able] = (weight @ left)[able] / np.sqrt(np.diag(pulled)[able])
    return Heights(sizes, normalised, vpv, count - 1, chance_of(vpv, count - 1))
