"""The lens that a single photograph is measured with, and its marks free of distortion."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from dryfit.app.photo_arrays import PhotoArrays
from dryfit.app.photo_bend import try_bend
from dryfit.app.photo_calibrated import root_of
from dryfit.base.arrays import Array
from dryfit.calc.photo import (
    CameraDistance,
    CameraFocal,
    LeastDistance,
    Lens,
    VanishingPoint,
    fit_vanishing_point,
    straighten,
)
from dryfit.model.photo import BuildingAxis


@dataclass(frozen=True, slots=True, eq=False)
class Glass:
    """A lens with the standard uncertainties of its distortion. covariance (8, 8) in the order of LENS_NAMES.

    is_known  the distortion is stated or was found: what is still bent on the picture is no lens's doing
    causes    what moves its figures, independent of one another, each by one standard uncertainty (8,);
              photographs that share the lens name them alike
    """

    lens: Lens
    covariance: Array
    note: str
    is_known: bool
    causes: tuple[tuple[str, Array], ...]


def glass_of(arrays: PhotoArrays) -> Glass:
    """The distortion as calibrated or stated, as straight lines show it, or as of a lens that nothing is known of.

    What is not known is no reason to leave it out: its standard uncertainty goes into every size.
    """
    if arrays.seen is not None:
        seen = arrays.seen
        return Glass(seen.lens, seen.covariance, seen.note, True, seen.causes)
    lens, std = arrays.lens.lens, arrays.lens.std.copy()
    std[:3] = 0.0
    plain = np.diag(std**2)
    if arrays.photo.distortion:
        return Glass(lens, plain, "lens distortion as stated", True, _causes(arrays, plain))
    if arrays.straight_px:
        bend, why = try_bend(arrays.straight_px, arrays.straight_std_px, lens, std[3:5])
        if bend is None:
            note = f"lens distortion not known: {why}"
            return Glass(lens, plain, note, False, _causes(arrays, plain))
        covariance = np.zeros((8, 8))
        covariance[3:5, 3:5] = bend.covariance
        k1, k2 = (float(value) for value in bend.figures)
        bent = Lens(lens.focal_px, lens.centre_px, k1, k2)
        return Glass(bent, covariance, bend.note, True, _causes(arrays, covariance))
    note = (
        "lens distortion not known and not taken away; what it may do is in the uncertainty. Straight lines "
        "would tell it: dryfit photo mark PHOTO --line NAME=X,Y:X,Y:X,Y --straight"
    )
    return Glass(lens, plain, note, False, _causes(arrays, plain))


def _causes(arrays: PhotoArrays, covariance: Array) -> tuple[tuple[str, Array], ...]:
    return tuple((f"lens ({arrays.lens_key}): {name}", column) for name, column in root_of(covariance))


def shifted(glass: Glass, by: Array) -> Glass:
    """The lens with its figures changed by (8,)."""
    focal, x, y, k1, k2, p1, p2, k3 = (float(value) for value in glass.lens.vector + by)
    return replace(glass, lens=Lens(focal, np.array([x, y]), k1, k2, p1, p2, k3))


def flat_marks(glass: Glass, marks_px: Array) -> Array:
    """Marks (n, 2) free of distortion."""
    if not len(marks_px):
        return marks_px
    return straighten(glass.lens, marks_px, 1.0)[0]


def vanishing_point(arrays: PhotoArrays, axis: BuildingAxis, glass: Glass) -> VanishingPoint:
    """Where lines along an axis meet. Raises ComputationRefused."""
    segments = arrays.segments_px[axis]
    flat = flat_marks(glass, segments.reshape(-1, 2))
    return fit_vanishing_point(flat.reshape(-1, 2, 2), arrays.segment_std_px[axis])


def standpoint_of(arrays: PhotoArrays) -> CameraDistance | CameraFocal | LeastDistance | None:
    """What tells how far the camera stood from a plane; None where nothing does."""
    photo, std = arrays.photo, arrays.lens.std
    if photo.distance_mm is not None:
        return CameraDistance(photo.distance_mm.value, photo.distance_mm.std)
    if not arrays.lens.is_focal_guessed and np.isfinite(std[0]):
        return CameraFocal(arrays.lens.lens.focal_px, float(std[0]), arrays.centre_px, float(max(std[1:3])))
    if photo.least_distance_mm is not None:
        return LeastDistance(photo.least_distance_mm)
    return None
