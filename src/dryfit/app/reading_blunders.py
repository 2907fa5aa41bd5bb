"""Readings that are probably wrong: each judged by a scatter that it had no part in."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from dryfit.app.reading_fit import ReadingFit, fit_readings
from dryfit.app.reading_model import Taken
from dryfit.base.arrays import Array
from dryfit.base.errors import ComputationRefused
from dryfit.calc.adjust import Group, Indistinct, Suspect, search_blunders
from dryfit.model.material import Material

# Probability that anything at all is suspected where every reading is right.
LEVEL = 0.05
MOST = 5
# Two readings may have been exchanged only where each is off by this many standard deviations, and then neither.
STANDS_OUT = 3.5
# So many readings nearest to the value that was meant are tried as the other of an exchange.
CANDIDATES = 4


@dataclass(frozen=True, slots=True, eq=False)
class SuspectReading:
    """A reading, or all readings of a measure, that the others contradict.

    measure     id of the measure
    places      indices of the readings, as they were given
    off_mm, off_std_mm  by how much they are off together
    test_value  departure over its standard uncertainty, Student with dof degrees of freedom
    p_value     chance of such a departure, times the number of tests
    redundancy  share of such a blunder that shows
    exchanged   index of the reading with which this one was probably exchanged; None otherwise
    alike       ids of measures that could be wrong instead
    without     (8,) figures without it; None where they are not determined then
    without_std (8,)
    """

    measure: str
    places: tuple[int, ...]
    off_mm: float
    off_std_mm: float
    test_value: float
    dof: float
    p_value: float
    redundancy: float
    exchanged: int | None
    alike: tuple[str, ...]
    without: Array | None
    without_std: Array | None


def suspect_readings(
    taken: Sequence[Taken], values: Array, material: Material, level: float = LEVEL
) -> tuple[SuspectReading, ...]:
    """Suspects in the order in which they are found; each is set aside while the next is looked for.

    The worst group by its test value is judged by hand and scatter estimated without it, against Student's
    distribution: so a blunder does not hide behind the scatter that it causes.
    Raises what fitting all readings raises.
    Source: externally studentised residuals, Cook and Weisberg 1982, 2.2 (memory); Bonferroni's inequality.
    """
    kept = list(range(len(taken)))
    now = np.array(values, dtype=np.float64)
    found: list[SuspectReading] = []
    fit = fit_readings(taken, now, material)
    while len(found) < MOST:
        suspect, without = _worst(taken, now, kept, fit, material, level)
        if suspect is None:
            break
        found.append(suspect)
        if without is None:
            break
        if suspect.exchanged is not None:
            one, other = suspect.places[0], suspect.exchanged
            now[[one, other]] = now[[other, one]]
        else:
            kept = [index for index in kept if index not in suspect.places]
        fit = without
    return tuple(found)


def _groups(taken: Sequence[Taken], kept: Sequence[int]) -> list[tuple[Group, tuple[int, ...]]]:
    """Every measure, and every reading of a measure that was read more than once."""
    by_measure: dict[str, list[int]] = {}
    for place, index in enumerate(kept):
        by_measure.setdefault(taken[index].measure.id, []).append(place)
    groups = [(Group(id, tuple(places)), tuple(places)) for id, places in by_measure.items()]
    singles = [
        (Group(id, (place,)), (place,))
        for id, places in by_measure.items()
        if len(places) > 1
        for place in places
    ]
    return groups + singles


def _worst(
    taken: Sequence[Taken],
    values: Array,
    kept: Sequence[int],
    fit: ReadingFit,
    material: Material,
    level: float,
) -> tuple[SuspectReading | None, ReadingFit | None]:
    groups = _groups(taken, kept)
    names = fit.model.names
    anything = float(
        len(groups)
    )  # a level at which the critical value is near zero: the worst, whatever it is
    search = search_blunders(
        fit.design,
        fit.linearised(),
        fit.covariance_of_readings(),
        fit.prior,
        names,
        [group for group, _ in groups],
        level=anything,
        most=1,
    )
    if not search.suspects:
        return None, None
    worst = search.suspects[0]
    places = tuple(kept[place] for place in worst.group.rows)
    without = _fit_without(taken, values, kept, places, material)
    if without is None:
        return None, None
    again = _judge(fit, worst.group, _covariance_by(fit, without))
    if again is None:
        return None, None
    exchanged, following = None, without
    if len(places) == 1:
        pair = _exchange(taken, values, kept, worst.group.rows[0], again, fit, without, material)
        if pair is not None:
            exchanged, following = pair
    dof = _dof_of(fit, worst.group, without)
    p_value = min(1.0, len(groups) * _two_sided(again.normalised, dof))
    if p_value >= level:
        return None, None
    suspect = SuspectReading(
        measure=worst.group.name,
        places=places,
        off_mm=again.size,
        off_std_mm=again.size_std,
        test_value=again.normalised,
        dof=dof,
        p_value=p_value,
        redundancy=again.redundancy,
        exchanged=exchanged,
        alike=tuple(dict.fromkeys(name for name in worst.alike if name != worst.group.name)),
        without=without.figures,
        without_std=np.sqrt(np.diag(without.covariance)),
    )
    return suspect, following


def _fit_without(
    taken: Sequence[Taken], values: Array, kept: Sequence[int], places: tuple[int, ...], material: Material
) -> ReadingFit | None:
    """The fit without these readings; None where the others do not determine the figures."""
    rest = [index for index in kept if index not in places]
    try:
        return fit_readings([taken[index] for index in rest], values[rest], material)
    except (Indistinct, ComputationRefused):
        return None


def _exchange(
    taken: Sequence[Taken],
    values: Array,
    kept: Sequence[int],
    row: int,
    judged: Suspect,
    fit: ReadingFit,
    without: ReadingFit,
    material: Material,
) -> tuple[int, ReadingFit] | None:
    """The reading with which a suspect one was exchanged, and the fit with both put right; None where there is none.

    The other must show what this one should, stand out itself, and both must be in order once they are exchanged.
    """
    meant = fit.values[row] - judged.size
    others = [
        other
        for other in np.argsort(np.abs(fit.values - meant), kind="stable")
        if taken[kept[other]].measure.id != taken[kept[row]].measure.id
    ]
    for other in others[:CANDIDATES]:
        pair = (row, int(other))
        if min(_stand_out(fit, pair, without)) < STANDS_OUT:
            continue
        now = values.copy()
        now[[kept[row], kept[other]]] = values[[kept[other], kept[row]]]
        swapped = fit_readings([taken[index] for index in kept], now[list(kept)], material)
        if max(_stand_out(swapped, pair, swapped)) < STANDS_OUT:
            return kept[other], swapped
    return None


def _stand_out(fit: ReadingFit, rows: tuple[int, ...], by: ReadingFit) -> list[float]:
    """Size of the test value of each row of a fit, by hand and scatter of another."""
    groups = [Group(str(row), (row,)) for row in rows]
    judged = [_judge(fit, group, _covariance_by(fit, by)) for group in groups]
    return [0.0 if item is None else abs(item.normalised) for item in judged]


def _judge(fit: ReadingFit, group: Group, covariance: Array) -> Suspect | None:
    """The test of one group by a stated covariance of the readings; None where nothing controls it."""
    search = search_blunders(
        fit.design,
        fit.linearised(),
        covariance,
        fit.prior,
        fit.model.names,
        [group],
        level=1.0,  # whatever its test value
        most=1,
        exchange=False,
    )
    return search.suspects[0] if search.suspects else None


def _dof_of(fit: ReadingFit, group: Group, by: ReadingFit) -> float:
    """Effective degrees of freedom of the variance of a group's departure, by those of scatter and hand.

    A single reading is judged by the hand, a whole measure by the scatter of printed points.
    Source: JCGM 100:2008, G.4.1 and G.4.2, with derivatives by differences.
    """
    base = _judge(fit, group, _covariance_by(fit, by))
    if base is None:
        return 1.0
    variance = base.size_std**2
    instrument = fit.model.instrument[group.rows[0]]
    name = fit.model.instruments[instrument]
    hand = by.hands[name] if name in by.hands else fit.hands[name]
    is_mine = fit.model.instrument == instrument
    spread = 0.0
    parts = (
        (hand.std**2, hand.std**2 * math.sqrt(2.0 / hand.dof), np.diag(is_mine.astype(float))),
        (by.scatter.std**2, by.scatter.variance_std, fit.model.scatter),
    )
    for square, square_std, shape in parts:
        step = 0.01 * max(square, square_std)
        if step == 0.0:
            continue
        moved = _judge(fit, group, _covariance_by(fit, by) + step * shape)
        if moved is not None:
            spread += ((moved.size_std**2 - variance) / step * square_std) ** 2
    return 2.0 * variance**2 / spread if spread > 0.0 else math.inf


def _covariance_by(fit: ReadingFit, without: ReadingFit) -> Array:
    """(n, n) covariance of all readings of fit with hand and scatter of another fit."""
    model = fit.model
    hand = np.array(
        [
            without.hands[model.instruments[index]].std
            if model.instruments[index] in without.hands
            else fit.hands[model.instruments[index]].std
            for index in model.instrument
        ]
    )
    whole: Array = np.diag(hand**2) + model.shared + without.scatter.std**2 * model.scatter
    return whole


def _two_sided(test_value: float, dof: float) -> float:
    """Chance of a Student's variable at least as far from zero."""
    from scipy.special import ndtr, stdtr

    return float(2.0 * (ndtr(-abs(test_value)) if math.isinf(dof) else stdtr(dof, -abs(test_value))))
