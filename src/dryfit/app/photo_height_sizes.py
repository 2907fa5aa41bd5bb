"""Upright sizes of one photograph, by vanishing points and known heights."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from dryfit.app.photo_arrays import HeightInput, PhotoArrays, height_input
from dryfit.app.photo_lens import Glass, flat_marks, glass_of, shifted, vanishing_point
from dryfit.app.photo_plane_sizes import length_label
from dryfit.app.photo_size_records import LEVEL, Log, Piece, Suspect, Wanted
from dryfit.base.arrays import Array
from dryfit.base.errors import ComputationRefused
from dryfit.calc.photo import (
    Heights,
    KnownHeight,
    UprightView,
    VanishingPoint,
    horizon_through,
    measure_heights,
    upright_view,
    upright_view_by_lens,
)
from dryfit.calc.photo.records import chi_square_limit
from dryfit.model.photo import BuildingAxis

METHOD = "heights from vanishing points"
_LEVEL_AXES: tuple[BuildingAxis, ...] = ("x", "y")
_ASSUMED = ("the feet of all upright things stand on one level",)
_UNTESTED = "lines and known heights are not tested against one another: the lens may bend them"
_STEP = 0.1  # of a standard uncertainty, for derivatives


@dataclass(frozen=True, slots=True, eq=False)
class _View:
    upright: UprightView
    points: dict[BuildingAxis, VanishingPoint]
    note: str


def measure_upright(arrays: PhotoArrays, wanted: Sequence[Wanted], log: Log) -> list[Piece]:
    """The sizes along z, from foot to top; the others are logged with the reason."""
    upright = [item for item in wanted if item.size.along == "z"]
    for item in wanted:
        if item.size.along != "z":
            log.add(item, METHOD, "it is not said to be upright", 'write along = "z" where it is')
    if not upright:
        return []
    try:
        return [_measure(arrays, upright)]
    except ComputationRefused as refusal:
        for item in upright:
            log.add(item, METHOD, refusal.what, refusal.do)
        return []


def _measure(arrays: PhotoArrays, wanted: Sequence[Wanted]) -> Piece:
    glass, given = glass_of(arrays), _chosen(arrays, wanted)
    view = _view(arrays, glass)
    heights = _heights(arrays, given, glass)
    values, covariance = heights.sizes.values_mm, heights.sizes.covariance.copy()
    shared: dict[str, Array] = {}
    names = [item for item in arrays.marks.lengths if item.along == "z"]
    for place, (item, name) in enumerate(zip(given.known, names, strict=True)):
        higher = KnownHeight(item.height_mm + _STEP * item.std_mm, item.std_mm)
        known = (*given.known[:place], higher, *given.known[place + 1 :])
        effect = (_heights(arrays, replace(given, known=known), glass).sizes.values_mm - values) / _STEP
        shared[length_label(name.between, name.length.value, name.length.std)] = effect
    for label, by in glass.causes:
        effect = (_heights(arrays, given, shifted(glass, _STEP * by)).sizes.values_mm - values) / _STEP
        shared[label] = effect
        covariance += np.outer(effect, effect)
    return Piece(
        photos=(arrays.photo.id,),
        method="heights from vanishing points",
        about="",
        wanted=tuple(wanted),
        values_mm=values,
        covariance=covariance,
        shared=shared,
        one_scale=_one_scale(given, values),
        rms_px=float("nan"),
        p_value=heights.p_value,
        suspects=tuple(_suspects(arrays, view, heights)) if glass.is_known else (),
        notes=(glass.note, view.note, *_ASSUMED, *(() if glass.is_known else (_UNTESTED,))),
    )


def _chosen(arrays: PhotoArrays, wanted: Sequence[Wanted]) -> HeightInput:
    """Arguments with only the sizes that are to be measured this way."""
    given = height_input(arrays)
    rows = [given.targets.index(item.size.id) for item in wanted]
    count = len(given.known)
    std = np.vstack([given.std_px[:count], given.std_px[count:][rows]])
    return replace(
        given,
        targets_px=given.targets_px[rows],
        targets=tuple(given.targets[row] for row in rows),
        std_px=std,
    )


def _view(arrays: PhotoArrays, glass: Glass) -> _View:
    found: dict[BuildingAxis, VanishingPoint] = {"z": vanishing_point(arrays, "z", glass)}
    for axis in _LEVEL_AXES:
        if len(arrays.segments_px[axis]) > 1:
            found[axis] = vanishing_point(arrays, axis, glass)
    if len(found) == 3:
        horizon = horizon_through([found[axis] for axis in _LEVEL_AXES])
        return _View(upright_view(found["z"], horizon), found, "horizon from two level directions")
    if not arrays.lens.is_focal_guessed:
        std = arrays.lens.std
        upright = upright_view_by_lens(found["z"], arrays.lens.lens, float(std[0]), float(max(std[1:3])))
        return _View(upright, found, "horizon from the upright lines and the focal length")
    what = "neither two level directions nor a focal length give the horizon"
    raise ComputationRefused(what, METHOD, "mark two lines along x and two along y, or state focal_px")


def _heights(arrays: PhotoArrays, given: HeightInput, glass: Glass) -> Heights:
    view = _view(arrays, glass)
    known = flat_marks(glass, given.known_px.reshape(-1, 2)).reshape(-1, 2, 2)
    targets = flat_marks(glass, given.targets_px.reshape(-1, 2)).reshape(-1, 2, 2)
    return measure_heights(view.upright, known, given.known, targets, given.std_px)


def _one_scale(given: HeightInput, values: Array) -> Array:
    """How wrong each would be with the scale of the tallest known one: pixels over pixels."""
    seen = np.linalg.norm(given.known_px[:, 1] - given.known_px[:, 0], axis=1)
    tallest = int(seen.argmax())
    scale = given.known[tallest].height_mm / seen[tallest]
    lengths = np.linalg.norm(given.targets_px[:, 1] - given.targets_px[:, 0], axis=1)
    result: Array = lengths * scale / values - 1.0
    return result


def _suspects(arrays: PhotoArrays, view: _View, heights: Heights) -> list[Suspect]:
    """Known heights tested against one another, and lines against the point in which the others meet."""
    found = []
    photo = arrays.photo.id
    names = [item for item in arrays.marks.lengths if item.along == "z"]
    worst = _worst(heights.normalised)
    if worst is not None:
        ends = names[worst].between
        what = f"this known height does not go with the others: {abs(heights.normalised[worst]):.1f} times its std"
        do = "look at the marks of its foot and top, and whether it is stated rightly"
        found.append(
            Suspect(photo, f"length {ends[0]} to {ends[1]}", what, do, float(heights.normalised[worst]))
        )
    for axis, point in view.points.items():
        lines = [line for line in arrays.marks.lines if line.along == axis]
        worst = _worst(point.normalised)
        if worst is not None:
            test = float(point.normalised[worst])
            what = f"it does not meet where the other lines along {axis} meet: {abs(test):.1f} times its std"
            do = "look at its marks, and whether it follows that axis"
            found.append(Suspect(photo, f'line "{lines[worst].name}"', what, do, test))
    return found


def _worst(normalised: Array) -> int | None:
    tests = np.nan_to_num(np.abs(normalised))
    if not len(tests) or tests.max() <= chi_square_limit(LEVEL / len(tests), 1) ** 0.5:
        return None
    return int(tests.argmax())
