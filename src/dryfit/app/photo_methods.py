"""Which of the camera methods a photograph's marks allow, and why not the others: the methods themselves are asked."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any

import numpy as np

from dryfit.app.photo_arrays import PhotoArrays, height_input, plane_input
from dryfit.base.arrays import Array
from dryfit.base.errors import ComputationRefused
from dryfit.calc.photo import (
    carry_distortion,
    fit_plane,
    fit_plumb_lines,
    fit_vanishing_point,
    horizon_through,
    measure_heights,
    resect,
    straighten,
    upright_view,
    upright_view_by_lens,
)

# Of a joint adjustment, for one photograph: see calc/photo/joint_adjust.
LEAST_COMMON = 5


@dataclass(frozen=True, slots=True)
class MethodLine:
    """One camera method. about: the plane, or the photographs it goes together with; "" the whole picture.

    is_possible  the method works with these marks;  why: what it stands on, or what is missing;  do: what would help
    """

    method: str
    about: str
    is_possible: bool
    why: str
    do: str = ""


def list_methods(arrays: PhotoArrays, others: Sequence[PhotoArrays]) -> tuple[MethodLine, ...]:
    """Every method for one photograph; others: the project's other photographs whose marks are fit to be used."""
    return (
        _distortion(arrays),
        *_planes(arrays),
        _single_view(arrays),
        _resection(arrays),
        _joint(arrays, others),
    )


def _distortion(arrays: PhotoArrays) -> MethodLine:
    name = "lens distortion from straight lines"
    if arrays.seen is not None:
        return MethodLine(name, "", True, f"the {arrays.seen.note}: lines are not needed for it")
    if arrays.photo.distortion:
        return MethodLine(name, "", True, "the distortion is stated, and lines are not needed for it")
    count = len(arrays.straight_px)

    def run() -> None:
        std = float(np.sqrt(np.mean(arrays.straight_std_px**2))) if count else 1.0
        carry_distortion(
            fit_plumb_lines(arrays.straight_px, std, arrays.lens.lens).lens, arrays.lens.lens.focal_px
        )

    return _ask(name, "", run, f"{_count(count, 'line')} straight in reality")


def _planes(arrays: PhotoArrays) -> Iterator[MethodLine]:
    name = "plane"
    own = [plane for plane in arrays.marks.planes if not plane.parallel_to]
    if not own:
        do = 'state a plane: [[plane]] with axes = ["x", "z"], and plane = "..." of the marks in it'
        yield MethodLine(name, "", False, "no plane is stated", do)
    for plane in own:
        given = plane_input(arrays, plane.name)
        what = (
            f"{_count(len(given.points), 'known point')}, {_count(len(given.lengths), 'known length')} and "
            f"{_count(len(given.directions), 'line')} along its axes"
        )
        if not given.names:
            do = f'write plane = "{plane.name}" with the points that lie in it'
            yield MethodLine(name, plane.name, False, "nothing is marked in it", do)
            continue
        marks, covariance = _free(arrays, given.marks_px, given.std_px)
        run = partial(fit_plane, marks, covariance, given.points, given.lengths, given.directions)
        yield _ask(name, plane.name, run, what)


def _single_view(arrays: PhotoArrays) -> MethodLine:
    name = "heights from vanishing points"
    given = height_input(arrays)
    counts = ", ".join(f"{len(arrays.segments_px[axis])} along {axis}" for axis in ("x", "y", "z"))
    if not given.known:
        why = f"no upright length is known ({counts})"
        do = 'state one: [[length]] between = [foot, top] with along = "z"'
        return MethodLine(name, "", False, why, do)

    def run() -> None:
        vertical = _vanishing(arrays, "z")
        level = [axis for axis in ("x", "y") if len(arrays.segments_px[axis]) > 1]
        if len(level) == 2:
            view = upright_view(vertical, horizon_through([_vanishing(arrays, axis) for axis in level]))
        elif not arrays.lens.is_focal_guessed:
            std = arrays.lens.std
            view = upright_view_by_lens(vertical, arrays.lens.lens, float(std[0]), float(max(std[1:3])))
        else:
            what = "neither two level directions nor a focal length give the horizon"
            raise ComputationRefused(what, name, "mark two lines along x and two along y, or state focal_px")
        known = given.known_px
        measure_heights(view, known, given.known, known, np.vstack([given.std_px[: len(known)]] * 2))

    return _ask(name, "", run, f"{_count(len(given.known), 'known height')}; lines: {counts}")


def _resection(arrays: PhotoArrays) -> MethodLine:
    name = "camera from known points"
    index = list(arrays.known)
    estimated = ("focal_px",) if arrays.lens.std[0] > 0.0 else ()

    def run() -> None:
        std = float(arrays.known_std_mm.max()) if index else 0.0
        lens = arrays.lens.lens if not estimated else None
        marks, spread = arrays.marks_px[index], arrays.std_px[index]
        centre = np.array(arrays.centre_px)
        resect(marks, spread, arrays.known_mm, std, estimated, lens, None if lens else centre)

    return _ask(name, "", run, f"{_count(len(index), 'known point')}")


def _joint(arrays: PhotoArrays, others: Sequence[PhotoArrays]) -> MethodLine:
    """Counted, not run: the adjustment of all photographs is the schedule's work."""
    name = "together with other photographs"
    mine = set(arrays.names)
    shared = {other.photo.id: len(mine & set(other.names)) for other in others if other is not arrays}
    common = {name for other in others if other is not arrays for name in other.names} & mine
    fit = [f"{id} ({count})" for id, count in shared.items() if count >= LEAST_COMMON]
    if len(common) < LEAST_COMMON or not fit:
        best = max(shared.values(), default=0)
        why = "no other photograph has marks that can be used"
        if shared:
            why = f"at most {_count(best, 'point')} in common with another photograph"
        do = f"mark {LEAST_COMMON} or more of the same points, under the same names, on two photographs"
        return MethodLine(name, "", False, why, do)
    return MethodLine(name, ", ".join(fit), True, f"{_count(len(common), 'common point')}")


def _vanishing(arrays: PhotoArrays, axis: Any) -> Any:
    segments = arrays.segments_px[axis]
    flat, _ = _free(arrays, segments.reshape(-1, 2), arrays.segment_std_px[axis].ravel())
    return fit_vanishing_point(flat.reshape(-1, 2, 2), arrays.segment_std_px[axis])


def _free(arrays: PhotoArrays, marks: Array, std: Array) -> tuple[Array, Array]:
    """Marks without the distortion that is stated, with their covariance (2n, 2n); as they are where none is."""
    if not (arrays.photo.distortion or arrays.seen is not None) or not len(marks):
        return marks, std
    return straighten(arrays.lens.lens, marks, std)


def _ask(method: str, about: str, run: Callable[[], object], basis: str) -> MethodLine:
    """Whether a method answers, in its own words where it refuses."""
    try:
        run()
    except ComputationRefused as refusal:
        return MethodLine(method, about, False, f"{refusal.what} ({basis})", refusal.do)
    return MethodLine(method, about, True, basis)


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}{'' if number == 1 else 's'}"
