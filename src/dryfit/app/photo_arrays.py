"""A photograph's marks as the arrays that calc/photo takes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from types import MappingProxyType
from typing import Literal

import numpy as np

from dryfit.app.photo_bend import try_bend
from dryfit.app.photo_calibrated import SeenLens, unflipped
from dryfit.app.photographs import PhotoAtHand, PhotoUnfit
from dryfit.base.arrays import Array
from dryfit.calc.photo import (
    Bend,
    KnownHeight,
    Lens,
    LensBelief,
    Photograph,
    PhotoProblem,
    PlaneDirection,
    PlaneLength,
    PlanePoint,
    SpaceLength,
    SpacePoint,
    guess_lens,
    spans_frame,
)
from dryfit.model.photo import BUILDING_AXES, BuildingAxis, MarkedLength, MarkedPlane, Marks, Photo

# What is stated as exact is taken as known to a micrometre: the methods weigh by 1 / std2.
EXACT_MM = 1e-3


@dataclass(frozen=True, slots=True, eq=False)
class PhotoArrays:
    """What is marked on one photograph. Marks are as they were set, with the lens's distortion in them.

    width_px, height_px  of the upright picture
    names (n,)           of its points;  marks_px (n, 2);  std_px (n,)
    known (k,)           indices of the points whose place is known;  known_mm (k, 3);  known_std_mm (k,)
    lens                 what is believed of it before anything is computed
    lens_key             equal for photographs that share the lens
    segments_px          by building axis (s, 2, 2): first and last mark of each line along it;  segment_std_px (s, 2)
    straight_px          lines that are straight in reality, each (m, 2);  straight_std_px (l,)
    seen                 its lens as calibrated; None where it was not
    """

    photo: Photo
    marks: Marks
    width_px: int
    height_px: int
    names: tuple[str, ...]
    marks_px: Array
    std_px: Array
    known: tuple[int, ...]
    known_mm: Array
    known_std_mm: Array
    lens: LensBelief
    lens_key: str
    segments_px: Mapping[BuildingAxis, Array]
    segment_std_px: Mapping[BuildingAxis, Array]
    straight_px: tuple[Array, ...]
    straight_std_px: Array
    seen: SeenLens | None = None

    @property
    def centre_px(self) -> Array:
        """The middle of the picture (2,), or the principal point where it is stated."""
        return self.lens.lens.centre_px


@dataclass(frozen=True, slots=True, eq=False)
class PlaneInput:
    """Arguments of fit_plane for one plane, and the offset of each mark from it.

    names (n,), marks_px (n, 2), std_px (n,)  points, then ends of lines
    offsets_mm (n,), offset_std_mm (n,)       0 in the plane itself
    """

    plane: str
    names: tuple[str, ...]
    marks_px: Array
    std_px: Array
    points: tuple[PlanePoint, ...]
    lengths: tuple[PlaneLength, ...]
    directions: tuple[PlaneDirection, ...]
    offsets_mm: Array
    offset_std_mm: Array


@dataclass(frozen=True, slots=True, eq=False)
class HeightInput:
    """Arguments of measure_heights: foot and top of what is known (r, 2, 2), and of upright sizes (t, 2, 2).

    std_px (r + t, 2) of foot and top, known ones first;  targets: ids of the sizes
    """

    known_px: Array
    known: tuple[KnownHeight, ...]
    targets_px: Array
    targets: tuple[str, ...]
    std_px: Array


@dataclass(frozen=True, slots=True, eq=False)
class JointInput:
    """The problem of adjust_photos, and what its indices mean: ids of photographs, names of points.

    notes  how known places and straight lines took part
    """

    problem: PhotoProblem
    photos: tuple[str, ...]
    names: tuple[str, ...]
    notes: tuple[str, ...]


def photo_arrays(at_hand: PhotoAtHand) -> PhotoArrays:
    """The arrays of one photograph. Raises PhotoUnfit where its picture or its marks are not fit to be used."""
    for fault in at_hand.faults:
        if fault.state == "stop":
            raise PhotoUnfit(fault.what, fault.where, fault.do)
    picture, marks = at_hand.picture, at_hand.marks
    if picture is None or marks is None:
        what = f'nothing is marked on the photo "{at_hand.photo.id}"'
        raise PhotoUnfit(what, at_hand.photo.file, "mark points with `dryfit photo mark`")
    points = marks.points
    known = tuple(index for index, point in enumerate(points) if point.prototype_mm is not None)
    straight = [line for line in marks.lines if line.is_straight]
    return PhotoArrays(
        photo=at_hand.photo,
        marks=marks,
        width_px=picture.width_px,
        height_px=picture.height_px,
        names=tuple(point.name for point in points),
        marks_px=np.array([point.at_px for point in points]).reshape(-1, 2),
        std_px=np.array([point.std_px for point in points]),
        known=known,
        known_mm=np.array([points[index].prototype_mm for index in known], dtype=float).reshape(-1, 3),
        known_std_mm=np.array([max(points[index].prototype_std_mm, EXACT_MM) for index in known]),
        lens=lens_belief(at_hand),
        lens_key=lens_key(at_hand),
        segments_px=MappingProxyType({axis: _segments(marks, axis) for axis in BUILDING_AXES}),
        segment_std_px=MappingProxyType({axis: _segment_std(marks, axis) for axis in BUILDING_AXES}),
        straight_px=tuple(np.array(line.points_px) for line in straight),
        straight_std_px=np.array([line.std_px for line in straight]),
        seen=at_hand.lens,
    )


def lens_belief(at_hand: PhotoAtHand) -> LensBelief:
    """What the document and the picture's data say of the lens; the rest as of one that was never calibrated."""
    picture, photo, focal = at_hand.picture, at_hand.photo, at_hand.focal
    if picture is None:
        raise PhotoUnfit("the picture cannot be read", photo.file, "`dryfit photo list` says why")
    if at_hand.lens is not None:
        return LensBelief(at_hand.lens.lens, np.zeros(8), covariance=at_hand.lens.covariance)
    guess = guess_lens(
        picture.width_px,
        picture.height_px,
        focal.focal_px if focal else None,
        focal.std_px if focal else np.inf,
    )
    figures, std = guess.lens.vector.copy(), guess.std.copy()
    if photo.centre_px is not None:
        figures[1:3], std[1:3] = photo.centre_px, photo.centre_std_px
    elif _is_cropped(at_hand):
        # The middle of what was left says little of the lens: a quarter of the side (common practice, no source).
        std[1:3] = picture.width_px / 4.0, picture.height_px / 4.0
    if photo.distortion:
        figures[3:], std[3:] = photo.distortion, photo.distortion_std
    k1, k2, p1, p2, k3 = (float(value) for value in figures[3:])
    return LensBelief(Lens(float(figures[0]), figures[1:3], k1, k2, p1, p2, k3), std, guess.is_focal_guessed)


def lens_key(at_hand: PhotoAtHand) -> str:
    """Equal for photographs whose lens is one in upright pixels: same name, same size, turned the same way.

    A camera held upright and level has its principal point elsewhere on the upright picture.
    """
    picture, photo = at_hand.picture, at_hand.photo
    if not photo.lens or picture is None:
        return f"of photo {photo.id}"
    return f"{photo.lens}, {picture.width_px} x {picture.height_px}, {picture.turned}"


def plane_input(arrays: PhotoArrays, plane: str) -> PlaneInput:
    """What is known of a plane that has axes of its own, with the marks of planes parallel to it."""
    marks = arrays.marks
    base = marks.plane(plane)
    members = {item.name: item for item in marks.planes if plane in (item.name, item.parallel_to)}
    points = [point for point in marks.points if point.plane in members]
    lines = [
        line for line in marks.lines if line.plane == plane and line.along in base.axes and not line.through
    ]
    names = [point.name for point in points]
    places = [point.at_px for point in points]
    std = [point.std_px for point in points]
    owner: list[MarkedPlane] = [members[point.plane] for point in points]
    index = {name: number for number, name in enumerate(names)}
    directions = []
    for line in lines:
        directions.append(PlaneDirection(len(places), len(places) + 1, _along(base, line.along)))
        names += [f"{line.name}, first", f"{line.name}, last"]
        places += [line.points_px[0], line.points_px[-1]]
        std += [line.std_px, line.std_px]
        owner += [base, base]
    for line in marks.lines:
        ends = (line.through[0], line.through[-1]) if line.through else ()
        if line.along in base.axes and ends and all(_is_in_plane(marks, name, plane) for name in ends):
            directions.append(PlaneDirection(index[ends[0]], index[ends[1]], _along(base, line.along)))
    return PlaneInput(
        plane=plane,
        names=tuple(names),
        marks_px=np.array(places, dtype=float).reshape(-1, 2),
        std_px=np.array(std),
        points=tuple(_plane_points(marks, base, index)),
        lengths=tuple(_plane_length(base, index, length) for length in lengths_in_plane(marks, plane)),
        directions=tuple(directions),
        offsets_mm=np.array([item.offset_mm.value for item in owner]),
        offset_std_mm=np.array([item.offset_mm.std for item in owner]),
    )


def lengths_in_plane(marks: Marks, plane: str) -> list[MarkedLength]:
    """Known lengths with both ends in a plane."""
    return [item for item in marks.lengths if all(_is_in_plane(marks, name, plane) for name in item.between)]


def height_input(arrays: PhotoArrays) -> HeightInput:
    """Upright lengths that are known and upright sizes that are wanted, each from its foot to its top."""
    known = [item for item in arrays.marks.lengths if item.along == "z"]
    wanted = [item for item in arrays.marks.sizes if item.along == "z"]
    pairs = [*(item.between for item in known), *(item.between for item in wanted)]
    index = {name: number for number, name in enumerate(arrays.names)}
    ends = np.array([[index[first], index[second]] for first, second in pairs], dtype=int).reshape(-1, 2)
    places = arrays.marks_px[ends]
    return HeightInput(
        known_px=places[: len(known)],
        known=tuple(KnownHeight(item.length.value, max(item.length.std, EXACT_MM)) for item in known),
        targets_px=places[len(known) :],
        targets=tuple(item.id for item in wanted),
        std_px=arrays.std_px[ends],
    )


def joint_input(several: Sequence[PhotoArrays]) -> JointInput:
    """Several photographs together: the points that two or more of them share, all known lengths and known places.

    A length or a place that several files state is one. Where known places span a frame, points at known places that
    one photograph shows take part too. Raises ComputationRefused or ValueError as PhotoProblem does.
    """
    seen: dict[str, int] = {}
    for arrays in several:
        for name in arrays.names:
            seen[name] = seen.get(name, 0) + 1
    places = known_places(several)
    shared = {name for name, count in seen.items() if count > 1}
    is_framed = spans_frame(np.array([place for name, place, _ in places if name in shared]).reshape(-1, 3))
    lone = {name for name, _, _ in places} if is_framed else set()
    names = tuple(name for name in seen if name in shared | lone)
    index = {name: number for number, name in enumerate(names)}
    keys = list(dict.fromkeys(arrays.lens_key for arrays in several))
    beliefs = [_belief_of([arrays for arrays in several if arrays.lens_key == key]) for key in keys]
    rows = [
        (photo, index[name], place, std)
        for photo, arrays in enumerate(several)
        for name, place, std in zip(arrays.names, arrays.marks_px, arrays.std_px, strict=True)
        if name in index
    ]
    lengths, notes = _space_lengths(several, index), []
    known = [SpacePoint(index[name], place, std) for name, place, std in places if name in index]
    if known and not is_framed:
        spans, note = _span_of(known)
        lengths += spans
        notes.append(note)
    problem = PhotoProblem(
        photographs=tuple(
            Photograph(item.width_px, item.height_px, keys.index(item.lens_key), item.photo.is_mirrored)
            for item in several
        ),
        lenses=tuple(belief for belief, _ in beliefs),
        photo=np.array([row[0] for row in rows], dtype=np.int64),
        point=np.array([row[1] for row in rows], dtype=np.int64),
        marks_px=np.array([row[2] for row in rows]).reshape(-1, 2),
        std_px=np.array([row[3] for row in rows]),
        lengths=tuple(lengths),
        known=tuple(known) if is_framed else (),
    )
    told = (*notes, *(note for _, note in beliefs if note))
    return JointInput(problem, tuple(item.photo.id for item in several), names, told)


def known_places(several: Sequence[PhotoArrays]) -> list[tuple[str, Array, float]]:
    """Name, place (3,) and standard uncertainty of each point at a known place, each statement once."""
    found: dict[tuple[str, tuple[float, ...], float], tuple[str, Array, float]] = {}
    for arrays in several:
        for row, place, std in zip(arrays.known, arrays.known_mm, arrays.known_std_mm, strict=True):
            key = (arrays.names[row], tuple(place.tolist()), float(std))
            found[key] = (arrays.names[row], place, float(std))
    return list(found.values())


def _span_of(known: Sequence[SpacePoint]) -> tuple[list[SpaceLength], str]:
    """What places that span no frame still give: the length between the two farthest apart."""
    many = f"{len(known)} known place{'' if len(known) == 1 else 's'}"
    pairs = [(one, other) for one, other in combinations(known, 2) if one.point != other.point]
    if not pairs:
        return [], f"{many} in common: neither scale nor directions come from one"
    apart = [float(np.linalg.norm(other.place_mm - one.place_mm)) for one, other in pairs]
    one, other = pairs[int(np.argmax(apart))]
    if max(apart) <= 0.0:
        return [], f"{many} in common, all at one place: they were not used"
    length = SpaceLength(one.point, other.point, max(apart), float(np.hypot(one.std_mm, other.std_mm)))
    return [length], f"{many} in common, on one line: only the length between the farthest two was used"


def _belief_of(sharing: Sequence[PhotoArrays]) -> tuple[LensBelief, str]:
    """What is believed of the lens that photographs share, straight lines on all of them included, and how."""
    first = sharing[0]
    belief = first.lens
    if first.photo.is_mirrored:  # marks are flipped back for the adjustment
        covariance = np.diag(np.zeros(8)) if belief.covariance is None else belief.covariance
        lens, turned = unflipped(belief.lens, covariance, first.width_px)
        belief = replace(belief, lens=lens, covariance=None if belief.covariance is None else turned)
    lines = [line for item in sharing for line in item.straight_px]
    if belief.covariance is not None or first.photo.distortion or not lines:
        return belief, "" if first.seen is None else first.seen.note
    std = np.concatenate([item.straight_std_px for item in sharing])
    bend, why = try_bend(lines, std, belief.lens, belief.std[3:5])
    if bend is None:
        return belief, f"straight lines were not used: {why}"
    free = belief.std.copy()
    free[3:5] = np.inf  # what was believed of k1 and k2 is in the bend
    straight = Bend(belief.lens.focal_px, bend.figures, bend.covariance)
    return replace(belief, std=free, bend=straight), f"{bend.note}, together with the marks"


def _space_lengths(several: Sequence[PhotoArrays], index: Mapping[str, int]) -> list[SpaceLength]:
    found: dict[tuple[frozenset[str], float, float], SpaceLength] = {}
    for arrays in several:
        for item in arrays.marks.lengths:
            first, second = item.between
            if first in index and second in index:
                key = (frozenset(item.between), item.length.value, item.length.std)
                std = max(item.length.std, EXACT_MM)
                found[key] = SpaceLength(index[first], index[second], item.length.value, std)
    return list(found.values())


def _is_cropped(at_hand: PhotoAtHand) -> bool:
    if at_hand.photo.is_cropped is not None:
        return at_hand.photo.is_cropped
    return at_hand.crop is not None and at_hand.crop.kind == "cropped"


def _segments(marks: Marks, axis: BuildingAxis) -> Array:
    lines = [line for line in marks.lines if line.along == axis]
    return np.array([[line.points_px[0], line.points_px[-1]] for line in lines], dtype=float).reshape(
        -1, 2, 2
    )


def _segment_std(marks: Marks, axis: BuildingAxis) -> Array:
    return np.array([[line.std_px] * 2 for line in marks.lines if line.along == axis]).reshape(-1, 2)


def _is_in_plane(marks: Marks, name: str, plane: str) -> bool:
    return marks.point(name).plane == plane


def _along(plane: MarkedPlane, axis: str) -> Literal["x", "y"]:
    """Which axis of the plane a building axis is."""
    return "x" if axis == plane.axes[0] else "y"


def _plane_points(marks: Marks, plane: MarkedPlane, index: Mapping[str, int]) -> list[PlanePoint]:
    """Known points of the plane itself, by the two coordinates along its axes."""
    across, up = (BUILDING_AXES.index(axis) for axis in plane.axes)
    return [
        PlanePoint(
            index[point.name],
            point.prototype_mm[across],
            point.prototype_mm[up],
            max(point.prototype_std_mm, EXACT_MM),
        )
        for point in marks.points
        if point.plane == plane.name and point.prototype_mm is not None
    ]


def _plane_length(plane: MarkedPlane, index: Mapping[str, int], item: MarkedLength) -> PlaneLength:
    first, second = (index[name] for name in item.between)
    along = _along(plane, item.along) if item.along in plane.axes else None
    return PlaneLength(first, second, item.length.value, max(item.length.std, EXACT_MM), along)
