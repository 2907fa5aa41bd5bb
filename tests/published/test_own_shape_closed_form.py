"""A print that is off for a reason of its own, against closed forms.

The field is held against the squared exponential covariance, written point by point. One reading of a segment of a
ring is then worked by hand: what its machine, scatter and instrument make of it is taken from the chain without a
field, the covariances of a field are added with a kernel of their own, and a single reading updates every line by
cov / var. The same field with a single noisy value is held against Gaussian process regression in closed form.
"""

from __future__ import annotations

import dataclasses
import math

import numpy as np

from building import Assembled, machine, ring
from dryfit.app.forecast import causes_of, learn_chain
from dryfit.app.looking_ahead import look_ahead
from dryfit.app.part_ends import reading_directions
from dryfit.base.arrays import Array
from dryfit.base.estimate import Estimate
from dryfit.calc.chain import group_tests, smooth_field, update_sources
from dryfit.calc.chain.update import Rows
from published.registry import check
from support.printed_parts import (
    as_built_of,
    chain_as_built,
    forecast_as_built,
    of_itself,
    points_measure,
    print_of,
    reading_of,
    without_readings,
)

KERNEL = "Rasmussen and Williams 2006, eq. 4.9 (memory), point by point"
REGRESSION = "Rasmussen and Williams 2006, eq. 2.25 and 2.26 (memory)"
BY_HAND = "Gaussian conditioning on one reading, cov / var, by hand"
NESTED = "difference of two weighted sums of squares, by hand"
STD_MM = 0.7
PRINTER = machine(repeatability_mm=0.05, skew_xy_deg=Estimate(0.05, 0.03), scale_x=Estimate(0.0, 0.0003))


def kernel(one: Array, other: Array, reach: float) -> float:
    return STD_MM**2 * math.exp(-0.5 * (math.dist(one, other) / reach) ** 2)


def test_the_covariance_of_the_field() -> None:
    points = np.random.default_rng(2).uniform(-100.0, 100.0, (40, 3))
    reach = 60.0
    field = smooth_field(points, reach, STD_MM)
    covariance = field @ field.T
    worst = max(
        abs(covariance[i, j] - kernel(points[i], points[j], reach)) for i in range(40) for j in range(40)
    )
    check(KERNEL, "largest departure of the covariance, 40 points", 0.0, worst, 1e-8, seen=False, unit="mm2")
    apart = smooth_field(np.array([[0.0, 0.0, 0.0], [60.0, 0.0, 0.0]]), 60.0, 1.0)
    check(KERNEL, "correlation at one reach", math.exp(-0.5), float(apart[0] @ apart[1]), 1e-12, seen=False)


def test_one_noisy_value_of_the_field() -> None:
    points, reach, noise = np.array([[0.0, 0, 0], [80.0, 0, 0]]), 100.0, 0.1
    field = smooth_field(points, reach, STD_MM)
    from scipy.sparse import csr_array

    update = update_sources(Rows(np.hstack([field[:1], [[noise]]]), csr_array((1, 0))), np.array([1.3]))
    there = float(np.concatenate([field[1], [0.0]]) @ update.shared)
    prior, across = STD_MM**2, STD_MM**2 * math.exp(-0.5 * 0.64)
    expected = across / (prior + noise**2) * 1.3
    check(REGRESSION, "mean at another point", expected, there, 1e-12, seen=False, unit="mm")


def test_one_reading_of_a_segment() -> None:
    assembled = ring(4, PRINTER)
    (first, first_out), (second, second_out) = _ends(assembled)
    measure = points_measure(first, second, first_out, second_out)
    item = print_of(assembled.project, "r2", 100)
    reading = reading_of(assembled.project, item, measure, 0.0, 1)
    asked = dataclasses.replace(reading, reading=dataclasses.replace(reading.reading, record=0))
    plain = as_built_of([(item, [reading], True)])
    ahead = look_ahead(chain_as_built(assembled, without_readings(plain)), {100: [asked]})
    value = float(ahead.shown_mm[0] + 0.9)
    read = as_built_of(
        [
            (
                item,
                [dataclasses.replace(reading, reading=dataclasses.replace(reading.reading, value_mm=value))],
                True,
            )
        ]
    )
    known = learn_chain(chain_as_built(assembled, of_itself(read, STD_MM)))
    assert known is not None

    before = forecast_as_built(assembled, as_built_of([]))
    by_field, with_reading, own = _by_hand(assembled, measure)
    variance = float(ahead.std_mm[0]) ** 2 + own
    across = ahead.with_lines[:, 0] + with_reading
    structure = assembled.chain.structure
    mean = known.causes.matrix @ known.causes.sources.shift
    std = np.sqrt(known.causes.matrix**2 @ known.causes.sources.std**2 + known.causes.spread.sum(axis=1))
    for line, gauge in enumerate(structure.gauges):
        earlier = before.characteristics[line]
        assert earlier.predicted is not None
        assert earlier.std is not None
        drawn = float(across[line] / variance * 0.9)
        left = math.sqrt(earlier.std**2 + by_field[line] - across[line] ** 2 / variance)
        was = float(_prior_mean(assembled)[line])
        of = f"{gauge.id} of the ring"
        check(BY_HAND, f"mean, {of}", was + drawn, float(mean[line]), 2e-4, seen=False, unit="mm")
        check(BY_HAND, f"std, {of}", left, float(std[line]), 2e-4, seen=False, unit="mm")


def test_a_group_against_all_others() -> None:
    """The test of a group is what the sum of squares loses when the group is left out."""
    from scipy.sparse import csr_array

    chance = np.random.default_rng(8)
    design = Rows(chance.normal(size=(9, 4)), csr_array(np.eye(9) * 0.2))
    innovation = chance.normal(size=9)
    group = np.array([2, 5, 6])
    rest = np.setdiff1d(np.arange(9), group)
    (test,), (off,) = group_tests(update_sources(design, innovation), [group])
    whole, without = (
        float(
            innovation[some] @ np.linalg.solve(design.pick(some).crossed(design.pick(some)), innovation[some])
        )
        for some in (np.arange(9), rest)
    )
    check(NESTED, "chi-square of three of nine readings", whole - without, float(test), 1e-9, seen=False)
    crossed = design.pick(group).crossed(design.pick(rest))
    expected = crossed @ np.linalg.solve(design.pick(rest).crossed(design.pick(rest)), innovation[rest])
    worst = float(np.abs(off - (innovation[group] - expected)).max())
    check(NESTED, "departures from what the others let expect", 0.0, worst, 1e-9, seen=False, unit="mm")


def _prior_mean(assembled: Assembled) -> Array:
    causes = causes_of(assembled.chain)
    mean: Array = causes.matrix @ causes.sources.shift
    return mean


def _ends(assembled: Assembled) -> list[tuple[Array, Array]]:
    """A face contact of r2 in each of its two joints: point and outward normal."""
    table = assembled.chain.structure.table
    found: dict[int, tuple[Array, Array]] = {}
    for row in range(len(table)):
        if table.is_face[row] and table.first[row] == 1:
            found.setdefault(int(table.joint[row]), (table.p_first[row], table.n_first[row]))
        elif table.is_face[row] and table.second[row] == 1:
            found.setdefault(int(table.joint[row]), (table.p_second[row], table.n_second[row]))
    return list(found.values())[:2]


def _by_hand(assembled: Assembled, measure: object) -> tuple[Array, Array, float]:
    """Variance of each line by the field, its covariance with the reading, and the variance of the reading."""
    structure, shape = assembled.chain.structure, assembled.shapes["r2"]
    table = structure.table
    reach = float((shape.mesh.vertices.max(axis=0) - shape.mesh.vertices.min(axis=0)).max())
    terms = [
        (point, table.direction[row], sign * structure.sensitivity[:, row])
        for sign, parts, points in ((-1.0, table.first, table.p_first), (1.0, table.second, table.p_second))
        for row, point in enumerate(points)
        if parts[row] == 1
    ]
    ends = list(zip((measure.first, measure.second), reading_directions(measure), strict=True))  # type: ignore[attr-defined, arg-type]
    lines = len(structure.sensitivity)
    by_field, with_reading = np.zeros(lines), np.zeros(lines)
    for point, direction, slope in terms:
        for other, away, slope_there in terms:
            by_field += slope * slope_there * kernel(point, other, reach) * float(direction @ away)
        for other, away in ends:
            with_reading += slope * kernel(point, np.array(other), reach) * float(direction @ away)
    own = sum(kernel(np.array(a), np.array(b), reach) * float(da @ db) for a, da in ends for b, db in ends)
    return by_field, with_reading, own
