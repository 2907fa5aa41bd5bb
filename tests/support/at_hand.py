"""Photographs at hand with marks as a user would have set them, without any file. All figures are invented."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path

import numpy as np

from dryfit.app.photographs import PhotoAtHand
from dryfit.base.arrays import Array
from dryfit.base.estimate import Estimate
from dryfit.calc.photo import PhotoProblem
from dryfit.calc.picture import Crop, Taken
from dryfit.files.photo import Picture
from dryfit.model.photo import MarkedLength, MarkedPoint, MarkedSize, Marks, Photo
from support.photographs import HEIGHT, MARK_STD_PX, PAIRS, WIDTH, marked, true_sizes

SHA = "0" * 64
DIMENSIONS = tuple(f"size {first} to {second}" for first, second in PAIRS)
TRUE_MM = dict(zip(DIMENSIONS, true_sizes(), strict=True))


def picture_at_hand(
    id: str,
    marks: Marks,
    *,
    photo: Photo | None = None,
    width: int = WIDTH,
    height: int = HEIGHT,
    **keys: object,
) -> PhotoAtHand:
    """A photograph with these marks; keys: of its Photo."""
    picture = Picture(f"{id}.jpg", "JPEG", SHA, 1, width, height, width, height, 1, Taken(), False)
    own = photo or Photo(id, f"photos/{id}.jpg", SHA, **keys)  # type: ignore[arg-type]
    crop = Crop("none seen", 1.0, None, width / height)
    return PhotoAtHand(own, Path(f"{id}.jpg"), Path(f"{id}.marks.toml"), picture, marks, crop, None, ())


def name_of(point: int) -> str:
    return f"p{point}"


def points_of(
    rows: Iterable[tuple[int, Array]], known: Mapping[int, tuple[Array, float]]
) -> tuple[MarkedPoint, ...]:
    found = []
    for point, place in rows:
        survey = known.get(point)
        found.append(
            MarkedPoint(
                name_of(point),
                (float(place[0]), float(place[1])),
                MARK_STD_PX,
                None if survey is None else tuple(float(value) for value in survey[0]),  # type: ignore[arg-type]
                0.0 if survey is None else survey[1],
            )
        )
    return tuple(found)


def at_hand_of(
    problem: PhotoProblem,
    known: Mapping[int, tuple[Array, float]] | None = None,
    photos: Sequence[int] | None = None,
    keep: Mapping[int, Sequence[int]] | None = None,
) -> list[PhotoAtHand]:
    """Photographs of an invented problem, with its lengths and the sizes PAIRS marked on the first of them.

    known : by point its stated place and standard uncertainty   photos : only these   keep : by photograph its points
    """
    found = []
    taken = range(len(problem.photographs)) if photos is None else photos
    for photo in taken:
        mine = np.flatnonzero(problem.photo == photo)
        if keep is not None and photo in keep:
            mine = mine[np.isin(problem.point[mine], keep[photo])]
        rows = [(int(problem.point[row]), problem.marks_px[row]) for row in mine]
        there = {point for point, _ in rows}
        lengths = tuple(
            MarkedLength((name_of(item.first), name_of(item.second)), Estimate(item.length_mm, item.std_mm))
            for item in problem.lengths
            if {item.first, item.second} <= there
        )
        sizes = tuple(
            MarkedSize(f"{first}-{second}", (name_of(first), name_of(second)), dimension)
            for (first, second), dimension in zip(PAIRS, DIMENSIONS, strict=True)
            if {first, second} <= there
        )
        marks = Marks(SHA, MARK_STD_PX, points_of(rows, known or {}), (), lengths, (), sizes)
        found.append(picture_at_hand(f"photo{photo}", marks, lens="invented"))
    return found


def whole_path(seed: int) -> list[PhotoAtHand]:
    """One run: five photographs, 0.7 px noise, one of them mirrored and one mark set wrongly by 40 px."""
    photo, mark = blunders(seed)
    return at_hand_of(marked(np.random.default_rng(1000 + seed), photo, mark))


def blunders(seed: int) -> tuple[int, int]:
    """Which photograph is mirrored, and which mark is wrong, in one run."""
    draw = np.random.default_rng(seed)
    return int(draw.integers(5)), int(draw.integers(180))
