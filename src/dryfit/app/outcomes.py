"""From causes and an exact placement to the forecast of each characteristic."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from dryfit.app.causes import Causes
from dryfit.app.structure import Structure
from dryfit.base.arrays import Array, IntArray
from dryfit.calc.chain import Samples, Sources, probability_outside, sample, worst_case
from dryfit.calc.chain.montecarlo import draw_departures
from dryfit.calc.placing import Poses
from dryfit.model.forecast import CharacteristicForecast, Contribution
from dryfit.model.project import Project

_Z95 = 1.959963984540054  # 97.5 % point of the normal distribution
_DRAWN_AT_ONCE = 64  # lines whose draws are held in memory together


@dataclass(frozen=True, slots=True, eq=False)
class Run:
    """One run of the forecast: what acts, where the parts stand, and how many draws to take."""

    project: Project
    structure: Structure
    causes: Causes
    poses: Poses
    samples: int
    seed: int
    most_causes: int | None
    progress: Callable[[int, int], None] | None
    correction: Array | None = None  # (q,) by which measured gaps put the lines off their placed values


@dataclass(frozen=True, slots=True, eq=False)
class _Lines:
    """First-order figures of all q lines by cause; columns of one name are added up.

    names     (n,)
    variance  (q, n)
    reach     (q, n)
    shift     (q, n)
    std       (q,)
    order     (q, k) the causes of largest effect first; all of them, or as many as are wanted
    """

    names: tuple[str, ...]
    variance: Array
    reach: Array
    shift: Array
    std: Array
    order: IntArray


def forecast_characteristics(run: Run, exact: Sequence[float]) -> tuple[CharacteristicForecast, ...]:
    """The forecast of every characteristic, in the order of the document.

    exact : value of each in the exact placement
    """
    lines = _add_up(run.causes, run.most_causes)
    draws = _draw_lines(run, exact)
    by_gauge: list[list[int]] = [[] for _ in exact]
    for line, index in enumerate(run.structure.results):
        by_gauge[index].append(line)
    return tuple(
        _forecast_range(run, lines, index, np.array(mine), exact[index])
        if run.structure.gauges[index].is_range
        else _forecast_line(run, lines, index, mine[0], exact[index], draws.get(mine[0]))
        for index, mine in enumerate(by_gauge)
    )


def _add_up(causes: Causes, most: int | None) -> _Lines:
    sources = causes.sources
    given = (*sources.names, *causes.groups)
    names = tuple(dict.fromkeys(given))
    none = np.zeros((len(causes.matrix), len(causes.groups)))
    variance = np.hstack([(causes.matrix * sources.std) ** 2, causes.spread])
    reach = np.hstack([np.abs(causes.matrix) * sources.half_width, causes.reach])
    shift = np.hstack([causes.matrix * sources.shift, none])
    if len(names) < len(given):
        position = {name: index for index, name in enumerate(names)}
        merge = np.zeros((len(given), len(names)))
        merge[np.arange(len(given)), [position[name] for name in given]] = 1.0
        variance, reach, shift = variance @ merge, reach @ merge, shift @ merge
    std = np.sqrt(variance.sum(axis=1))
    return _Lines(names, variance, reach, shift, std, _largest_first(variance + shift**2, most))


def _largest_first(effect: Array, most: int | None) -> IntArray:
    """Indices (q, k) of the largest entries of each row, largest first; alike to a billionth in the given order."""
    count = effect.shape[1]
    largest = effect.max(axis=1, keepdims=True, initial=0.0)
    # What is equal by symmetry differs by rounding, and rounding by machine: that may not change an order.
    effect = np.round(effect / np.where(largest > 0.0, largest, 1.0), 9)
    if most is None or most >= count:
        return np.argsort(-effect, axis=1, kind="stable")
    some = np.argpartition(-effect, most, axis=1)[:, :most]
    inner = np.argsort(-np.take_along_axis(effect, some, axis=1), axis=1, kind="stable")
    return np.take_along_axis(some, inner, axis=1)


def _limits(run: Run, index: int) -> tuple[float, float]:
    wanted = run.project.characteristics[index]
    lower = -np.inf if wanted.lower is None else wanted.lower
    return lower, np.inf if wanted.upper is None else wanted.upper


@dataclass(frozen=True, slots=True)
class _Draws:
    low: float
    high: float
    outside: float
    count: int


def _draw_lines(run: Run, exact: Sequence[float]) -> dict[int, _Draws]:
    """Monte Carlo of the lines on which a source that is not normal acts."""
    causes, structure = run.causes, run.structure
    shaped = np.nonzero(~causes.sources.is_normal & (causes.sources.std > 0))[0]
    drawn = [
        line
        for line, index in enumerate(structure.results)
        if not structure.gauges[index].is_range and causes.matrix[line, shaped].any()
    ]
    found: dict[int, _Draws] = {}
    for start in range(0, len(drawn), _DRAWN_AT_ONCE):
        some = drawn[start : start + _DRAWN_AT_ONCE]
        result = _sample(run, some, shaped, exact)
        for place, line in enumerate(some):
            found[line] = _Draws(
                float(result.low[place]),
                float(result.high[place]),
                float(result.outside[place]),
                result.count,
            )
    return found


def _sample(run: Run, some: list[int], shaped: IntArray, exact: Sequence[float]) -> Samples:
    causes, results = run.causes, run.structure.results
    variance = (causes.matrix[some] * causes.sources.std) ** 2
    variance[:, shaped] = 0.0
    normal = variance.sum(axis=1) + causes.spread[some].sum(axis=1)
    limits = np.array([_limits(run, int(results[line])) for line in some])
    return sample(
        np.array([exact[int(results[line])] for line in some]),
        np.sqrt(normal),
        causes.matrix[some][:, shaped],
        _pick(causes.sources, shaped),
        limits[:, 0],
        limits[:, 1],
        run.samples,
        run.seed,
        run.progress,
    )


def _pick(sources: Sources, keep: IntArray) -> Sources:
    return Sources(
        tuple(sources.names[index] for index in keep),
        sources.shift[keep],
        sources.std[keep],
        tuple(sources.distribution[index] for index in keep),
    )


def _forecast_line(
    run: Run, lines: _Lines, index: int, line: int, exact: float, draws: _Draws | None
) -> CharacteristicForecast:
    wanted, gauge = run.project.characteristics[index], run.structure.gauges[index]
    std = float(lines.std[line])
    low, high = exact - _Z95 * std, exact + _Z95 * std
    p_out = probability_outside(exact, std, wanted.lower, wanted.upper)
    if draws is not None:
        low, high, p_out = draws.low, draws.high, draws.outside
    worst_low, worst_high = worst_case(np.array([exact]), lines.reach[line][None])
    linear = gauge.nominal + float(lines.shift[line].sum())
    free = _free_parts(run, [line])
    return CharacteristicForecast(
        id=wanted.id,
        kind=wanted.kind,
        unit=wanted.unit,
        nominal=gauge.nominal,
        predicted=exact,
        std=std,
        low=low,
        high=high,
        lower_limit=wanted.lower,
        upper_limit=wanted.upper,
        p_out=None if free else p_out,
        worst_low=float(worst_low[0]),
        worst_high=float(worst_high[0]),
        linear_minus_exact=linear - exact,
        contributions=_contributions(lines.names, lines.variance[line], lines.shift[line], lines.order[line]),
        free_parts=free,
        samples=0 if draws is None else draws.count,
    )


def _free_parts(run: Run, lines: Sequence[int]) -> tuple[str, ...]:
    """Parts whose free motions any of the lines depends on."""
    depends = run.structure.free_of[list(lines)].any(axis=0)
    return tuple(run.project.parts[part].id for part in np.nonzero(depends)[0])


def _contributions(
    names: Sequence[str], variance: Array, shift: Array, order: IntArray
) -> tuple[Contribution, ...]:
    """Causes in the given order, by variance and squared shift together; those without effect are left out."""
    total = variance.sum()
    shares = variance[order] / total if total > 0 else np.zeros(len(order))
    return tuple(
        Contribution(names[index], share, moved)
        for index, share, moved in zip(order.tolist(), shares.tolist(), shift[order].tolist(), strict=True)
        if share > 0 or moved != 0
    )


def _forecast_range(
    run: Run, lines: _Lines, index: int, mine: IntArray, exact: float
) -> CharacteristicForecast:
    """A flatness: the range of several lines, by Monte Carlo of their joint distribution.

    A range is never negative, so that scatter alone makes it larger: the predicted value is the mean of
    the draws, not the range of the expected shape.
    """
    wanted, gauge = run.project.characteristics[index], run.structure.gauges[index]
    table = run.structure.table
    direction = table.direction[gauge.rows]
    residual = gauge.weights @ np.einsum("ij,ij->i", direction, run.poses.x_second[gauge.rows])
    if run.correction is not None:
        residual = residual + run.correction[mine]
    nominal = gauge.weights @ np.einsum("ij,ij->i", direction, table.p_second[gauge.rows])
    lower, upper = _limits(run, index)
    draws = _draw_range(run, mine, residual)
    top, bottom = int(residual.argmax()), int(residual.argmin())
    shift = lines.shift[mine[top]] - lines.shift[mine[bottom]]
    linear = float(np.ptp(nominal + lines.shift[mine].sum(axis=1)))
    reach = lines.reach[mine].sum(axis=1)
    spread = residual[:, None] - residual[None, :]
    pairwise = reach[:, None] + reach[None, :]
    variance = lines.variance[mine].sum(axis=0)
    order = _largest_first((variance + shift**2)[None], run.most_causes)[0]
    free = _free_parts(run, mine.tolist())
    return CharacteristicForecast(
        id=wanted.id,
        kind=wanted.kind,
        unit=wanted.unit,
        nominal=gauge.nominal,
        predicted=float(draws.mean()),
        std=float(draws.std()),
        low=float(np.quantile(draws, 0.025)),
        high=float(np.quantile(draws, 0.975)),
        lower_limit=wanted.lower,
        upper_limit=wanted.upper,
        p_out=None if free else float(((draws < lower) | (draws > upper)).mean()),
        worst_low=max(0.0, float((spread - pairwise).max())),
        worst_high=float((spread + pairwise).max()),
        linear_minus_exact=linear - exact,
        contributions=_contributions(lines.names, variance, shift, order),
        free_parts=free,
        samples=len(draws),
    )


def _draw_range(run: Run, mine: IntArray, residual: Array) -> Array:
    """Draws of the range of lines around their expected heights."""
    causes, structure = run.causes, run.structure
    sensitivity = structure.sensitivity[mine]
    left = causes.left
    variance = row_variance(run.project, structure) if left is None else left.row_variance
    covariance = (sensitivity * variance) @ sensitivity.T
    if left is not None:
        errors = left.errors[np.searchsorted(left.lines, mine)]
        covariance += errors @ errors.T
    values, vectors = np.linalg.eigh(covariance)
    root = vectors * np.sqrt(np.maximum(values, 0.0))
    generator = np.random.Generator(np.random.PCG64(run.seed))
    heights = residual[:, None] + root @ generator.standard_normal((len(mine), run.samples))
    heights += causes.matrix[mine] @ draw_departures(causes.sources, run.samples, generator)
    ranges: Array = np.ptp(heights, axis=0)
    return ranges


def row_variance(project: Project, structure: Structure) -> Array:
    """(n,) variance of each row by the scatter of its two points and by normal play."""
    table = structure.table
    std_of = {machine.id: machine.error.repeatability_mm for machine in project.machines}
    scatter = np.array([*(std_of[part.machine] ** 2 for part in project.parts), 0.0])  # the ground: none
    rows = structure.joint_rows
    summed = [
        locates and (rows[joint].contact_play if face else rows[joint].locator_play).distribution == "normal"
        for joint, face, locates in zip(table.joint, table.is_face, table.is_locating, strict=True)
    ]
    play = np.where(np.array(summed, dtype=bool), table.play_std_mm, 0.0)
    variance: Array = scatter[table.first] + scatter[table.second] + play**2
    return variance
