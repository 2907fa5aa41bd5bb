"""The frame that known places give: a network of photographs brought onto them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from dryfit.base.arrays import Array, BoolArray
from dryfit.calc.photo.joint import Network, PhotoProblem

# Known places this flat, as a share of their extent, do not tell a thing from its mirror image.
_FLAT = 0.02
# The network fits its known places so many times better as the mirror image, or less tells nothing.
_CLEARLY = 2.0


def is_other_hand_by_known(problem: PhotoProblem, network: Network, found: BoolArray) -> bool | None:
    """Whether the network is the mirror image of the known places; None where they do not tell.

    found : (n,) points that the network has
    """
    pairs = _pairs(problem, network, found)
    if pairs is None:
        return None
    here, places = pairs
    extent = np.linalg.svd(places - places.mean(axis=0), compute_uv=False)
    if len(places) < 4 or extent[2] < _FLAT * extent[0]:
        return None
    as_is, flipped = _misfit(here, places), _misfit(here @ np.diag([-1.0, 1.0, 1.0]), places)
    if max(as_is, flipped) < _CLEARLY * min(as_is, flipped):
        return None
    return flipped < as_is


def onto_known(problem: PhotoProblem, network: Network, found: BoolArray) -> Network | None:
    """The network in the frame and scale of the known places; None where they give none.

    Points that it lacks, seen on one photograph, stand at their known places.
    """
    pairs = _pairs(problem, network, found)
    if pairs is None:
        return None
    factor, turn, shift = fit_similarity(*pairs)
    points = factor * network.points_mm @ turn.T + shift
    for known in problem.known:
        if not found[known.point]:
            points[known.point] = known.place_mm
    return replace(
        network,
        rotations=network.rotations @ turn.T,
        positions_mm=factor * network.positions_mm @ turn.T + shift,
        points_mm=points,
    )


def fit_similarity(points: Array, places: Array) -> tuple[float, Array, Array]:
    """Factor, rotation (3, 3) and shift (3,) with places = factor * rotation @ point + shift, by least squares.

    points, places : (n, 3), not all on one line
    Source: Umeyama, IEEE Trans. PAMI 13 (1991) 376 (memory).
    """
    middle, target = points.mean(axis=0), places.mean(axis=0)
    left, values, right = np.linalg.svd((places - target).T @ (points - middle))
    hand = np.diag([1.0, 1.0, np.sign(np.linalg.det(left @ right))])
    turn = left @ hand @ right
    factor = float((values * np.diag(hand)).sum() / ((points - middle) ** 2).sum())
    return factor, turn, target - factor * turn @ middle


def _pairs(problem: PhotoProblem, network: Network, found: BoolArray) -> tuple[Array, Array] | None:
    """Points of the network (k, 3) and their known places (k, 3)."""
    point = np.flatnonzero(found)
    rows = problem.framing(point)
    if not rows:
        return None
    index = [problem.known[row].point for row in rows]
    return network.points_mm[index], np.array([problem.known[row].place_mm for row in rows])


def _misfit(points: Array, places: Array) -> float:
    factor, turn, shift = fit_similarity(points, places)
    return float(np.sqrt(np.mean((places - factor * points @ turn.T - shift) ** 2)))
