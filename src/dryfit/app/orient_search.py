"""Search for bed poses at one locator layout: grid, refinement, and the exact placement as judge."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from dryfit.app.forecast import Chain
from dryfit.app.orient_loss import Judged, exact_loss
from dryfit.app.orient_poses import STATED, Pose, PoseSpace, grid_poses, moved_chain, near_poses, price_of
from dryfit.app.orient_problem import Problem
from dryfit.calc.orient import (
    Choices,
    Picks,
    Turns,
    alternate_start,
    neutral_start,
    round_turns,
    search_choices,
    settle_turns,
)
from dryfit.model.orientation import Layout, OrientOptions

# A part is worth turning only where this much loss goes away with it: a hundredth of a squared half band, or
# a ten-thousandth of the stated loss where that is less; but three ten-thousandths of what no pose changes
# at the least, because beside a wide scatter the last tenth of a millimetre of the mean is not worth a change.
_LEAST_GAIN, _LEAST_SHARE, _LEAST_OF_CONSTANT = 1e-2, 1e-4, 3e-4
# Turns are rounded to the first where the loss hardly changes, else to the second.
_STEP_DEG, _FINE_DEG = 0.5, 0.01
# To first order many choices may tie, so that several are placed exactly: as many as this number of parts in
# all, within these bounds. The first few are refined beforehand.
_PLACED_PARTS, _LEAST_KEPT, _MOST_KEPT, _REFINED = 300, 6, 40, 3

Poses = tuple[Pose, ...]
Layouts = Mapping[str, Layout]  # joints that differ from the document
Tick = Callable[[], None]


@dataclass(frozen=True, slots=True, eq=False)
class Search:
    """What stays the same all through a search.

    chain   the chain as stated
    spaces  what each part may do
    unit    loss that one changed part or joint must save
    tick    called after each step; may raise to stop the search
    """

    chain: Chain
    judged: Judged
    spaces: tuple[PoseSpace, ...]
    options: OrientOptions
    unit: float
    tick: Tick

    @property
    def stated(self) -> Poses:
        """Every part as the document has it."""
        return (STATED,) * len(self.spaces)

    def may_be(self, poses: Poses) -> bool:
        """Whether no part stays in a stated pose that does not fit although another would."""
        return all(
            pose != STATED
            or space.is_kept
            or space.fits(STATED)
            or STATED in grid_poses(space, self.options.grid_deg)
            for space, pose in zip(self.spaces, poses, strict=True)
        )

    def price(self, poses: Poses, layouts: Layouts) -> float:
        """What deciding for these changes must be worth."""
        return sum(price_of(pose, self.unit) for pose in poses) + self.unit * len(layouts)


@dataclass(frozen=True, slots=True, eq=False)
class Found:
    """One answer with its exact loss, and the chain that has it."""

    poses: Poses
    layouts: Layouts
    chain: Chain
    loss: float
    priced: float


def least_gain(loss: float, constant: float) -> float:
    """Loss that one changed part must save at least, given the loss as stated and what no pose changes."""
    return max(min(_LEAST_GAIN, _LEAST_SHARE * loss), _LEAST_OF_CONSTANT * constant)


def find_poses(search: Search, problem: Problem, more_starts: Sequence[Poses] = ()) -> list[Poses]:
    """The best few choices on the grid and, where asked, refined; to first order."""
    options = search.options
    grids = [grid_poses(space, options.grid_deg) for space in search.spaces]
    choices = _choices(search, problem, grids)
    starts = _starts(search, choices, grids, more_starts)
    found = []
    keep = max(_LEAST_KEPT, min(_MOST_KEPT, _PLACED_PARTS // len(grids)))
    best = search_choices(choices, starts, options.seed, keep, search.tick)
    for rank, (picks, _) in enumerate(best):
        poses = tuple(grid[pick] for grid, pick in zip(grids, picks, strict=True))
        found.append(poses)
        if options.is_refined and rank < _REFINED:
            found.append(refine_poses(search, problem, poses))
            search.tick()
    return list(dict.fromkeys(found))


def _choices(search: Search, problem: Problem, candidates: Sequence[Sequence[Pose]]) -> Choices:
    return Choices(
        problem.base,
        tuple(problem.vectors(part, poses) for part, poses in enumerate(candidates)),
        tuple(np.array([price_of(pose, search.unit) for pose in poses]) for poses in candidates),
    )


def _starts(
    search: Search, choices: Choices, grids: Sequence[Sequence[Pose]], more: Sequence[Poses]
) -> list[Picks]:
    """As stated, each part neutral, every second one turned a quarter, and at random with a fixed seed."""
    stated = _nearest(grids, search.stated)
    quarter = _nearest(grids, tuple(Pose(0 if space.may_rest[0] else 1, 90.0) for space in search.spaces))
    sequence = search.chain.structure.sequence.order
    order = [part for part in range(len(grids)) if part not in set(sequence)] + list(sequence)
    generator = np.random.Generator(np.random.PCG64(search.options.seed))
    sizes = np.array([len(grid) for grid in grids])
    return [
        stated,
        neutral_start(choices),
        alternate_start(stated, quarter, order),
        *(_nearest(grids, poses) for poses in more),
        *(generator.integers(0, sizes) for _ in range(search.options.random_starts)),
    ]


def _nearest(grids: Sequence[Sequence[Pose]], poses: Poses) -> Picks:
    """The candidates nearest to poses that need not be on the grid."""
    return np.array(
        [
            min(
                range(len(grid)), key=lambda index: (grid[index].rest != pose.rest, _apart(grid[index], pose))
            )
            for grid, pose in zip(grids, poses, strict=True)
        ],
        dtype=np.int64,
    )


def _apart(one: Pose, two: Pose) -> float:
    difference = abs(one.turn_deg - two.turn_deg) % 360.0
    return min(difference, 360.0 - difference)


def refine_poses(search: Search, problem: Problem, poses: Poses) -> Poses:
    """Turns between those of the grid: half degrees first, any turn then, rounded where it hardly matters."""
    reach = 0.5 * search.options.grid_deg
    near = [near_poses(s, pose, reach, _STEP_DEG) for s, pose in zip(search.spaces, poses, strict=True)]
    choices = _choices(search, problem, near)
    start = np.zeros(len(near), dtype=np.int64)
    picks, _ = search_choices(choices, [start], search.options.seed, 1, search.tick, is_kicked=False)[0]
    halves = tuple(candidates[pick] for candidates, pick in zip(near, picks, strict=True))
    smooth = _settle(search, problem, halves)
    gained = problem.loss(halves) - problem.loss(smooth)
    return smooth if gained > search.unit else halves


def _settle(search: Search, problem: Problem, poses: Poses) -> Poses:
    spaces = search.spaces
    moves = np.array(
        [pose != STATED and s.may_rest[pose.rest] for s, pose in zip(spaces, poses, strict=True)]
    )
    moves &= np.array([not space.is_kept for space in spaces])
    turns = Turns(
        problem.base, tuple(problem.coefficients[part][pose.rest] for part, pose in enumerate(poses))
    )
    start = np.array([pose.turn_deg for pose in poses])

    def fits(part: int, turn_deg: float) -> bool:
        return spaces[part].fits(Pose(poses[part].rest, turn_deg))

    settled = settle_turns(turns, start, moves, 0.5 * search.options.grid_deg)
    for part in np.nonzero(moves)[0].tolist():
        if not fits(part, float(settled[part])):
            settled[part] = start[part]
    rounded = round_turns(turns, settled, moves, (_STEP_DEG, _FINE_DEG), 0.1 * search.unit, fits)
    return tuple(
        Pose(pose.rest, float(turn)) if moved else pose
        for pose, turn, moved in zip(poses, rounded, moves, strict=True)
    )


def judge_exactly(search: Search, chain: Chain, poses: Poses, layouts: Layouts) -> Found:
    """Exact loss of poses on the chain of a layout."""
    moved = moved_chain(chain, search.spaces, poses)
    loss = exact_loss(moved, search.judged).total
    search.tick()
    return Found(poses, layouts, moved, loss, loss + search.price(poses, layouts))


def best_exactly(
    search: Search, chain: Chain, problem: Problem, layouts: Layouts, tried: Sequence[Poses]
) -> Found:
    """The best of some poses by exact placement, after one more refinement about the best of them.

    The further refinement starts from what exact placement finds beyond first order.
    """
    allowed = [poses for poses in dict.fromkeys(tried) if search.may_be(poses)]
    found = [judge_exactly(search, chain, poses, layouts) for poses in allowed]
    best = min(found, key=lambda item: item.priced)
    if not search.options.is_refined:
        return best
    corrected = problem.corrected(exact_loss(best.chain, search.judged).surplus)
    again = refine_poses(search, corrected, best.poses)
    return min(best, judge_exactly(search, chain, again, layouts), key=lambda item: item.priced)
