"""Known places in the joint adjustment of photographs, against GTSAM 4.3 on the same marks, lengths and places.

The lens is held. Frame and scale come from the places and the lengths together; one known point is marked on one
photograph only. The building, its marks and the survey are invented.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import gtsam
import numpy as np

from dryfit.calc.photo import (
    JointAdjustment,
    LensBelief,
    PhotoProblem,
    SpacePoint,
    adjust_photos,
    joint_sizes,
)
from published.registry import check
from support.photographs import BUILDING, LENS, PAIRS, marked

LIBRARY = "GTSAM 4.3, GenericProjectionFactorCal3DS2 and PriorFactorPoint3"
POSE, POINT = 1000, 0
SURVEYED, LONELY = (0, 3, 7, 21, 24, 29), 7


@cache
def adjusted() -> tuple[PhotoProblem, JointAdjustment]:
    whole = marked(np.random.default_rng(11))
    draw = np.random.default_rng(12)
    keep = (whole.point != LONELY) | (whole.photo == 2)
    known = tuple(
        SpacePoint(point, BUILDING[point] + 4.0 * draw.normal(size=3), 4.0 + number)
        for number, point in enumerate(SURVEYED)
    )
    problem = replace(
        whole,
        lenses=(LensBelief(LENS, np.zeros(8)),),
        photo=whole.photo[keep],
        point=whole.point[keep],
        marks_px=whole.marks_px[keep],
        known=known,
    )
    return problem, adjust_photos(problem)


def with_library() -> tuple[gtsam.NonlinearFactorGraph, gtsam.Values]:
    problem, ours = adjusted()
    x, y = LENS.centre_px
    lens = gtsam.Cal3DS2(LENS.focal_px, LENS.focal_px, 0.0, x, y, LENS.k1, LENS.k2, LENS.p1, LENS.p2)
    graph, start = gtsam.NonlinearFactorGraph(), gtsam.Values()
    noise = gtsam.noiseModel.Isotropic.Sigma(2, float(problem.std_px))
    for photo, point, mark in zip(problem.photo, problem.point, problem.marks_px, strict=True):
        graph.add(
            gtsam.GenericProjectionFactorCal3DS2(mark, noise, POSE + int(photo), POINT + int(point), lens)
        )
    for known in problem.known:
        spread = gtsam.noiseModel.Isotropic.Sigma(3, known.std_mm)
        graph.add(gtsam.PriorFactorPoint3(POINT + known.point, known.place_mm, spread))
    for length in problem.lengths:
        spread = gtsam.noiseModel.Isotropic.Sigma(1, length.std_mm)
        graph.add(_length(length, spread))
    draw = np.random.default_rng(9)
    for photo in range(len(problem.photographs)):
        pose = gtsam.Pose3(gtsam.Rot3(ours.network.rotations[photo].T), ours.network.positions_mm[photo])
        start.insert(POSE + photo, pose.retract(draw.normal(size=6) * [0.02, 0.02, 0.02, 200, 200, 200]))
    for point, place in enumerate(ours.network.points_mm):
        start.insert(POINT + point, place + draw.normal(size=3) * 100.0)
    settings = gtsam.LevenbergMarquardtParams()
    settings.setRelativeErrorTol(1e-14)
    settings.setAbsoluteErrorTol(1e-14)
    settings.setMaxIterations(100)
    return graph, gtsam.LevenbergMarquardtOptimizer(graph, start, settings).optimize()


def _length(known, noise) -> gtsam.CustomFactor:  # type: ignore[no-untyped-def]
    def error(factor, values, slopes):  # type: ignore[no-untyped-def]
        first, second = (np.asarray(values.atPoint3(key)) for key in factor.keys())  # noqa: SIM118
        apart = second - first
        length = float(np.linalg.norm(apart))
        if slopes is not None:
            slopes[0], slopes[1] = -apart[None] / length, apart[None] / length
        return np.array([length - known.length_mm])

    return gtsam.CustomFactor(noise, [POINT + known.first, POINT + known.second], error)


def test_places_and_sizes_as_the_pose_graph_library_has_them() -> None:
    problem, ours = adjusted()
    graph, values = with_library()
    assert ours.is_framed
    check(LIBRARY, "weighted sum of squares", 2.0 * graph.error(values), ours.vpv, 1e-4, seen=True)
    unknowns = 6 * len(problem.photographs) + 3 * problem.point_count
    rows = 2 * len(problem.marks_px) + 3 * len(problem.known) + len(problem.lengths)
    assert ours.dof == rows - unknowns
    marginals = gtsam.Marginals(graph, values)
    for point in (LONELY, 3, 16):
        place = np.asarray(values.atPoint3(POINT + point))
        spread = np.sqrt(np.diag(marginals.marginalCovariance(POINT + point)))
        own = np.sqrt(np.diag(ours.point_covariance)[3 * point : 3 * point + 3])
        for axis, name in enumerate("xyz"):
            what = f"{name} of point {point}"
            mine = ours.network.points_mm[point, axis]
            check(LIBRARY, what, place[axis], mine, 2e-3, seen=True, unit="mm")
            check(LIBRARY, f"std of {what}", spread[axis], own[axis], 1e-4 * own[axis], seen=True, unit="mm")
    sizes = joint_sizes(ours, PAIRS)
    places = np.array([values.atPoint3(POINT + k) for k in range(len(ours.network.points_mm))])
    for row, (first, second) in enumerate(PAIRS):
        theirs = float(np.linalg.norm(places[second] - places[first]))
        name = f"size {first} to {second} with known places"
        check(LIBRARY, name, theirs, sizes.values_mm[row], 2e-3, seen=True, unit="mm")
        keys = gtsam.KeyVector([POINT + first, POINT + second])
        joint = marginals.jointMarginalCovariance(keys)
        unit = (places[second] - places[first]) / theirs
        blocks = [[joint.at(POINT + a, POINT + b) for b in (first, second)] for a in (first, second)]
        slope = np.concatenate([-unit, unit])
        std = float(np.sqrt(slope @ np.block(blocks) @ slope))
        check(LIBRARY, f"std of {name}", std, sizes.std_mm[row], 1e-4 * std, seen=True, unit="mm")


def test_residual_of_a_known_place_has_the_variance_that_the_library_leaves() -> None:
    problem, ours = adjusted()
    graph, values = with_library()
    marginals = gtsam.Marginals(graph, values)
    known = problem.known[1]
    left = known.std_mm**2 * np.eye(3) - marginals.marginalCovariance(POINT + known.point)
    away = known.place_mm - np.asarray(values.atPoint3(POINT + known.point))
    theirs = float(away @ np.linalg.solve(left, away))
    check(LIBRARY, "test value of a known place", theirs, ours.known_normalised[1], 1e-3, seen=True)
