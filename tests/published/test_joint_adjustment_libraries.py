"""Joint adjustment of photographs against GTSAM 4.3 and scipy's least_squares on the same marks.

GTSAM has the lens held and known lengths as custom factors; scipy has every unknown, with its own derivatives by
differences. Sizes and their covariance do not depend on which frame each of them holds.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import gtsam
import numpy as np

from dryfit.base.arrays import Array
from dryfit.calc.photo import (
    JointAdjustment,
    LensBelief,
    PhotoProblem,
    adjust_photos,
    find_cameras,
    joint_sizes,
    project,
)
from dryfit.calc.photo.camera import lens_of
from published.registry import check
from support.photographs import LENS, PAIRS, marked

LIBRARY = "GTSAM 4.3, GenericProjectionFactorCal3DS2"
SCIPY = "scipy least_squares, every unknown at once"
POSE, POINT = 1000, 0


@cache
def held() -> tuple[PhotoProblem, JointAdjustment]:
    """The lens is known: only poses and points are found."""
    problem = replace(marked(np.random.default_rng(5)), lenses=(LensBelief(LENS, np.zeros(8)),))
    return problem, adjust_photos(problem)


def length_factor(known, noise) -> gtsam.CustomFactor:  # type: ignore[no-untyped-def]
    def error(factor, values, slopes):  # type: ignore[no-untyped-def]
        first, second = (np.asarray(values.atPoint3(key)) for key in factor.keys())  # noqa: SIM118
        apart = second - first
        length = float(np.linalg.norm(apart))
        if slopes is not None:
            slopes[0], slopes[1] = -apart[None] / length, apart[None] / length
        return np.array([length - known.length_mm])

    return gtsam.CustomFactor(noise, [POINT + known.first, POINT + known.second], error)


def with_library() -> tuple[gtsam.NonlinearFactorGraph, gtsam.Values]:
    problem, ours = held()
    x, y = LENS.centre_px
    lens = gtsam.Cal3DS2(LENS.focal_px, LENS.focal_px, 0.0, x, y, LENS.k1, LENS.k2, LENS.p1, LENS.p2)
    graph, start = gtsam.NonlinearFactorGraph(), gtsam.Values()
    noise = gtsam.noiseModel.Isotropic.Sigma(2, float(problem.std_px))
    for photo, point, mark in zip(problem.photo, problem.point, problem.marks_px, strict=True):
        graph.add(
            gtsam.GenericProjectionFactorCal3DS2(mark, noise, POSE + int(photo), POINT + int(point), lens)
        )
    for known in problem.lengths:
        graph.add(length_factor(known, gtsam.noiseModel.Isotropic.Sigma(1, known.std_mm)))
    draw = np.random.default_rng(9)
    for photo in range(len(problem.photographs)):
        pose = gtsam.Pose3(gtsam.Rot3(ours.network.rotations[photo].T), ours.network.positions_mm[photo])
        if photo == 0:  # the frame: the first camera stays
            graph.add(gtsam.NonlinearEqualityPose3(POSE, pose))
        else:
            pose = pose.retract(draw.normal(size=6) * [0.02, 0.02, 0.02, 200.0, 200.0, 200.0])
        start.insert(POSE + photo, pose)
    for point, place in enumerate(ours.network.points_mm):
        start.insert(POINT + point, place + draw.normal(size=3) * 100.0)
    settings = gtsam.LevenbergMarquardtParams()
    settings.setRelativeErrorTol(1e-14)
    settings.setAbsoluteErrorTol(1e-14)
    settings.setMaxIterations(100)
    return graph, gtsam.LevenbergMarquardtOptimizer(graph, start, settings).optimize()


def test_sizes_and_their_covariance_as_the_pose_graph_library_has_them() -> None:
    _, ours = held()
    graph, values = with_library()
    check(LIBRARY, "weighted sum of squares", 2.0 * graph.error(values), ours.vpv, 1e-4, seen=True)
    index = np.array(PAIRS)
    places = np.array([values.atPoint3(POINT + k) for k in range(len(ours.network.points_mm))])
    marginals = gtsam.Marginals(graph, values)
    sizes = joint_sizes(ours, PAIRS)
    spread = sizes.std_mm
    for row, (first, second) in enumerate(index):
        theirs = float(np.linalg.norm(places[second] - places[first]))
        name = f"size {first} to {second}"
        check(LIBRARY, name, theirs, sizes.values_mm[row], 2e-3, seen=True, unit="mm")
        keys = gtsam.KeyVector([POINT + int(first), POINT + int(second)])
        joint = marginals.jointMarginalCovariance(keys)
        unit = (places[second] - places[first]) / theirs
        blocks = [
            [joint.at(POINT + int(a), POINT + int(b)) for b in (first, second)] for a in (first, second)
        ]
        slope = np.concatenate([-unit, unit])
        std = float(np.sqrt(slope @ np.block(blocks) @ slope))
        check(LIBRARY, f"std of {name}", std, spread[row], 1e-4 * std, seen=True, unit="mm")


@cache
def small() -> tuple[PhotoProblem, JointAdjustment]:
    """Three photographs of fifteen points, a lens of which little is known."""
    whole = marked(np.random.default_rng(6), lengths=((0, 3), (0, 14)))
    keep = (whole.photo < 3) & (whole.point < 15)
    problem = replace(
        whole,
        photographs=whole.photographs[:3],
        photo=whole.photo[keep],
        point=whole.point[keep],
        marks_px=whole.marks_px[keep],
    )
    return problem, adjust_photos(problem, find_cameras(problem))


def residuals_of(problem: PhotoProblem, values: Array) -> Array:
    """All whitened residuals: cameras as turn vectors and positions, points, then five figures of the lens."""
    from scipy.spatial.transform import Rotation

    from dryfit.calc.photo import Pose

    cameras, count = len(problem.photographs), problem.point_count
    poses = values[: 6 * cameras].reshape(cameras, 6)
    points = values[6 * cameras : 6 * cameras + 3 * count].reshape(count, 3)
    belief = problem.lenses[0]
    vector = belief.lens.vector.copy()
    vector[:5] = values[-5:] * [1000.0, 1000.0, 1000.0, 1.0, 1.0]
    rows = []
    for photo, pose in enumerate(poses):
        mine = problem.photo == photo
        camera = Pose(Rotation.from_rotvec(pose[:3]).as_matrix(), 1000.0 * pose[3:])
        seen = project(lens_of(vector), camera, 1000.0 * points[problem.point[mine]]).marks_px
        rows.append(((problem.marks_px[mine] - seen) / problem.std_px).ravel())
    for known in problem.lengths:
        length = 1000.0 * np.linalg.norm(points[known.second] - points[known.first])
        rows.append(np.array([(known.length_mm - length) / known.std_mm]))
    believed = np.isfinite(belief.std[:5])
    rows.append(((belief.lens.vector - vector)[:5] / belief.std[:5])[believed])
    return np.concatenate(rows)


def test_sizes_and_their_covariance_as_a_general_solver_has_them() -> None:
    from scipy.optimize import least_squares
    from scipy.spatial.transform import Rotation

    problem, ours = small()
    network = ours.network
    turns = np.array([Rotation.from_matrix(each).as_rotvec() for each in network.rotations])
    start = np.concatenate(
        [
            np.hstack([turns, network.positions_mm / 1000.0]).ravel(),
            network.points_mm.ravel() / 1000.0,
            network.lenses[0, :5] / [1000.0, 1000.0, 1000.0, 1.0, 1.0],
        ]
    )
    start = start * (1.0 + 1e-4 * np.random.default_rng(1).normal(size=len(start)))
    found = least_squares(
        lambda at: residuals_of(problem, at),
        start,
        jac="3-point",
        xtol=1e-15,
        ftol=1e-15,
        gtol=1e-12,
        x_scale="jac",
    )
    check(SCIPY, "weighted sum of squares", 2.0 * found.cost, ours.vpv, 1e-5, seen=True)
    offset = 6 * len(problem.photographs)
    points = found.x[offset : offset + 3 * problem.point_count].reshape(-1, 3)
    # six directions move everything as one body: they fall out of the covariance of sizes
    covariance = np.linalg.pinv(found.jac.T @ found.jac, rcond=1e-13, hermitian=True)
    pairs = ((0, 14), (3, 6), (1, 9))
    sizes = joint_sizes(ours, pairs)
    for row, (first, second) in enumerate(pairs):
        apart = points[second] - points[first]
        length = float(np.linalg.norm(apart))
        slope = np.zeros(len(found.x))
        slope[offset + 3 * second : offset + 3 * second + 3] = apart / length
        slope[offset + 3 * first : offset + 3 * first + 3] = -apart / length
        name = f"size {first} to {second}"
        check(SCIPY, name, 1000.0 * length, sizes.values_mm[row], 0.02, seen=True, unit="mm")
        std = 1000.0 * float(np.sqrt(slope @ covariance @ slope))
        check(SCIPY, f"std of {name}", std, sizes.std_mm[row], 1e-3 * std, seen=True, unit="mm")
