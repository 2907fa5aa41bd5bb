"""A scan laid on its part without a first guess: the best pose, what fits as well, and what nothing holds."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from dryfit.base.arrays import Array
from dryfit.base.errors import ComputationRefused
from dryfit.calc.scans.coarse import PartModel, find_poses, prepare_part
from dryfit.calc.scans.fine import TUKEY, FinePose, PoseInformation, refine_pose, weigh_pose
from dryfit.calc.scans.form import pose_by_all, refine_form
from dryfit.calc.scans.judging import NEARLY, Judge, Nearly
from dryfit.calc.scans.order import order_along_curve
from dryfit.calc.scans.rigid import STILL, RigidMotion
from dryfit.calc.scans.sampled import ClosestSurface
from dryfit.calc.scans.surface import NominalSurface
from dryfit.calc.scans.symmetry import own_symmetries
from dryfit.calc.scans.telling import (
    CLEARLY,
    Alternative,
    FreeMotion,
    as_alternative,
    coarse_scatter,
    compare_poses,
    find_free_motions,
    is_same_family,
    misfit,
)
from dryfit.calc.scans.thinning import drop_sparse, pick_about, thin_scan

Progress = Callable[[int, int], None]

LEAST_POINTS = 100
_THIN, _QUICK, _CHECK, _FINE = 3000, 1000, 5000, 30_000
_TRIED, _CLOSE = 24, 8
_SAME_SHARE = 0.004  # of the diagonal: poses nearer than this are one
_FAMILY_SHARE = 0.03  # and candidates, before they are drawn onto the scan
# Below this share of points on the part no pose is believed; above this scatter neither (share of the diagonal).
LEAST_SHARE, MOST_SCATTER = 0.35, 0.02
_STEPS = 5
_STILL = 1e-4  # share of the diagonal: candidates need not come to rest


@dataclass(frozen=True, slots=True, eq=False)
class Registration:
    """A scan laid on a part.

    motion        scan to part
    scatter_mm    robust standard deviation of the distances of points on the part
    share         of the points that lie on the part
    information   covariance of the pose, in the directions that are held
    free          motions that nothing holds
    alternatives  other poses that fit as well; none: the pose is told
    runner_up     the nearest pose that fits clearly worse; None where none was seen
    """

    motion: RigidMotion
    scatter_mm: float
    share: float
    is_converged: bool
    information: PoseInformation
    free: tuple[FreeMotion, ...]
    alternatives: tuple[Alternative, ...]
    runner_up: Alternative | None

    @property
    def is_ambiguous(self) -> bool:
        """Another pose fits as well."""
        return bool(self.alternatives)


def register_scan(
    surface: NominalSurface,
    points: Array,
    normals: Array | None = None,
    progress: Progress | None = None,
    seed: int = 1,
) -> Registration:
    """Lay a scan on a part, without a first guess.

    points (n, 3) [mm] of the scan, n >= 100, in any position; normals (n, 3) outward, or None
    seed : of the draws; one seed always gives the same result
    Raises ComputationRefused where there are too few points or no pose lays a good share of them on the part.
    """
    tell = progress or (lambda done, total: None)
    if len(points) < LEAST_POINTS:
        what = f"the scan has {len(points)} points; {LEAST_POINTS} are the least that tell a pose"
        raise ComputationRefused(what, "scan", "scan again, with more points")
    diagonal = surface.diagonal_mm
    everything = points
    dense = drop_sparse(points, diagonal / 45.0)
    points, normals = points[dense], None if normals is None else normals[dense]
    thin = thin_scan(points, normals, _THIN, diagonal / 45.0, seed)
    model = prepare_part(surface)
    tell(1, _STEPS)
    poses = find_poses(model, thin, _TRIED, seed)
    tell(2, _STEPS)
    check = _pick(points, _CHECK, diagonal / 60.0, seed + 1)
    close = _closest(model.quick, poses, points, check, diagonal, seed)
    best = close[0]
    _refuse_bad(best, diagonal)
    tell(3, _STEPS)
    many = _pick(points, _FINE, diagonal / 150.0, seed + 2)
    return _settle(model, best, close[1:], check, many, everything, tell)


def _pick(points: Array, count: int, cell_mm: float, seed: int) -> Array:
    """About `count` points, evenly spread, neighbours after one another."""
    some = points[pick_about(points, count, cell_mm, seed)]
    return some[order_along_curve(some)]


def _some(points: Array) -> Array:
    if len(points) <= _FINE:
        return points
    return points[np.random.default_rng(4).choice(len(points), _FINE, replace=False)]


def _share(surface: NominalSurface, points: Array, motion: RigidMotion, scatter_mm: float) -> float:
    """Share of points, outliers included, that lie on the part."""
    placed, limit = motion.apply(points), TUKEY * scatter_mm
    # What lies out of the box is off the part, and slow to look up.
    in_box = ((placed > surface.bounds[0] - limit) & (placed < surface.bounds[1] + limit)).all(axis=1)
    distance = surface.nearest(placed[in_box]).distance_mm
    return float((np.abs(distance) < limit).sum()) / len(points)


def _settle(
    model: PartModel,
    best: FinePose,
    others: Sequence[FinePose],
    check: Array,
    many: Array,
    everything: Array,
    tell: Progress,
) -> Registration:
    """The pose of the best candidate by many points, and how it stands beside all others."""
    surface = model.surface
    best = _finish(surface, many, best)
    # Where the part is strained as a whole, everything is judged on the scan as it would be without that.
    seen, form, some = many, refine_form(surface, check, best), _some(everything)
    is_strained = form.is_strained(surface, best.scatter_mm)
    if is_strained:
        check, many, some = form.relax(check), form.relax(many), form.relax(some)
        best = _finish(surface, many, replace(best, motion=form.motion, scatter_mm=form.scatter_mm))
    motions = [pose.motion for pose in others]
    plain = weigh_pose(surface, many, best.motion, best.scatter_mm)
    free = find_free_motions(surface, check, best, plain)
    symmetries = own_symmetries(model, _family(model, free, plain) if free else None)
    tell(4, _STEPS)
    motions += [turn.after(best.motion) for turn in symmetries]
    tried = _try_all(model, check, motions, best, free, plain)
    judge = Judge(model, check, best.motion, best.scatter_mm)
    for motion in tried:
        compared = judge.compare(motion)
        if compared.rise < 0.0 and compared.significance < -CLEARLY:
            better = _finish(surface, many, FinePose(motion, best.scatter_mm, best.share, True, 0))
            tried, best = [*tried, best.motion], better
            judge = Judge(model, check, best.motion, best.scatter_mm)
            plain = weigh_pose(surface, many, best.motion, best.scatter_mm)
            free = find_free_motions(surface, check, best, plain)
    _refuse_bad(best, surface.diagonal_mm)
    space = np.linalg.qr(np.array([item.step for item in free]).T)[0] if free else None
    information = weigh_pose(surface, many, best.motion, best.scatter_mm, space) if free else plain
    alternatives, runner_up = _sort_out(model, check, many, best, tried, free, information)
    motion, share = best.motion, _share(surface, some, best.motion, best.scatter_mm)
    if is_strained:
        motion = pose_by_all(surface, seen, form, motion)
        whole = weigh_pose(surface, seen, motion, max(best.scatter_mm, form.largest_mm(surface)))
        information = replace(information, scale=whole.scale, scale_std=whole.scale_std)
    tell(_STEPS, _STEPS)
    return Registration(
        motion,
        best.scatter_mm,
        share,
        best.is_converged,
        information,
        free,
        alternatives,
        runner_up,
    )


def _family(
    model: PartModel, free: tuple[FreeMotion, ...], information: PoseInformation
) -> Callable[[RigidMotion, RigidMotion], bool]:
    """Whether two motions are one but for what nothing holds."""
    apart = _FAMILY_SHARE * model.surface.diagonal_mm

    def is_same(one: RigidMotion, other: RigidMotion) -> bool:
        return is_same_family(one, other, free, information.middle, information.length_mm, apart)

    return is_same


def _closest(
    surface: ClosestSurface,
    poses: Sequence[RigidMotion],
    points: Array,
    check: Array,
    diagonal: float,
    seed: int,
) -> list[FinePose]:
    """The poses refined, best first: all with few points, the best again with more."""
    quick = _pick(points, _QUICK, diagonal / 25.0, seed + 3)
    refined = [refine_pose(surface, quick, pose, 0.05 * diagonal, 14, _STILL) for pose in poses]
    refined = _ranked(surface, quick, refined)[:_CLOSE]
    return _ranked(
        surface,
        check,
        [refine_pose(surface, check, pose.motion, 0.03 * diagonal, 20, _STILL) for pose in refined],
    )


def _ranked(surface: ClosestSurface, points: Array, poses: Sequence[FinePose]) -> list[FinePose]:
    """By misfit at one common scale: that of the pose with most points near the part."""
    coarse = [
        float(misfit(surface, pose.motion.apply(points), 0.004 * surface.diagonal_mm).mean())
        for pose in poses
    ]
    leader = poses[int(np.argmin(coarse))]
    scale = min(max(leader.scatter_mm, 1e-6 * surface.diagonal_mm), 0.01 * surface.diagonal_mm)
    scores = [float(misfit(surface, pose.motion.apply(points), scale).mean()) for pose in poses]
    return [poses[k] for k in np.argsort(scores, kind="stable")]


def _finish(surface: NominalSurface, many: Array, pose: FinePose) -> FinePose:
    return refine_pose(
        surface, many, pose.motion, max(3.0 * TUKEY * pose.scatter_mm, 1e-5 * surface.diagonal_mm)
    )


def _try_all(
    model: PartModel,
    check: Array,
    motions: Sequence[RigidMotion],
    best: FinePose,
    free: tuple[FreeMotion, ...],
    information: PoseInformation,
) -> list[RigidMotion]:
    """Candidates drawn onto the scan as well as they go, each family once."""
    surface, is_same = model.surface, _family(model, free, information)
    few = check[:: max(1, len(check) // 1500)]
    reach = max(10.0 * best.scatter_mm, 0.01 * surface.diagonal_mm)
    kept = [best.motion]
    for motion in motions:
        if not any(is_same(known, motion) for known in kept):
            kept.append(motion)
    at_first = Nearly(model.quick, few, best.motion, max(3.0 * best.scatter_mm, reach / 3.0), 2.0 * NEARLY)
    then = Nearly(model.quick, few, best.motion, 3.0 * best.scatter_mm, NEARLY)
    close = max(3.0 * TUKEY * best.scatter_mm, 0.003 * surface.diagonal_mm)
    drawn = []
    for start in kept[1:]:
        motion = refine_pose(model.quick, few, start, reach, 4, _STILL).motion
        if at_first.holds(motion):
            motion = refine_pose(model.quick, few, motion, reach, 8, _STILL).motion
            if then.holds(motion):
                motion = refine_pose(surface, check, motion, close, 12, 0.1 * _STILL).motion
        drawn.append(motion)
    return drawn


def _refuse_bad(best: FinePose, diagonal: float) -> None:
    if best.share >= LEAST_SHARE and best.scatter_mm <= MOST_SCATTER * diagonal:
        return
    raise ComputationRefused(
        f"no position lays the scan on the part: at best {100.0 * best.share:.0f} % of its points lie within "
        f"{TUKEY * best.scatter_mm:.2g} mm of the surface",
        "scan",
        "see that it is this part, that its unit is right, and that table and holder are cut away from the scan",
    )


def _sort_out(
    model: PartModel,
    check: Array,
    many: Array,
    best: FinePose,
    tried: Sequence[RigidMotion],
    free: tuple[FreeMotion, ...],
    information: PoseInformation,
) -> tuple[tuple[Alternative, ...], Alternative | None]:
    """Poses that fit as well, and the nearest that does not, each family once."""
    surface = model.surface
    middle, length = information.middle, information.length_mm
    within = max(_SAME_SHARE * surface.diagonal_mm, 6.0 * best.scatter_mm)
    # Where the part can turn its facets must not count, or it would seem held by them.
    scatter = coarse_scatter(surface, best.scatter_mm) if free else best.scatter_mm
    kept: list[RigidMotion] = [best.motion]
    alike: list[Alternative] = []
    worse: Alternative | None = None
    judge = Judge(model, check, best.motion, scatter)
    for motion in tried:
        if any(is_same_family(known, motion, free, middle, length, within) for known in kept):
            continue
        kept.append(motion)
        compared = judge.compare(motion)
        if compared.is_as_good:
            # All points before it is said that the scan cannot tell.
            compared = compare_poses(surface, many, best.motion, motion, scatter)
        found = as_alternative(best.motion, motion, compared, middle)
        if compared.is_as_good:
            alike.append(found)
        elif worse is None or compared.rise < worse.comparison.rise:
            worse = found
    if worse is not None:
        worse = replace(worse, comparison=judge.compare_well(worse.motion))
    alike.sort(key=lambda item: (round(item.angle_deg, 1), item.along_mm))
    return tuple(alike), worse


def choose_pose(
    registration: Registration, on_scan: Array, on_part: Array, middle_std_mm: float
) -> tuple[RigidMotion, float]:
    """The one pose, of those that fit as well, that brings marked points of the scan to marked points of the part.

    on_scan (k, 3), on_part (k, 3) [mm]; middle_std_mm: how well a mark is set
    Returns the pose and its root mean square distance at the marks [mm].
    Raises ComputationRefused where the marks do not tell it from the next best.
    """
    poses = [registration.motion, *(item.motion for item in registration.alternatives)]
    away = [math.sqrt(float(((pose.apply(on_scan) - on_part) ** 2).sum(axis=1).mean())) for pose in poses]
    order = np.argsort(away)
    if len(poses) > 1 and away[order[1]] - away[order[0]] < 3.0 * middle_std_mm:
        raise ComputationRefused(
            f"the marks do not tell the positions apart: they miss by {away[order[0]]:.3g} mm and by "
            f"{away[order[1]]:.3g} mm",
            "marks",
            "mark a point farther from the axis or plane of symmetry",
        )
    return poses[int(order[0])], float(away[int(order[0])])


__all__ = ["STILL", "Registration", "choose_pose", "register_scan"]
