"""An invented building, cameras round it, and marks as a user would set them. All figures are invented."""

from __future__ import annotations

import numpy as np

from dryfit.base.arrays import Array
from dryfit.calc.photo import (
    Lens,
    Photograph,
    PhotoProblem,
    Pose,
    SpaceLength,
    guess_lens,
    project,
)

WIDTH, HEIGHT = 4000, 3000
MARK_STD_PX = 0.7
LENS = Lens(3300.0, np.array([2010.0, 1490.0]), -0.11, 0.05)
PLAIN_LENS = Lens(3000.0, np.array([1999.5, 1499.5]))


def building() -> Array:
    """(36, 3) [mm] corners of windows on two walls, a ridge, a porch and some reveals."""
    points = []
    for z in (0, 3000, 6000, 9000):
        points += [(x, 0, z) for x in (0, 4000, 8000, 12000)]
        points += [(12000, y, z) for y in (3000, 6000, 9000)]
    points += [(0, 9000, 9000), (6000, 4500, 13000), (4000, -800, 2500), (8000, -800, 2500)]
    points += [(3000, -300, 4500), (9000, -300, 4500), (12400, 4000, 4500), (12400, 7000, 1500)]
    return np.array(points, dtype=float)


BUILDING = building()
STANDS = (
    ((0, -17000, 1700), 0),
    ((10000, -19000, 1600), 1),
    ((22000, -14000, 1700), -1),
    ((28000, -4000, 1800), 2),
    ((18000, -17000, 8000), 0),
)


def looking(
    position: tuple[float, ...] | Array, at: tuple[float, ...] | Array, roll_deg: float = 0.0
) -> Pose:
    """A camera that looks at a point, upright but for a roll."""
    stand = np.array(position, dtype=float)
    forward = np.array(at, dtype=float) - stand
    forward /= np.linalg.norm(forward)
    right = np.cross(forward, [0.0, 0.0, 1.0])
    right /= np.linalg.norm(right)
    turn = np.radians(roll_deg)
    roll = np.array([[np.cos(turn), -np.sin(turn), 0.0], [np.sin(turn), np.cos(turn), 0.0], [0.0, 0.0, 1.0]])
    return Pose(roll @ np.array([right, np.cross(forward, right), forward]), stand)


POSES = tuple(looking(stand, (7000.0, 2500.0, 5000.0), roll) for stand, roll in STANDS)
LENGTHS = ((0, 3), (0, 21))
PAIRS = ((0, 21), (3, 6), (1, 9), (16, 29), (13, 20), (3, 24), (0, 29))


def true_sizes(pairs: tuple[tuple[int, int], ...] = PAIRS) -> Array:
    """(n,) [mm]"""
    index = np.array(pairs)
    return np.linalg.norm(BUILDING[index[:, 1]] - BUILDING[index[:, 0]], axis=1)


def marked(
    draw: np.random.Generator | None = None,
    mirrored: int | None = None,
    wrong: int | None = None,
    off_px: float = 40.0,
    lengths: tuple[tuple[int, int], ...] = LENGTHS,
    length_std_mm: float = 5.0,
) -> PhotoProblem:
    """Five photographs of the building; without a generator the marks and lengths are exact."""
    marks = np.concatenate([project(LENS, pose, BUILDING).marks_px for pose in POSES])
    photo = np.repeat(np.arange(len(POSES)), len(BUILDING))
    point = np.tile(np.arange(len(BUILDING)), len(POSES))
    known = true_sizes(lengths) if lengths else np.zeros(0)
    if draw is not None:
        marks = marks + draw.normal(size=marks.shape) * MARK_STD_PX
        known = known + draw.normal(size=len(known)) * length_std_mm
    if wrong is not None:
        turn = 0.7 + wrong
        marks[wrong] += off_px * np.array([np.cos(turn), np.sin(turn)])
    if mirrored is not None:
        flip = photo == mirrored
        marks[flip, 0] = WIDTH - 1.0 - marks[flip, 0]
    spans = tuple(
        SpaceLength(first, second, float(size), length_std_mm)
        for (first, second), size in zip(lengths, known, strict=True)
    )
    photographs = tuple(Photograph(WIDTH, HEIGHT) for _ in POSES)
    return PhotoProblem(photographs, (guess_lens(WIDTH, HEIGHT),), photo, point, marks, MARK_STD_PX, spans)
