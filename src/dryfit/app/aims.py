"""What measuring and mending aim at: the lines with limits, and what is known of them now."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from dryfit.app.forecast import Chain
from dryfit.app.line_state import state_of_lines
from dryfit.base.arrays import Array, IntArray


@dataclass(frozen=True, slots=True, eq=False)
class Aims:
    """The k lines that count. A flatness counts by each of its points, half its limit wide.

    line, characteristic  (k,) indices
    lower, upper          (k,) infinite where there is no limit
    target                (k,) where it would best be: the middle of two limits, else the nominal value
    weight                (k,) [-] of the points of a flatness together one
    mean, std             (k,) what is known of each now
    """

    line: IntArray
    characteristic: IntArray
    lower: Array
    upper: Array
    target: Array
    weight: Array
    mean: Array
    std: Array


def aims_of(chain: Chain) -> Aims:
    """Lines with limits that hang on no free motion. Raises what state_of_lines raises."""
    project, structure = chain.project, chain.structure
    state = state_of_lines(chain)
    rows: list[tuple[int, int, float, float, float, float]] = []
    for index, (wanted, gauge) in enumerate(zip(project.characteristics, structure.gauges, strict=True)):
        mine = np.nonzero(structure.results == index)[0]
        if structure.is_free[mine].any() or (wanted.lower is None and wanted.upper is None):
            continue
        if gauge.is_range:
            if wanted.upper is None:
                continue
            half = 0.5 * wanted.upper
            rows += [(int(line), index, -half, half, 0.0, 1.0 / len(mine)) for line in mine]
            continue
        lower = -math.inf if wanted.lower is None else wanted.lower
        upper = math.inf if wanted.upper is None else wanted.upper
        target = 0.5 * (lower + upper) if math.isfinite(lower) and math.isfinite(upper) else gauge.nominal
        rows.append((int(mine[0]), index, lower, upper, target, 1.0))
    table = np.array(rows, dtype=np.float64).reshape(-1, 6)
    line = table[:, 0].astype(np.int64)
    return Aims(
        line=line,
        characteristic=table[:, 1].astype(np.int64),
        lower=table[:, 2],
        upper=table[:, 3],
        target=table[:, 4],
        weight=table[:, 5],
        mean=state.mean[line],
        std=state.std[line],
    )
