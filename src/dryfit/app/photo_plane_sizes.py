"""Sizes in a plane of one photograph, and in planes parallel to it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from dryfit.app.photo_arrays import PhotoArrays, PlaneInput, lengths_in_plane, plane_input
from dryfit.app.photo_lens import Glass, glass_of, shifted, standpoint_of
from dryfit.app.photo_size_records import LEVEL, Log, Piece, Suspect, Wanted, rms
from dryfit.base.arrays import Array
from dryfit.base.errors import ComputationRefused
from dryfit.calc.photo import (
    LeastDistance,
    PlaneLength,
    PlanePoint,
    PlaneView,
    Sizes,
    fit_plane,
    one_scale_departure,
    plane_sizes,
    straighten,
)
from dryfit.calc.photo.records import chi_square_limit

_STEP = 0.1  # of a standard uncertainty, for derivatives


@dataclass(frozen=True, slots=True, eq=False)
class _Known:
    """One thing that is known: its label for the user, and the arguments of fit_plane with it moved by one step."""

    label: str
    moved: PlaneInput


def measure_in_planes(arrays: PhotoArrays, wanted: Sequence[Wanted], log: Log) -> list[Piece]:
    """The sizes whose ends lie in a plane that is stated; the others are logged with the reason."""
    marks = arrays.marks
    planes = {plane.name: plane for plane in marks.planes}
    by_base: dict[str, list[Wanted]] = {}
    for item in wanted:
        ends = [planes.get(marks.point(name).plane) for name in item.size.between]
        first, second = ends
        if first is None or second is None:
            lost = [name for name, end in zip(item.size.between, ends, strict=True) if end is None]
            do = "write plane = with both ends, or mark them on a second photograph"
            log.add(item, "plane", f"{' and '.join(lost)} in no plane", do)
            continue
        bases = {plane.parallel_to or plane.name for plane in (first, second)}
        if len(bases) > 1 or first.offset_mm.value != second.offset_mm.value:
            why = f'one end lies in the plane "{first.name}", the other in "{second.name}"'
            log.add(item, "plane", why, "mark both on a second photograph: a plane measures what lies in it")
            continue
        by_base.setdefault(bases.pop(), []).append(item)
    pieces = []
    for base, items in by_base.items():
        try:
            pieces.append(_measure(arrays, base, items))
        except ComputationRefused as refusal:
            for item in items:
                log.add(item, f'plane "{base}"', refusal.what, refusal.do)
    return pieces


def see_plane(arrays: PhotoArrays, base: str) -> tuple[PlaneInput, PlaneView, list[Suspect]]:
    """How a plane with axes of its own is seen, and what does not go together in it. Raises ComputationRefused."""
    given, glass = _once(plane_input(arrays, base)), glass_of(arrays)
    view = _fit(given, glass)
    return given, view, _suspects(arrays, given, glass, view)


def _measure(arrays: PhotoArrays, base: str, wanted: Sequence[Wanted]) -> Piece:
    given, glass = _once(plane_input(arrays, base)), glass_of(arrays)
    view = _fit(given, glass)
    sizes, shared = _sizes(arrays, given, view, wanted)
    for known in _list_known(arrays, given):
        values = _sizes(arrays, given, _fit(known.moved, glass), wanted)[0].values_mm
        effect = (values - sizes.values_mm) / _STEP
        if np.abs(effect).max() > 1e-3:
            shared[known.label] = effect
    for label, by in glass.causes:
        values = _sizes(arrays, given, _fit(given, shifted(glass, _STEP * by)), wanted)[0].values_mm
        effect = (values - sizes.values_mm) / _STEP
        if np.abs(effect).max() > 1e-3:
            shared[label] = effect
    notes = [glass.note, *sizes.notes]
    return Piece(
        photos=(arrays.photo.id,),
        method="plane",
        about=base,
        wanted=tuple(wanted),
        values_mm=sizes.values_mm,
        covariance=sizes.covariance,
        shared=shared,
        one_scale=_one_scale(given, view, wanted, sizes.values_mm),
        rms_px=rms(view.residual_px),
        p_value=view.p_value,
        suspects=tuple(_suspects(arrays, given, glass, view)),
        notes=tuple(notes),
    )


def _once(given: PlaneInput) -> PlaneInput:
    """A known length along an axis gives its direction already: a line through the same two marks adds nothing."""
    had = {(frozenset((item.first, item.second)), item.along) for item in given.lengths}
    kept = []
    for item in given.directions:
        key = (frozenset((item.first, item.second)), item.along)
        if key not in had:
            kept.append(item)
            had.add(key)
    return replace(given, directions=tuple(kept))


def _fit(given: PlaneInput, glass: Glass) -> PlaneView:
    marks, covariance = straighten(glass.lens, given.marks_px, given.std_px, glass.covariance)
    return fit_plane(marks, covariance, given.points, given.lengths, given.directions)


def _sizes(
    arrays: PhotoArrays, given: PlaneInput, view: PlaneView, wanted: Sequence[Wanted]
) -> tuple[Sizes, dict[str, Array]]:
    """Sizes with the offsets of their planes, and how they move with each offset by one standard uncertainty.

    Offsets of two planes are stated separately: each is a cause of its own.
    """
    index = {name: number for number, name in enumerate(given.names)}
    pairs = [(index[item.size.between[0]], index[item.size.between[1]]) for item in wanted]
    first = [pair[0] for pair in pairs]
    offsets, std = given.offsets_mm[first], given.offset_std_mm[first]
    standpoint = standpoint_of(arrays)
    if not offsets.any() and not std.any():
        return plane_sizes(view, pairs), {}
    if isinstance(standpoint, LeastDistance):
        return plane_sizes(view, pairs, offsets, float(std.max()), standpoint), {}
    # an offset of zero that is uncertain still needs the camera's distance
    nearer = plane_sizes(view, pairs, offsets + 1.0, 0.0, standpoint).values_mm
    sizes = plane_sizes(view, pairs, offsets, 0.0, standpoint)
    by_offset = nearer - sizes.values_mm
    shared: dict[str, Array] = {}
    covariance = sizes.covariance.copy()
    owners = [arrays.marks.point(item.size.between[0]).plane for item in wanted]
    for plane in dict.fromkeys(owners):
        mine = np.array([owner == plane for owner in owners])
        effect = np.where(mine, by_offset * std, 0.0)
        if effect.any():
            # photographs of their own may call another plane by the same name: the figures tell them apart
            offset = arrays.marks.plane(plane).offset_mm
            shared[f'offset of the plane "{plane}" ({offset.value:g} mm, std {offset.std:g} mm)'] = effect
            covariance += np.outer(effect, effect)
    return Sizes(sizes.values_mm, covariance, sizes.notes), shared


def _list_known(arrays: PhotoArrays, given: PlaneInput) -> list[_Known]:
    """Known lengths and known points, each moved by a step of its standard uncertainty."""
    found = []
    names = lengths_in_plane(arrays.marks, given.plane)
    for place, (item, name) in enumerate(zip(given.lengths, names, strict=True)):
        longer = PlaneLength(
            item.first, item.second, item.length_mm + _STEP * item.std_mm, item.std_mm, item.along
        )
        moved = (*given.lengths[:place], longer, *given.lengths[place + 1 :])
        label = length_label(name.between, name.length.value, name.length.std)
        found.append(_Known(label, replace(given, lengths=moved)))
    across, up = arrays.marks.plane(given.plane).axes
    for place, point in enumerate(given.points):
        for axis in (across, up):
            by = (_STEP * point.std_mm, 0.0) if axis == across else (0.0, _STEP * point.std_mm)
            there = PlanePoint(point.mark, point.x_mm + by[0], point.y_mm + by[1], point.std_mm)
            points = (*given.points[:place], there, *given.points[place + 1 :])
            value = point.x_mm if axis == across else point.y_mm
            label = place_label(axis, given.names[point.mark], value, point.std_mm)
            found.append(_Known(label, replace(given, points=points)))
    return found


def place_label(axis: str, name: str, value: float, std: float) -> str:
    """What a coordinate of a known place is called, the same on every photograph that rests on it."""
    return f"{axis} of {name} ({value:g} mm, std {std:g} mm)"


def length_label(between: tuple[str, str], value: float, std: float) -> str:
    """What a known length is called, the same on every photograph that rests on it."""
    first, second = sorted(between)
    return f"length {first} to {second} ({value:g} mm, std {std:g} mm)"


def _one_scale(given: PlaneInput, view: PlaneView, wanted: Sequence[Wanted], values: Array) -> Array:
    """How wrong each size would be with the scale of the longest thing that is known in the plane, depth included."""
    index = {name: number for number, name in enumerate(given.names)}
    pairs = [(item.first, item.second) for item in given.lengths]
    known = [point.mark for point in given.points]
    pairs += [(a, b) for place, a in enumerate(known) for b in known[place + 1 :]]
    if not pairs:
        return np.full(len(wanted), np.nan)
    spans = [float(np.linalg.norm(view.marks_px[b] - view.marks_px[a])) for a, b in pairs]
    reference = view.marks_px[list(pairs[int(np.argmax(spans))])]
    ends = np.array([[index[name] for name in item.size.between] for item in wanted])
    try:
        tilt = one_scale_departure(view.matrix, reference, view.marks_px[ends])
    except ComputationRefused:
        return np.full(len(wanted), np.nan)
    places = view.points_mm[ends]
    plain = np.linalg.norm(places[:, 1] - places[:, 0], axis=1)
    result: Array = (1.0 + tilt) * plain / values - 1.0
    return result


def _suspects(arrays: PhotoArrays, given: PlaneInput, glass: Glass, view: PlaneView) -> list[Suspect]:
    """What is known of the plane, tested against one another: the worst is set aside until the rest agrees."""
    found: list[Suspect] = []
    count = len(view.normalised)
    limit = chi_square_limit(LEVEL / max(count, 1), 1) ** 0.5
    while len(found) < count:
        tests = np.nan_to_num(np.abs(view.normalised))
        if not len(tests) or tests.max() <= limit:
            break
        worst = int(tests.argmax())
        owner, rest = _without(given, worst)
        found.append(_suspect(arrays, given, owner, float(view.normalised[worst])))
        given = rest
        try:
            view = _fit(given, glass)
        except ComputationRefused:
            break
    return found


def _without(given: PlaneInput, row: int) -> tuple[object, PlaneInput]:
    """What a row of the fit belongs to, and the arguments without it."""
    owners: list[object] = [point for point in given.points for _ in ("x", "y")]
    owners += [*given.lengths, *given.directions]
    owners += [item for item in given.lengths if item.along is not None]
    owner = owners[row]
    return owner, replace(
        given,
        points=tuple(item for item in given.points if item is not owner),
        lengths=tuple(item for item in given.lengths if item is not owner),
        directions=tuple(item for item in given.directions if item is not owner),
    )


def _suspect(arrays: PhotoArrays, given: PlaneInput, owner: object, test: float) -> Suspect:
    photo, plane = arrays.photo.id, f'the plane "{given.plane}"'
    look = "look at the marks under the magnifier, and whether it is stated rightly"
    if isinstance(owner, PlanePoint):
        where = f'point "{given.names[owner.mark]}"'
        what = f"its mark or its known place does not go with the rest of {plane}"
    elif isinstance(owner, PlaneLength):
        where = f"length {given.names[owner.first]} to {given.names[owner.second]}"
        what = f"this known length does not go with the rest of {plane}"
    else:
        ends = (getattr(owner, "first", 0), getattr(owner, "second", 0))
        where = f"line from {given.names[ends[0]]} to {given.names[ends[1]]}"
        what = f"it does not follow the axis that it is said to follow in {plane}"
    return Suspect(photo, where, f"{what}: {abs(test):.1f} times its std", look, test)
