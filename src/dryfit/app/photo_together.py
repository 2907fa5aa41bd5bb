"""Sizes from several photographs together: one adjustment of their cameras and of the points that they share."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from dryfit.app.photo_arrays import JointInput, PhotoArrays, joint_input
from dryfit.app.photo_groups import counts_of, group_photos, sets_of
from dryfit.app.photo_methods import LEAST_COMMON
from dryfit.app.photo_places import settle_places
from dryfit.app.photo_plane_sizes import length_label, place_label
from dryfit.app.photo_size_records import LEVEL, Log, Piece, Suspect, Wanted, rms
from dryfit.base.errors import ComputationRefused
from dryfit.calc.photo import (
    JointAdjustment,
    MarkSearch,
    Sizes,
    Start,
    find_cameras,
    joint_sizes,
    search_marks,
)
from dryfit.calc.photo.records import chi_square_limit

__all__ = ["METHOD", "Together", "adjust_together", "measure_together", "sets_of"]

METHOD = "together with other photographs"


def measure_together(several: Sequence[PhotoArrays], wanted: Sequence[Wanted], log: Log) -> list[Piece]:
    """The sizes between points that two or more photographs share; the others are logged with the reason."""
    pieces: list[Piece] = []
    joined: set[str] = set()
    for group in sets_of(several):
        ids = [item.photo.id for item in group]
        joined.update(ids)
        mine = [item for item in wanted if item.photo in ids]
        common = {name for name, count in counts_of(group).items() if count > 1}
        fit = [item for item in mine if set(item.size.between) <= common]
        for item in mine:
            lone = [name for name in item.size.between if name not in common]
            if lone:
                why = f"{' and '.join(lone)} on this photograph only"
                log.add(item, METHOD, why, f"mark {lone[0]} on another photograph too")
        if not fit:
            continue
        try:
            pieces.append(_measure(group, _once(fit)))
        except ComputationRefused as refusal:
            for item in fit:
                log.add(item, METHOD, f"{refusal.what} (photographs in order: {', '.join(ids)})", refusal.do)
    alone = {one.photos[0]: one for one in group_photos(several) if len(one.photos) == 1}
    for item in wanted:
        if item.photo not in joined:
            one = alone[item.photo]
            why = one.why or f"no other photograph shares {LEAST_COMMON} points with it"
            log.add(
                item, METHOD, why, one.do or "mark the same points, under the same names, on a second one"
            )
    return pieces


def _once(wanted: Sequence[Wanted]) -> list[Wanted]:
    """A size that several photographs ask for is one size: it is measured once."""
    found: dict[tuple[frozenset[str], str], Wanted] = {}
    for item in wanted:
        found.setdefault((frozenset(item.size.between), item.size.of), item)
    return list(found.values())


@dataclass(frozen=True, slots=True, eq=False)
class Together:
    """One adjustment of photographs that hang together, and what is suspected in it."""

    given: JointInput
    search: MarkSearch
    suspects: tuple[Suspect, ...]


def adjust_together(group: Sequence[PhotoArrays]) -> Together:
    """Cameras and points of one of sets_of. Raises ComputationRefused.

    Marks are tested by the photographs alone, then known places by those marks: a place that is stated wrongly would
    else make good marks look wrong.
    """
    given = joint_input(group)
    start = find_cameras(given.problem)
    search = search_marks(replace(given.problem, known=()), start, LEVEL)
    suspects: list[Suspect] = []
    if given.problem.known:
        given, search, suspects = settle_places(given, search, start)
    found = search.without
    suspects = [*_mirrored(group, found, start), *_marks(given, search), *_lengths(given, found), *suspects]
    return Together(given, search, tuple(suspects))


def _measure(group: Sequence[PhotoArrays], wanted: Sequence[Wanted]) -> Piece:
    together = adjust_together(group)
    given, found = together.given, together.search.without
    index = {name: number for number, name in enumerate(given.names)}
    pairs = [(index[item.size.between[0]], index[item.size.between[1]]) for item in wanted]
    lengths = given.problem.lengths
    whole = joint_sizes(found, [*pairs, *((item.first, item.second) for item in lengths)])
    count = len(wanted)
    shared = {}
    for place, item in enumerate(lengths):
        # how a size moves with a known length: covariance with the adjusted length over the variance stated
        effect = whole.covariance[:count, count + place] / item.std_mm
        ends = (given.names[item.first], given.names[item.second])
        if np.abs(effect).max() > 1e-3:
            shared[length_label(ends, item.length_mm, item.std_mm)] = effect
    places = _effects_of_places(given, found, pairs)
    shared |= {label: effect for label, effect in places.items() if np.abs(effect).max() > 1e-3}
    sizes = Sizes(whole.values_mm[:count], whole.covariance[:count, :count])
    surveyed = f", {len(given.problem.known)} known places" if found.is_framed else ""
    notes = (
        f"{len(given.names)} common points{surveyed} and {len(lengths)} known lengths in one adjustment",
        *given.notes,
    )
    return Piece(
        photos=given.photos,
        method="together with other photographs",
        about=", ".join(given.photos),
        wanted=tuple(wanted),
        values_mm=sizes.values_mm,
        covariance=sizes.covariance,
        shared=shared,
        one_scale=_one_scale(given, wanted, sizes),
        rms_px=rms(found.residual_px[found.is_used]),
        p_value=found.p_value,
        suspects=together.suspects,
        notes=notes,
        is_framed=found.is_framed,
    )


def _mirrored(group: Sequence[PhotoArrays], found: JointAdjustment, start: Start) -> list[Suspect]:
    suspects = []
    for place, item in enumerate(group):
        if bool(found.mirrored[place]) == item.photo.is_mirrored:
            continue
        test = start.tests[place]
        said = "is said to be flipped left to right and is not" if item.photo.is_mirrored else "is mirrored"
        what = (
            f"it {said}: its marks fit the other photographs within {test.flipped_px:.3g} px turned round, and within "
            f"{test.as_is_px:.3g} px as it is"
        )
        state = "false" if item.photo.is_mirrored else "true"
        do = f"look for writing on the picture, then state mirrored = {state} of this photo"
        suspects.append(Suspect(item.photo.id, f'photo "{item.photo.id}"', what, do))
    return suspects


def _marks(given: JointInput, search: MarkSearch) -> list[Suspect]:
    suspects = []
    for item in search.suspects:
        photo, name = given.photos[item.photo], given.names[item.point]
        away = (
            "" if np.isnan(item.distance_px) else f", {item.distance_px:.1f} px from where the others put it"
        )
        what = f"its mark does not go with the other photographs{away}"
        do = "look at it under the magnifier and move it, remove it, or state a larger std_px"
        if item.alike:
            others = [given.photos[int(given.problem.photo[row])] for row in item.alike]
            what += f"; or that on {', '.join(others)}: two views alone do not tell which"
        test = None if np.isnan(item.test) else item.test
        suspects.append(Suspect(photo, f'point "{name}"', what, do, test))
    return suspects


def _lengths(given: JointInput, found: JointAdjustment) -> list[Suspect]:
    """Things of known size against one another: the worst is named."""
    tests = np.nan_to_num(np.abs(found.length_normalised))
    if not len(tests) or tests.max() <= chi_square_limit(LEVEL / len(tests), 1) ** 0.5:
        return []
    worst = int(tests.argmax())
    item = given.problem.lengths[worst]
    what = (
        f"this known length does not go with the others: off by {float(found.length_residual_mm[worst]):+.4g} mm, "
        f"{tests[worst]:.1f} times the std of that"
    )
    where = f"length {given.names[item.first]} to {given.names[item.second]}"
    do = "look whether it is stated rightly, and how uncertain it is"
    return [Suspect("", where, what, do, float(found.length_normalised[worst]))]


def _effects_of_places(
    given: JointInput, found: JointAdjustment, pairs: Sequence[tuple[int, int]]
) -> dict[str, np.ndarray]:
    """How each size moves with each coordinate of a known place, by one standard uncertainty of it."""
    if not found.is_framed:
        return {}
    points, covariance = found.network.points_mm, found.point_covariance
    slope = np.zeros((len(pairs), covariance.shape[0]))
    for row, (first, second) in enumerate(pairs):
        unit = points[second] - points[first]
        unit = unit / np.linalg.norm(unit)
        slope[row, 3 * second : 3 * second + 3] = unit
        slope[row, 3 * first : 3 * first + 3] = -unit
    effects = {}
    for known in given.problem.known:
        for axis, name in enumerate("xyz"):
            label = place_label(name, given.names[known.point], float(known.place_mm[axis]), known.std_mm)
            effects[label] = slope @ covariance[:, 3 * known.point + axis] / known.std_mm
    return effects


def _one_scale(given: JointInput, wanted: Sequence[Wanted], sizes: Sizes) -> np.ndarray:
    """How wrong each would be on its own photograph with the scale of the longest known length there."""
    problem = given.problem
    marks = {
        (int(photo), int(point)): place
        for photo, point, place in zip(problem.photo, problem.point, problem.marks_px, strict=True)
    }
    index = {name: number for number, name in enumerate(given.names)}
    result = np.full(len(wanted), np.nan)
    for row, item in enumerate(wanted):
        photo = given.photos.index(item.photo)
        spans = [
            (float(np.linalg.norm(marks[photo, known.second] - marks[photo, known.first])), known.length_mm)
            for known in problem.lengths
            if (photo, known.first) in marks and (photo, known.second) in marks
        ]
        if not spans or max(spans)[0] == 0.0:
            continue
        longest = max(spans)
        first, second = (marks[photo, index[name]] for name in item.size.between)
        seen = float(np.linalg.norm(second - first))
        result[row] = seen / longest[0] * longest[1] / sizes.values_mm[row] - 1.0
    return result
