"""Sizes in a plane, and in planes parallel to it at a stated offset."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from dryfit.base.arrays import Array, locked
from dryfit.calc.photo.calibration import plane_pose
from dryfit.calc.photo.plane import PlaneView, distances, is_undetermined
from dryfit.calc.photo.records import Sizes, checked_pairs, floats, refusal, slopes

WHERE = "sizes in a plane"


@dataclass(frozen=True, slots=True)
class CameraDistance:
    """How far the camera stood from the plane, measured square to it."""

    distance_mm: float
    std_mm: float


@dataclass(frozen=True, slots=True)
class LeastDistance:
    """All that is known is that the camera was at least so far from the plane: the offset is not corrected."""

    least_mm: float


@dataclass(frozen=True, slots=True, eq=False)
class CameraFocal:
    """Focal length and principal point of the picture in which the plane was marked, with standard uncertainties."""

    focal_px: float
    focal_std_px: float
    centre_px: Array
    centre_std_px: float

    def __post_init__(self) -> None:
        object.__setattr__(self, "centre_px", locked(self.centre_px, (2,), "centre_px"))


Standpoint = CameraDistance | CameraFocal | LeastDistance


def plane_sizes(
    view: PlaneView,
    pairs: Sequence[tuple[int, int]],
    offsets_mm: float | Array = 0.0,
    offset_std_mm: float = 0.0,
    standpoint: Standpoint | None = None,
) -> Sizes:
    """Distances between marks, two by two, that lie in the plane or in planes parallel to it.

    pairs : indices of marks   offsets_mm : of the plane of each pair, positive towards the camera, one or (p,)
    offset_std_mm : standard uncertainty common to all offsets that are stated
    standpoint : where the camera stood; needed where an offset is not zero
    Something nearer by the offset d looks larger by d over distance; that is taken away where the distance is known,
    and is given as standard uncertainty (rectangular, its half width the whole effect) where only a least one is.
    Raises ComputationRefused where an offset is stated and nothing tells the distance, or where it is not in front
    of the camera, or where a size is not determined.
    Source: similar triangles about the centre of projection; JCGM 100:2008 4.3.7 for what is not corrected.
    """
    index = checked_pairs(pairs, len(view.marks_px), "a size")
    offsets = np.broadcast_to(np.asarray(offsets_mm, dtype=np.float64), (len(index),))
    plain, slope = distances(view.matrix, view.marks_px, index)
    if is_undetermined(slope, view.free, plain):
        raise refusal("a size is not determined by what is known", WHERE, "give more known lengths or points")
    is_offset = bool((offsets != 0.0).any()) or offset_std_mm > 0.0
    if not is_offset:
        return Sizes(plain, slope @ view.covariance @ slope.T)
    if standpoint is None:
        raise refusal(
            f"{np.abs(offsets).max():.6g} mm off the plane, and nothing tells how far the camera stood",
            WHERE,
            "give the camera's distance, its focal length in pixels, or the least distance that is possible",
        )
    distance, by_plane, own_variance, note = _distance(view, standpoint)
    if (offsets >= distance).any():
        raise refusal("an offset reaches the camera", WHERE, "check the offset and the camera's distance")
    if isinstance(standpoint, LeastDistance):
        effect = plain * (np.abs(offsets) + offset_std_mm) / distance / np.sqrt(3.0)
        signed = effect * np.where(offsets < 0.0, -1.0, 1.0)
        covariance = slope @ view.covariance @ slope.T + np.outer(signed, signed)
        return Sizes(plain, covariance, (note,))
    shrink = 1.0 - offsets / distance
    by_distance = plain * offsets / distance**2
    whole = slope * shrink[:, None] + by_distance[:, None] * by_plane
    by_offset = -plain / distance
    covariance = whole @ view.covariance @ whole.T + np.outer(by_distance, by_distance) * own_variance
    covariance += np.outer(by_offset, by_offset) * offset_std_mm**2
    return Sizes(plain * shrink, covariance, (note,))


def _distance(view: PlaneView, standpoint: Standpoint) -> tuple[float, Array, float, str]:
    """Distance [mm], its derivatives (9 + 2n,) by the view, the variance from its own causes, and what to say."""
    nothing = np.zeros(len(view.covariance))
    if isinstance(standpoint, LeastDistance):
        _check_positive(standpoint.least_mm)
        note = f"not corrected for the offset: the camera stood at least {standpoint.least_mm:.6g} mm away"
        return standpoint.least_mm, nothing, 0.0, note
    if isinstance(standpoint, CameraDistance):
        _check_positive(standpoint.distance_mm)
        note = f"offset corrected with a stated distance of {standpoint.distance_mm:.6g} mm"
        return standpoint.distance_mm, nothing, standpoint.std_mm**2, note
    distance, by_plane, own = _distance_by_focal(view, standpoint)
    return distance, by_plane, own, f"offset corrected with a distance of {distance:.6g} mm by focal length"


def _distance_by_focal(view: PlaneView, camera: CameraFocal) -> tuple[float, Array, float]:
    _check_positive(camera.focal_px)

    def height(values: Array) -> Array:
        matrix = floats(np.linalg.inv(values[:9].reshape(3, 3)))
        position = plane_pose(matrix, float(values[9]), values[10:12]).position_mm
        return np.abs(position[2:])

    figures = np.concatenate([view.matrix.ravel(), [camera.focal_px], camera.centre_px])
    scales = np.repeat(np.abs(view.matrix).max(axis=1), 3) * np.tile(
        1.0 / np.array([*np.abs(view.marks_px).max(axis=0) + 1.0, 1.0]), 3
    )
    slope = slopes(height, figures, np.concatenate([scales, [camera.focal_px] * 3]))[0]
    by_plane = np.zeros(len(view.covariance))
    by_plane[:9] = slope[:9]
    own = slope[9] ** 2 * camera.focal_std_px**2 + (slope[10:] ** 2).sum() * camera.centre_std_px**2
    return float(height(figures)[0]), by_plane, float(own)


def _check_positive(value: float) -> None:
    if not (np.isfinite(value) and value > 0.0):
        raise ValueError(f"the camera's distance and focal length lie above zero: {value}")
