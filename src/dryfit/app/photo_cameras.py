"""The camera of each photograph by whichever method is possible, and how far each mark lies from where it puts it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from dryfit.app.photo_arrays import PhotoArrays, photo_arrays
from dryfit.app.photo_control import control_known_points, resect_known
from dryfit.app.photo_lens import Glass, glass_of, vanishing_point
from dryfit.app.photo_methods import LEAST_COMMON
from dryfit.app.photo_plane_sizes import see_plane
from dryfit.app.photo_size_records import Suspect, Tried
from dryfit.app.photo_together import Together, adjust_together, sets_of
from dryfit.app.photographs import PhotoAtHand
from dryfit.base.arrays import Array
from dryfit.base.errors import ComputationRefused
from dryfit.calc.photo import VanishingPoint, horizon_through, upright_view_by_lens
from dryfit.model.photo import BUILDING_AXES, BuildingAxis, Point2, Point3

TOGETHER = "together with other photographs"
KNOWN_POINTS = "camera from known points"
PLANE = "plane"
UPRIGHT = "vanishing points"
# Lines that meet farther away than so many widths of the picture are drawn as parallel (common practice, no source).
_FAR = 50.0
_KEPT: dict[object, Mapping[str, PhotoCamera]] = {}
_MOST_KEPT = 8


@dataclass(frozen=True, slots=True)
class MarkResidual:
    """How far a mark lies from where the camera puts it.

    name     of the point; of a line's end "NAME, first" or "NAME, last"
    at_px    the mark;  off_px: measured less computed, on the picture as it lies
    test     chi-square of two degrees of freedom without blunders; None where nothing controls it
    is_used  whether the camera rests on it; a mark that was set aside is compared with the others
    """

    name: str
    at_px: Point2
    off_px: Point2
    test: float | None
    is_used: bool

    @property
    def distance_px(self) -> float:
        """Length of off_px."""
        return float(np.hypot(*self.off_px))


@dataclass(frozen=True, slots=True)
class Vanishing:
    """Where the lines along an axis meet, on the picture free of lens distortion.

    place_px  None where they stay parallel on it;  lines: their names;  tests: standard normal without blunders,
    None where there are only two
    """

    axis: BuildingAxis
    place_px: Point2 | None
    lines: tuple[str, ...]
    tests: tuple[float | None, ...]


@dataclass(frozen=True, slots=True)
class PhotoCamera:
    """What is known of the camera of one photograph.

    method     by which it was found; "" where none is possible
    about      the other photographs, or the planes;  why: what it rests on
    tried      methods that come before it and were not possible, and why
    position_mm  of the camera in the building's axes, where known points give it
    rms_px     root mean square of the residuals of the marks it rests on, by coordinate; None without any
    p_value    of the test that all goes together; None where nothing is left to test
    horizon    (a, b, c) with a x + b y + c = 0 [px], a and b of unit norm; None where it is not known
    suspects   what does not go together with the rest
    """

    photo: str
    method: str
    about: str
    why: str
    tried: tuple[Tried, ...]
    focal_px: float | None
    focal_std_px: float | None
    position_mm: Point3 | None
    rms_px: float | None
    p_value: float | None
    residuals: tuple[MarkResidual, ...]
    vanishing: tuple[Vanishing, ...]
    horizon: Point3 | None
    suspects: tuple[Suspect, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Found:
    """One method's answer."""

    method: str
    about: str
    why: str
    residuals: tuple[MarkResidual, ...] = ()
    rms_px: float | None = None
    p_value: float | None = None
    focal: tuple[float, float] | None = None
    position_mm: Point3 | None = None
    suspects: tuple[Suspect, ...] = ()


def see_cameras(at_hand: Sequence[PhotoAtHand]) -> Mapping[str, PhotoCamera]:
    """The camera of each photograph that has marks and no fault that stops; found once for the same marks."""
    fit = [item for item in at_hand if item.marks is not None and item.state != "stop"]
    key = tuple((item.photo, item.picture.sha256 if item.picture else "", item.marks) for item in fit)
    if key not in _KEPT:
        while len(_KEPT) >= _MOST_KEPT:
            _KEPT.pop(next(iter(_KEPT)))
        _KEPT[key] = find_all([photo_arrays(item) for item in fit])
    return _KEPT[key]


def find_all(several: Sequence[PhotoArrays]) -> Mapping[str, PhotoCamera]:
    """The cameras of photographs, by id."""
    joined: dict[str, Together | ComputationRefused] = {}
    for group in sets_of(several):
        answer: Together | ComputationRefused
        try:
            answer = adjust_together(group)
        except ComputationRefused as refusal:
            answer = refusal
        joined.update({item.photo.id: answer for item in group})
    return {arrays.photo.id: _find(arrays, joined.get(arrays.photo.id)) for arrays in several}


def _find(arrays: PhotoArrays, joined: Together | ComputationRefused | None) -> PhotoCamera:
    """The first method that answers; the others before it with the reason."""
    tried: list[Tried] = []
    glass = glass_of(arrays)
    vanishing, points, why_not = _upright(arrays, glass)
    horizon, notes = _horizon(arrays, points)
    found = _together(arrays, joined, tried) or _known(arrays, tried) or _planes(arrays, tried)
    if found is None and vanishing and horizon is not None:
        counts = ", ".join(f"{len(item.lines)} lines along {item.axis}" for item in vanishing)
        found = _Found(UPRIGHT, "", counts)
    if found is None:
        tried.append(why_not)
        found = _Found("", "", "no method is possible with these marks")
    control = control_known_points(arrays)
    suspects = {(item.photo, item.where): item for item in (*control, *found.suspects)}
    focal = found.focal or (None, None)
    return PhotoCamera(
        photo=arrays.photo.id,
        method=found.method,
        about=found.about,
        why=found.why,
        tried=tuple(tried),
        focal_px=focal[0],
        focal_std_px=focal[1],
        position_mm=found.position_mm,
        rms_px=found.rms_px,
        p_value=found.p_value,
        residuals=found.residuals,
        vanishing=vanishing,
        horizon=horizon,
        suspects=tuple(item for item in suspects.values() if item.photo in ("", arrays.photo.id)),
        notes=(glass.note, *notes),
    )


def _together(
    arrays: PhotoArrays, joined: Together | ComputationRefused | None, tried: list[Tried]
) -> _Found | None:
    if joined is None:
        why = f"no other photograph shares {LEAST_COMMON} points with it"
        tried.append(Tried(TOGETHER, why, "mark the same points, under the same names, on a second one"))
        return None
    if isinstance(joined, ComputationRefused):
        tried.append(Tried(TOGETHER, joined.what, joined.do))
        return None
    given, found = joined.given, joined.search.without
    place = given.photos.index(arrays.photo.id)
    rows = np.flatnonzero(given.problem.photo == place)
    flip = np.array([-1.0 if found.mirrored[place] else 1.0, 1.0])
    residuals = [
        _residual(
            given.names[int(given.problem.point[row])],
            given.problem.marks_px[row],
            found.residual_px[row] * flip,
            float(found.normalised[row]),
            bool(found.is_used[row]),
        )
        for row in rows
        if np.isfinite(found.residual_px[row]).all()
    ]
    lens = int(given.problem.lens_of_photo[place])
    start = 3 * len(found.network.points_mm) + 6 * len(given.photos) + 8 * lens
    others = [id for id in given.photos if id != arrays.photo.id]
    return _Found(
        method=TOGETHER,
        about=", ".join(others),
        why=f"{len(rows)} points in common with {', '.join(others)}",
        residuals=tuple(residuals),
        rms_px=_rms(residuals),
        p_value=found.p_value,
        focal=(float(found.network.lenses[lens, 0]), _root(found.covariance[start, start])),
        suspects=joined.suspects,
    )


def _known(arrays: PhotoArrays, tried: list[Tried]) -> _Found | None:
    answer = resect_known(arrays)
    if answer is None:
        why = f"{len(arrays.known)} known points give no camera"
        tried.append(Tried(KNOWN_POINTS, why, "mark six or more known points, spread in depth"))
        return None
    rows, found = answer
    flip = np.array([-1.0 if arrays.photo.is_mirrored else 1.0, 1.0])
    residuals = [
        _residual(arrays.names[row], arrays.marks_px[row], off * flip, float(test), True)
        for row, off, test in zip(rows, found.residual_px, found.normalised, strict=True)
    ]
    is_free = "focal_px" in found.estimated
    index = found.estimated.index("focal_px") if is_free else 0
    x, y, z = (float(value) for value in found.pose.position_mm)
    return _Found(
        method=KNOWN_POINTS,
        about="",
        why=f"{len(rows)} known points",
        residuals=tuple(residuals),
        rms_px=_rms(residuals),
        p_value=found.p_value,
        focal=(found.lens.focal_px, _root(found.covariance[index, index]) if is_free else 0.0),
        position_mm=(x, y, z),
    )


def _planes(arrays: PhotoArrays, tried: list[Tried]) -> _Found | None:
    """All planes that are determined; each mark lies in one of them."""
    own = [plane.name for plane in arrays.marks.planes if not plane.parallel_to]
    if not own:
        tried.append(Tried(PLANE, "no plane is stated", "state a plane and what is known in it"))
    residuals: list[MarkResidual] = []
    suspects: list[Suspect] = []
    seen: list[str] = []
    chances: list[float] = []
    for name in own:
        try:
            given, view, found = see_plane(arrays, name)
        except ComputationRefused as refusal:
            tried.append(Tried(f'plane "{name}"', refusal.what, refusal.do))
            continue
        seen.append(name)
        suspects += found
        chances += [] if view.p_value is None else [view.p_value]
        residuals += [
            _residual(mark, at, off, float("nan"), True)
            for mark, at, off in zip(given.names, given.marks_px, view.residual_px, strict=True)
        ]
    if not seen:
        return None
    return _Found(
        method=PLANE,
        about=", ".join(seen),
        why="what is known in it" if len(seen) == 1 else "what is known in each",
        residuals=tuple(residuals),
        rms_px=_rms(residuals),
        # of several planes the worst, so often as there are planes: Bonferroni's inequality
        p_value=min(min(chances) * len(chances), 1.0) if chances else None,
        suspects=tuple(suspects),
    )


def _upright(
    arrays: PhotoArrays, glass: Glass
) -> tuple[tuple[Vanishing, ...], Mapping[BuildingAxis, VanishingPoint], Tried]:
    """Where lines along each axis meet, as shown and as computed, and what is missing for the others."""
    found: dict[BuildingAxis, VanishingPoint] = {}
    why = Tried(UPRIGHT, "too few lines along the axes", "mark two lines along z, and two along x and y")
    for axis in BUILDING_AXES:
        if len(arrays.segments_px[axis]) < 2:
            continue
        try:
            found[axis] = vanishing_point(arrays, axis, glass)
        except ComputationRefused as refusal:
            why = Tried(UPRIGHT, f"lines along {axis}: {refusal.what}", refusal.do)
    listed = tuple(_vanishing(arrays, axis, point) for axis, point in found.items())
    return listed, found, why


def _vanishing(arrays: PhotoArrays, axis: BuildingAxis, point: VanishingPoint) -> Vanishing:
    x, y = (float(value) for value in point.place_px)
    reach = _FAR * max(arrays.width_px, arrays.height_px)
    is_near = np.isfinite([x, y]).all() and max(abs(x), abs(y)) < reach
    return Vanishing(
        axis,
        (x, y) if is_near else None,
        tuple(line.name for line in arrays.marks.lines if line.along == axis),
        tuple(None if np.isnan(test) else float(test) for test in point.normalised),
    )


def _horizon(
    arrays: PhotoArrays, found: Mapping[BuildingAxis, VanishingPoint]
) -> tuple[Point3 | None, tuple[str, ...]]:
    """The horizon, and in words why there is none although there are vanishing points."""
    try:
        if "x" in found and "y" in found:
            line = horizon_through([found["x"], found["y"]]).line
        elif "z" in found and not arrays.lens.is_focal_guessed:
            std = arrays.lens.std
            line = upright_view_by_lens(
                found["z"], arrays.lens.lens, float(std[0]), float(max(std[1:3]))
            ).horizon
        else:
            return None, ()
    except ComputationRefused as refusal:
        return None, (f"no horizon: {refusal.what}",)
    a, b, c = (float(value) for value in line)
    return (a, b, c), ()


def _residual(name: str, at: Array, off: Array, test: float, is_used: bool) -> MarkResidual:
    return MarkResidual(
        name,
        (float(at[0]), float(at[1])),
        (float(off[0]), float(off[1])),
        None if np.isnan(test) else test,
        is_used,
    )


def _rms(residuals: Sequence[MarkResidual]) -> float | None:
    used = [value for item in residuals if item.is_used for value in item.off_px]
    return float(np.sqrt(np.mean(np.square(used)))) if used else None


def _root(variance: float) -> float:
    return float(np.sqrt(max(variance, 0.0)))
