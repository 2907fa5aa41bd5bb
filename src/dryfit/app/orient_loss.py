"""The expected loss by which bed poses and locator layouts are compared.

A characteristic costs E[((y - middle) / half band)^2] = ((mean - middle)^2 + variance) / half band^2, which
is 1 where its standard uncertainty just fills the half band. Source: quadratic quality loss, Taguchi (memory).

With one limit only, the modelled value stands for the middle and its distance from the limit for the half
band. A flatness has the residual of each point from the refitted plane as its lines: half the upper limit
is their half band, zero their middle, and the mean over the lines its loss; a lower limit is not used.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dryfit.app.causes import Causes, gather_causes
from dryfit.app.forecast import Chain, place_chain, read_gauge
from dryfit.app.structure import Structure
from dryfit.base.arrays import Array, IntArray
from dryfit.base.errors import ComputationRefused
from dryfit.calc.characteristics import Gauge
from dryfit.calc.placing import Poses
from dryfit.model.characteristic import Characteristic
from dryfit.model.project import Project


@dataclass(frozen=True, slots=True, eq=False)
class Judged:
    """The k lines of the structure that are judged.

    line, characteristic (k,) indices of the line and of its characteristic
    middle, weight (k,) value wished for, and 1 / half band^2 (over the number of lines of a flatness)
    left_out       characteristics that are not judged, and why
    """

    line: IntArray
    characteristic: IntArray
    middle: Array
    weight: Array
    left_out: tuple[str, ...]


def judge_lines(project: Project, structure: Structure) -> Judged:
    """What counts, and by what limits. Raises ComputationRefused where nothing can be judged."""
    lines: list[tuple[int, int, float, float]] = []
    left_out: list[str] = []
    for index, (wanted, gauge) in enumerate(zip(project.characteristics, structure.gauges, strict=True)):
        mine = np.nonzero(structure.results == index)[0]
        if structure.is_free[mine].any():
            left_out.append(f'"{wanted.id}" is undetermined: a part that it depends on is free to move')
            continue
        middle, half, fault = _target(wanted, gauge)
        if fault:
            left_out.append(f'"{wanted.id}" {fault}')
            continue
        lines += [(int(line), index, middle, 1.0 / (half**2 * len(mine))) for line in mine]
    if not lines:
        reasons = "; ".join(left_out) or "the project states none"
        raise ComputationRefused(
            f"no characteristic can be judged: {reasons}",
            "project.toml: characteristic",
            "state limits for what matters, and hold every part that it depends on",
        )
    columns = list(zip(*lines, strict=True))
    return Judged(
        np.array(columns[0], dtype=np.int64),
        np.array(columns[1], dtype=np.int64),
        np.array(columns[2]),
        np.array(columns[3]),
        tuple(left_out),
    )


def _target(wanted: Characteristic, gauge: Gauge) -> tuple[float, float, str]:
    """Middle, half band, and why it cannot be judged ("" where it can)."""
    lower, upper = wanted.lower, wanted.upper
    if gauge.is_range:
        if upper is None or upper <= 0:
            return 0.0, 1.0, "is a flatness without an upper limit above zero"
        return 0.0, 0.5 * upper, ""
    if lower is not None and upper is not None:
        if upper <= lower:
            return 0.0, 1.0, "has no room between its limits"
        return 0.5 * (lower + upper), 0.5 * (upper - lower), ""
    if lower is None and upper is None:
        return 0.0, 1.0, "has no limits"
    room = gauge.nominal - lower if lower is not None else (upper or 0.0) - gauge.nominal
    if room <= 0:
        return 0.0, 1.0, "has a single limit on which, or beyond which, its modelled value lies"
    return gauge.nominal, room, ""


def nominal_lines(structure: Structure) -> Array:
    """(q,) value of every line in the model; for a flatness the residual of each point."""
    values = np.zeros(len(structure.sensitivity))
    for index, gauge in enumerate(structure.gauges):
        mine = structure.results == index
        values[mine] = (
            _residuals(gauge, structure, structure.table.p_second) if gauge.is_range else gauge.nominal
        )
    return values


def _residuals(gauge: Gauge, structure: Structure, x_second: Array) -> Array:
    heights = np.einsum("ij,ij->i", structure.table.direction[gauge.rows], x_second[gauge.rows])
    residuals: Array = gauge.weights @ heights
    return residuals


def exact_lines(chain: Chain, poses: Poses) -> Array:
    """(q,) central value of every line in the exactly placed assembly."""
    structure = chain.structure
    values = np.zeros(len(structure.sensitivity))
    for index, gauge in enumerate(structure.gauges):
        mine = structure.results == index
        if gauge.is_range:
            table = structure.table
            placed = np.zeros((len(table), 3))
            placed[gauge.rows] = poses.x_second[gauge.rows]
            values[mine] = _residuals(gauge, structure, placed)
        else:
            values[mine] = read_gauge(gauge, poses)
    return values


def first_order_lines(structure: Structure, causes: Causes) -> tuple[Array, Array]:
    """Expected values and variances (q,) of every line to first order."""
    mean = nominal_lines(structure) + causes.matrix @ causes.sources.shift
    variance = causes.matrix**2 @ causes.sources.std**2 + causes.spread.sum(axis=1)
    return mean, variance


def line_losses(judged: Judged, mean: Array, variance: Array) -> Array:
    """(k,) loss of each judged line, from the means and variances (q,) of all lines."""
    off = mean[judged.line] - judged.middle
    losses: Array = judged.weight * (off**2 + variance[judged.line])
    return losses


def first_order_loss(chain: Chain, judged: Judged) -> float:
    """Loss of a chain to first order; infinite where a judged line has become undetermined."""
    if chain.structure.is_free[judged.line].any():
        return float("inf")
    causes = gather_causes(chain.project, chain.structure, chain.motion, chain.independent)
    return float(line_losses(judged, *first_order_lines(chain.structure, causes)).sum())


@dataclass(frozen=True, slots=True, eq=False)
class ExactLoss:
    """Loss by exact placement.

    losses   (k,) of the judged lines
    mean, std (k,) their exact central values and standard uncertainties
    surplus  (k,) [unit of the line] exact central value less the one to first order
    """

    losses: Array
    mean: Array
    std: Array
    surplus: Array

    @property
    def total(self) -> float:
        """Added up over the lines."""
        return float(self.losses.sum())


def exact_loss(chain: Chain, judged: Judged) -> ExactLoss:
    """Loss of a chain with exact central values and first-order variances."""
    causes = gather_causes(chain.project, chain.structure, chain.motion, chain.independent)
    mean, variance = first_order_lines(chain.structure, causes)
    exact = exact_lines(chain, place_chain(chain))
    return ExactLoss(
        losses=line_losses(judged, exact, variance),
        mean=exact[judged.line],
        std=np.sqrt(variance[judged.line]),
        surplus=(exact - mean)[judged.line],
    )
