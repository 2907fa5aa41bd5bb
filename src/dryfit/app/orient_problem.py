"""The first-order problem of the search: what each part adds to each judged line, pose by pose.

The vector of a pose holds, for every judged line in half bands, the shift that the expected figures of its
machine cause through the part, and for every uncertain figure the shift by one standard deviation. Parts of
one machine share its figures, so these vectors add up before they are squared: the square of the sum is the
loss, less what no pose changes.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from dryfit.app.causes import gather_causes
from dryfit.app.forecast import Chain
from dryfit.app.motion import Side
from dryfit.app.orient_loss import Judged, nominal_lines
from dryfit.app.orient_poses import Pose, PoseSpace
from dryfit.base.arrays import Array
from dryfit.calc.chain import independent_columns
from dryfit.calc.errormodel import outward_motion
from dryfit.calc.orient import turn_basis, turn_coefficients
from dryfit.model.machine import FIGURES, Machine
from dryfit.model.project import Project


@dataclass(frozen=True, slots=True, eq=False)
class Problem:
    """base and the parts' vectors, all in the same d columns.

    base          (d,) what no pose changes
    constant      loss of the sources that no pose changes
    coefficients  per part and rest (5, d): vector of a pose = turn_basis(turn) @ coefficients
    line          (d,) index of the judged line of each column
    source        (d,) "" for the shift of the expected value, else the figure that varies
    scale         (d,) column = value in the unit of the line times scale
    """

    base: Array
    constant: float
    coefficients: tuple[tuple[Array, ...], ...]
    line: Array
    source: tuple[str, ...]
    scale: Array

    def vector(self, part: int, pose: Pose) -> Array:
        """(d,) what a part adds in a pose."""
        vector: Array = turn_basis(np.array(pose.turn_deg)) @ self.coefficients[part][pose.rest]
        return vector

    def vectors(self, part: int, poses: Sequence[Pose]) -> Array:
        """(c, d) the same of several poses."""
        rests = np.array([pose.rest for pose in poses])
        basis = turn_basis(np.array([pose.turn_deg for pose in poses]))
        stacked = np.stack(self.coefficients[part])
        found = np.empty((len(poses), len(self.base)))
        for rest in np.unique(rests):
            found[rests == rest] = basis[rests == rest] @ stacked[rest]
        return found

    def loss(self, poses: Sequence[Pose]) -> float:
        """First-order loss with the parts in these poses."""
        total = self.base + sum(self.vector(part, pose) for part, pose in enumerate(poses))
        return float(total @ total) + self.constant

    def corrected(self, surplus: Array) -> Problem:
        """The same with the expected values (k,) moved by what exact placement finds beyond first order."""
        base = self.base.copy()
        base[: len(surplus)] += surplus * self.scale[: len(surplus)]
        return replace(self, base=base)


@dataclass(frozen=True, slots=True, eq=False)
class _Frame:
    """Where the columns lie: k of the expected shift, then a block of k per uncertain figure of each machine.

    root     (k,) square root of each line's weight
    varying  per machine the numbers of its uncertain figures
    starts   per machine its first column
    size     d
    """

    root: Array
    varying: Mapping[str, tuple[int, ...]]
    starts: Mapping[str, int]
    size: int

    @classmethod
    def of(cls, project: Project, judged: Judged) -> _Frame:
        root = np.sqrt(judged.weight)
        printing = {part.machine for part in project.parts}
        varying, starts, size = {}, {}, len(root)
        for machine in project.machines:
            if machine.id in printing:
                figures = machine.error.figures
                tied = machine.error.estimated is not None
                varying[machine.id] = tuple(
                    f for f, name in enumerate(FIGURES) if tied or figures[name].std > 0
                )
                starts[machine.id] = size
                size += len(root) * len(varying[machine.id])
        return cls(root, varying, starts, size)

    def columns(self, shares: Array, machine: Machine) -> Array:
        """(5, d) columns of shares (5, k, figures) of a part of a machine."""
        count, start = len(self.root), self.starts[machine.id]
        figures = [machine.error.figures[name] for name in FIGURES]
        columns = np.zeros((len(shares), self.size))
        columns[:, :count] = self.root * (shares @ np.array([figure.value for figure in figures]))
        std = np.array([figure.std for figure in figures])
        estimated = machine.error.estimated
        spread = shares * std
        if estimated is not None:
            # What the figures share with a shrinkage is left to the exact loss: no part's shrinkage turns with it.
            flat = shares.reshape(-1, len(FIGURES))
            spread = independent_columns(flat, std, np.array(estimated.correlation)).reshape(shares.shape)
        for place, figure in enumerate(self.varying[machine.id]):
            block = slice(start + place * count, start + (place + 1) * count)
            columns[:, block] = self.root * spread[:, :, figure]
        return columns


def build_problem(chain: Chain, judged: Judged, spaces: Sequence[PoseSpace]) -> Problem:
    """The problem of one locator layout; the bed poses of the chain do not matter."""
    frame = _Frame.of(chain.project, judged)
    count = len(judged.line)
    mean, variance = _without_figures(chain)
    base = np.zeros(frame.size)
    base[:count] = frame.root * (mean[judged.line] - judged.middle)
    moments = part_moments(chain, judged)
    named = [f"{id}.{FIGURES[f]}" for id, figures in frame.varying.items() for f in figures]
    return Problem(
        base=base,
        constant=float(judged.weight @ variance[judged.line]),
        coefficients=tuple(
            tuple(
                frame.columns(
                    _shares(chain, judged, part, space, rest, moments[part]),
                    _machine(chain, space),
                )
                for rest in range(len(space.rests))
            )
            for part, space in enumerate(spaces)
        ),
        line=np.tile(np.arange(count), 1 + len(named)),
        source=tuple(name for name in ("", *named) for _ in range(count)),
        scale=np.tile(frame.root, 1 + len(named)),
    )


def _machine(chain: Chain, space: PoseSpace) -> Machine:
    return chain.project.machine(space.part.machine)


def _shares(chain: Chain, judged: Judged, part: int, space: PoseSpace, rest: int, moments: Array) -> Array:
    """(5, k, figures) derivatives of the lines by the figures of a part's machine, over all turns of a rest."""
    rotation = space.rotations[rest]
    height = _machine(chain, space).error.first_layer_height_mm
    shares = np.zeros((5, len(judged.line), len(FIGURES)))
    shares[:, :, :6] = turn_coefficients(moments, rotation)
    shares[0, :, 6:] = outline_shares(chain, judged, part, rotation, space.floor_mm(rest), height)
    return shares


def _without_figures(chain: Chain) -> tuple[Array, Array]:
    """Means and variances (q,) of all lines from everything but the figures of machines."""
    causes = gather_causes(chain.project, chain.structure, chain.motion, chain.independent)
    figures = {f"{machine.id}.{name}" for machine in chain.project.machines for name in FIGURES}
    others = np.array([name not in figures for name in causes.sources.names], dtype=np.bool_)
    matrix = causes.matrix[:, others]
    mean = nominal_lines(chain.structure) + matrix @ causes.sources.shift[others]
    return mean, matrix**2 @ causes.sources.std[others] ** 2 + causes.spread.sum(axis=1)


def _sides(chain: Chain) -> tuple[tuple[Side, float], tuple[Side, float]]:
    return (chain.motion.first, -1.0), (chain.motion.second, 1.0)


def part_moments(chain: Chain, judged: Judged) -> Array:
    """(parts, k, 3, 3) [mm] sum over a part's rows of sensitivity times direction times arm."""
    structure = chain.structure
    moments = np.zeros((len(chain.project.parts), len(judged.line), 9))
    lines = structure.sensitivity[judged.line]
    for side, sign in _sides(chain):
        outer = (structure.table.direction[:, :, None] * side.arm[:, None, :]).reshape(-1, 9)
        for part in range(len(moments)):
            mine = side.part == part
            moments[part] += sign * (lines[:, mine] @ outer[mine])
    return moments.reshape(*moments.shape[:2], 3, 3)


def outline_shares(
    chain: Chain, judged: Judged, part: int, rotation: Array, floor_mm: float, first_layer_height_mm: float
) -> Array:
    """(k, 2) derivatives of the lines by a part's boundary offset and flare; no turn changes them."""
    table = chain.structure.table
    lines = chain.structure.sensitivity[judged.line]
    shares = np.zeros((len(judged.line), 2))
    normals, points = (table.n_first, table.n_second), (table.p_first, table.p_second)
    for (side, sign), normal, point in zip(_sides(chain), normals, points, strict=True):
        mine = side.part == part
        height = point[mine] @ rotation[2] - floor_mm
        outward = outward_motion(normal[mine], rotation, height, first_layer_height_mm)
        for column, motion in enumerate((outward.offset, outward.flare)):
            shares[:, column] += sign * (
                lines[:, mine] @ np.einsum("ij,ij->i", table.direction[mine], motion)
            )
    return shares
