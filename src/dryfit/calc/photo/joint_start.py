"""Cameras and points to begin with: a pair of photographs, then one after the other; and which are mirrored."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from dryfit.base.arrays import Array, BoolArray
from dryfit.base.errors import ComputationRefused
from dryfit.calc.photo.camera import Lens, lens_of, undistort
from dryfit.calc.photo.joint import WHERE, Network, PhotoProblem
from dryfit.calc.photo.joint_frame import is_other_hand_by_known, onto_known
from dryfit.calc.photo.joint_solve import robust_scale, run, squares
from dryfit.calc.photo.joint_task import linearise, make_task, project_task
from dryfit.calc.photo.pairs import Pair, place_photo, rate_pairs, triangulate
from dryfit.calc.photo.records import refusal

# Starts are tried until nine marks in ten fit as if their standard uncertainty were at most so many times as stated.
_GOOD = 3.0
_MOST_TRIES = 6
# What nine in ten squares of two-dimensional standard residuals stay below.
_NINE_IN_TEN = 2.0 * math.log(10.0)
# Other focal lengths tried, relative to the guess, where it leads nowhere.
_FOCAL_LADDER = (1.0, 0.75, 1.35, 2.0)
# A photograph is mirrored where it fits this many times better flipped back; less is no evidence.
_CLEARLY = 2.0
# A photograph that fits within so many standard uncertainties of its marks is not tried flipped.
_NEAR = 5.0
# So many marks place a photograph well enough to begin with.
_ENOUGH = 60
_SETTLE_AT = (2, 3, 4, 6, 10, 18, 35, 60, 100)


@dataclass(frozen=True, slots=True)
class MirrorTest:
    """How one photograph fits the points that the others have: root median square residuals [px] as it is and flipped.

    is_mirrored : it fits clearly better flipped;  is_clear : one of them fits clearly better
    """

    photo: int
    as_is_px: float
    flipped_px: float
    is_mirrored: bool
    is_clear: bool


@dataclass(frozen=True, slots=True, eq=False)
class Start:
    """network: rough values. mirrored (c,): photographs to be flipped back. tests: one for each photograph.

    doubtful (m,)  marks that the rough cameras do not fit
    scale          robust size of the residuals over the stated standard uncertainty [-]
    """

    network: Network
    mirrored: BoolArray
    tests: tuple[MirrorTest, ...]
    doubtful: BoolArray
    scale: float


@dataclass(slots=True, eq=False)
class _Growing:
    """What stands so far, while photographs are added."""

    network: Network
    mirrored: BoolArray
    placed: BoolArray
    known: BoolArray  # points


def find_cameras(problem: PhotoProblem) -> Start:
    """Rough cameras and points from the marks alone, and which photographs are flipped left to right.

    Known places that do not lie in one plane tell which photographs are mirrored; without them the photographs that
    agree with most others are taken as they are, and the fewer are called mirrored.
    Raises ComputationRefused where too few points are common, where nothing fits, or where as many photographs are
    of one hand as of the other.
    Source: essential matrix of five points, Nister 2004, by OpenCV; poses by OpenCV's SQPnP (memory).
    """
    best: tuple[float, _Growing] | None = None
    for lenses, pair in _attempts(problem):
        try:
            grown = _grow(problem, lenses, pair)
        except ComputationRefused:  # its lens ran away from the marks: another pair may hold it
            continue
        if grown is None:
            continue
        scale = _scale_of(problem, grown)
        if best is None or scale < best[0]:
            best = (scale, grown)
        if scale < _GOOD:
            break
    if best is None:
        raise refusal(
            "no cameras were found that see the marks as they are",
            WHERE,
            "mark more common points, spread in depth, or give the focal length",
        )
    return _finish(problem, best[1])


def _attempts(problem: PhotoProblem) -> Iterator[tuple[Array, Pair]]:
    """Lenses and pairs to begin with: the best two pairs with each focal length, then the others."""
    is_guessed = any(each.is_focal_guessed for each in problem.lenses)
    rated: list[tuple[Array, list[Pair]]] = []
    for part in (slice(0, 2), slice(2, _MOST_TRIES)):
        for number, factor in enumerate(_FOCAL_LADDER if is_guessed else (1.0,)):
            if number == len(rated):
                factors = [factor if each.is_focal_guessed else 1.0 for each in problem.lenses]
                beliefs = zip(problem.lenses, factors, strict=True)
                lenses = np.array([_rough_lens(each.lens, other) for each, other in beliefs])
                rated.append((lenses, rate_pairs(problem, lenses)))
            yield from ((rated[number][0], pair) for pair in rated[number][1][part])


def _rough_lens(lens: Lens, factor: float) -> Array:
    vector = lens.vector
    vector[0] *= factor
    return vector


def _grow(problem: PhotoProblem, lenses: Array, pair: Pair) -> _Growing | None:
    """Cameras one after the other, each where most of its points are known already."""
    cameras = len(problem.photographs)
    empty = Network(
        lenses.copy(),
        np.tile(np.eye(3), (cameras, 1, 1)),
        np.zeros((cameras, 3)),
        np.zeros((problem.point_count, 3)),
    )
    grown = _Growing(
        empty,
        np.array([each.is_mirrored for each in problem.photographs]),
        np.zeros(cameras, dtype=np.bool_),
        np.zeros(problem.point_count, dtype=np.bool_),
    )
    if pair.is_flipped:
        grown.mirrored[pair.second] = not grown.mirrored[pair.second]
    grown.network.rotations[pair.second] = pair.rotation
    grown.network.positions_mm[pair.second] = pair.position
    grown.placed[[pair.first, pair.second]] = True
    _fill_points(problem, grown)
    _settle(problem, grown, held_lens=True)
    while not grown.placed.all():
        if not _add_best(problem, grown):
            return None
        if int(grown.placed.sum()) in _SETTLE_AT or grown.placed.all():
            _settle(problem, grown, held_lens=int(grown.placed.sum()) < 4)
    for _ in range(2):
        _fill_points(problem, grown)
        _settle(problem, grown, held_lens=False, most=30)
    for _ in range(_MOST_TRIES):
        if not _turned_hands(problem, grown):
            break
        _fill_points(problem, grown)
        _settle(problem, grown, held_lens=False, most=30)
    return grown


def _turned_hands(problem: PhotoProblem, grown: _Growing) -> bool:
    """Flip and place anew each photograph that does not fit and fits clearly better flipped: early ones are placed on
    points that two pictures hardly determine."""
    turned = False
    missing = _missing(problem, grown)
    for photo, size in enumerate(missing):
        if size <= _NEAR * _typical_std(problem):
            continue
        other, pose = _placed_rms(problem, grown, photo, flip=True)
        if pose is not None and other * _CLEARLY < size:
            grown.mirrored[photo] = not grown.mirrored[photo]
            grown.network.rotations[photo], grown.network.positions_mm[photo] = pose
            turned = True
    return turned


def _missing(problem: PhotoProblem, grown: _Growing) -> Array:
    """(c,) [px] root median square residual of each photograph as it stands."""
    task = make_task(replace(problem, lengths=(), known=()), _seen_twice(problem), grown.mirrored)
    square = ((task.marks - project_task(task, grown.network).marks_px) ** 2).sum(axis=1)
    cameras = range(len(problem.photographs))
    return np.array([np.sqrt(np.median(square[task.photo == photo])) for photo in cameras])


def _add_best(problem: PhotoProblem, grown: _Growing) -> bool:
    """Place the photograph that sees most known points; False where none sees enough."""
    sees = grown.known[problem.point]
    counts = np.bincount(problem.photo[sees], minlength=len(grown.placed))
    counts[grown.placed] = -1
    while counts.max() >= 5:
        photo = int(counts.argmax())
        size, pose = _placed_rms(problem, grown, photo, flip=False)
        if size > _NEAR * _typical_std(problem):
            flipped_size, flipped_pose = _placed_rms(problem, grown, photo, flip=True)
            if flipped_size * _CLEARLY < size:
                pose = flipped_pose
                grown.mirrored[photo] = not grown.mirrored[photo]
        if pose is None:
            counts[photo] = -1
            continue
        grown.network.rotations[photo], grown.network.positions_mm[photo] = pose
        grown.placed[photo] = True
        _fill_points(problem, grown, only_new=True)
        return True
    return False


def _typical_std(problem: PhotoProblem) -> float:
    """[px]"""
    return float(np.sqrt(np.median(np.trace(problem.covariances, axis1=1, axis2=2)) / 2.0))


def _placed_rms(
    problem: PhotoProblem, grown: _Growing, photo: int, flip: bool
) -> tuple[float, tuple[Array, Array] | None]:
    """Root median square residual [px] of a photograph on the known points, and its pose."""
    mirrored = grown.mirrored.copy()
    mirrored[photo] ^= flip
    rows = np.flatnonzero((problem.photo == photo) & grown.known[problem.point])
    if len(rows) > _ENOUGH:
        rows = rows[np.linspace(0, len(rows) - 1, _ENOUGH).astype(np.int64)]
    marks = problem.unmirrored(mirrored)[0][rows]
    lens = lens_of(grown.network.lenses[problem.lens_of_photo[photo]])
    return place_photo(lens, marks, grown.network.points_mm[problem.point[rows]])


def _fill_points(problem: PhotoProblem, grown: _Growing, only_new: bool = False) -> None:
    """Points where the rays of placed photographs meet best."""
    rows = grown.placed[problem.photo]
    if only_new:
        rows &= ~grown.known[problem.point]
    views = np.bincount(problem.point[rows], minlength=problem.point_count)
    rows &= views[problem.point] >= 2
    if not rows.any():
        return
    marks = problem.unmirrored(grown.mirrored)[0]
    network = grown.network
    lens = problem.lens_of_photo
    xy = np.zeros((len(marks), 2))
    for camera in np.flatnonzero(grown.placed):
        mine = rows & (problem.photo == camera)
        xy[mine] = undistort(lens_of(network.lenses[lens[camera]]), marks[mine]).xy
    photo = problem.photo[rows]
    found = triangulate(
        xy[rows], network.rotations[photo], network.positions_mm[photo], problem.point[rows], problem.point_count,
        float(network.lenses[:, 0].mean()),
    )  # fmt: skip
    fresh = views >= 2
    network.points_mm[fresh] = found[fresh]
    grown.known |= fresh


def _settle(problem: PhotoProblem, grown: _Growing, held_lens: bool, most: int = 12) -> None:
    """Robust steps on what stands so far."""
    views = np.bincount(problem.point[grown.placed[problem.photo]], minlength=problem.point_count)
    used = grown.known[problem.point] & (views[problem.point] >= 2)
    bare = replace(problem, lengths=(), known=())
    task = make_task(bare, used, grown.mirrored, grown.placed, held_lens)
    try:
        network, _, _ = run(task, grown.network, is_robust=True, most=most)
    except np.linalg.LinAlgError:
        return
    grown.network = network


def _scale_of(problem: PhotoProblem, grown: _Growing) -> float:
    task = make_task(replace(problem, lengths=(), known=()), _seen_twice(problem), grown.mirrored)
    values = squares(linearise(task, grown.network, 1.0))
    # one mark in ten may be wrong; more, or a whole photograph, and these are not the cameras
    return float(np.sqrt(max(1.0, np.quantile(np.minimum(values, 1e12), 0.9) / _NINE_IN_TEN)))


def _seen_twice(problem: PhotoProblem) -> BoolArray:
    views = np.bincount(problem.point, minlength=problem.point_count)
    twice: BoolArray = views[problem.point] >= 2
    return twice


def _finish(problem: PhotoProblem, grown: _Growing) -> Start:
    """Known places tell the hand, else the most photographs do; frame and scale from what is known."""
    stated = np.array([each.is_mirrored for each in problem.photographs])
    turned = grown.mirrored ^ stated
    is_other_hand = is_other_hand_by_known(problem, grown.network, grown.known)
    if is_other_hand is None and 2 * int(turned.sum()) == len(turned):
        one, other = (
            ", ".join(str(int(k) + 1) for k in np.flatnonzero(turned == each)) for each in (False, True)
        )
        raise refusal(
            f"photographs {one} and photographs {other} are mirror images of each other: nothing tells which are right",
            WHERE,
            "look for writing on the pictures and state which are mirrored",
        )
    if 2 * int(turned.sum()) > len(turned) if is_other_hand is None else is_other_hand:
        _reflect(problem, grown)
    network = onto_known(problem, grown.network, grown.known)
    if network is None:
        network = grown.network.scaled(_length_factor(problem, grown.network))
    grown.network = network
    task = make_task(replace(problem, lengths=(), known=()), _seen_twice(problem), grown.mirrored)
    values = squares(linearise(task, network, 1.0))
    scale = robust_scale(values)
    doubtful = np.zeros(len(problem.marks_px), dtype=np.bool_)
    doubtful[np.flatnonzero(_seen_twice(problem))] = values > 36.0 * scale
    return Start(network, grown.mirrored, _mirror_tests(problem, grown), doubtful, float(np.sqrt(scale)))


def _reflect(problem: PhotoProblem, grown: _Growing) -> None:
    """The mirror image of all that stands: every photograph is flipped."""
    grown.mirrored = ~grown.mirrored
    flip = np.diag([-1.0, 1.0, 1.0])
    lenses = grown.network.lenses.copy()
    for group in range(len(lenses)):
        photo = int(np.flatnonzero(problem.lens_of_photo == group)[0])
        lenses[group, 1] = problem.photographs[photo].width_px - 1.0 - lenses[group, 1]
        lenses[group, 6] *= -1.0
    grown.network = Network(
        lenses,
        flip @ grown.network.rotations @ flip,
        grown.network.positions_mm @ flip,
        grown.network.points_mm @ flip,
    )


def _length_factor(problem: PhotoProblem, network: Network) -> float:
    ratios = []
    for known in problem.lengths:
        apart = network.points_mm[known.second] - network.points_mm[known.first]
        length = float(np.linalg.norm(apart))
        if length > 0.0:
            ratios.append(known.length_mm / length)
    return float(np.median(ratios)) if ratios else 1.0


def _mirror_tests(problem: PhotoProblem, grown: _Growing) -> tuple[MirrorTest, ...]:
    """Each photograph on the points that all have, as it was given and flipped."""
    found = []
    stated = np.array([each.is_mirrored for each in problem.photographs])
    missing = _missing(problem, grown)
    for photo in range(len(problem.photographs)):
        here = bool(grown.mirrored[photo] ^ stated[photo])
        kept = float(missing[photo])
        other = _placed_rms(problem, grown, photo, flip=True)[0]
        as_is, flipped = (other, kept) if here else (kept, other)
        clear = bool(max(as_is, flipped) > _CLEARLY * min(as_is, flipped))
        found.append(MirrorTest(photo, as_is, flipped, here, clear))
    return tuple(found)
