"""The few readings that are worth taking of each printed part, what they should show, and what to make of them."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from dryfit.app.aims import Aims, aims_of
from dryfit.app.artefact_plan import reading_variance
from dryfit.app.as_built import AsBuiltParts, PartReading, find_as_built
from dryfit.app.forecast import Chain
from dryfit.app.instruments import instruments_for
from dryfit.app.ledger_reading import read_records
from dryfit.app.loading import open_project
from dryfit.app.looking_ahead import Ahead, look_ahead, thought_of
from dryfit.app.part_instruments import can_read_part, is_same
from dryfit.app.part_measures import PartMeasure, part_measures
from dryfit.app.prediction import chain_of
from dryfit.base.arrays import Array
from dryfit.base.errors import DryfitError
from dryfit.calc.chain import expected_risk, risk_of
from dryfit.calc.gauging import Acceptance, Verdict, guard_limits, reading_budget
from dryfit.model.artefact import Point
from dryfit.model.instrument import Instrument, InstrumentKind

Progress = Callable[[int, int], None]

# Minutes for one reading, with finding the place and writing it down. Common practice, no source.
MINUTES: Mapping[InstrumentKind, float] = {
    "caliper": 1.0,
    "micrometer": 1.0,
    "steel rule": 1.5,
    "tape": 3.0,
    "square": 1.5,
    "height gauge": 2.0,
    "dial indicator": 3.0,
}
READINGS_OF_A_PART = 4
REPEATS = 2
# Gains below this probability are not worth a minute.
LEAST_GAIN = 1e-5
# Limits of a length by what it tells of the assembly are shown as far as it could reasonably depart.
_REACH_STDS = 6.0
_TELLS = 0.05  # correlation below which a length says nothing of a characteristic


class InspectionRefused(DryfitError):
    """A wish that no inspection plan can be made for."""


@dataclass(frozen=True, slots=True)
class InspectOptions:
    """What the plan is made for.

    parts    ids; (): every printed part
    readings of each part, at most
    minutes  of one reading by instrument id, instead of the usual ones
    """

    parts: tuple[str, ...] = ()
    readings: int = READINGS_OF_A_PART
    minutes: Mapping[str, float] | None = None


@dataclass(frozen=True, slots=True)
class ReadingDone:
    """What was read of a measure already.

    records  in the ledger   mean_mm, std_mm  of their mean, as displayed   verdict  by the acceptance of the length
    """

    records: tuple[int, ...]
    mean_mm: float
    verdict: Verdict | None


@dataclass(frozen=True, slots=True, eq=False)
class Proposed:
    """A measure that is worth reading, or was read.

    measure     its number and id on the part; first_mm, second_mm its ends, assembly coordinates
    nominal_mm  in the model; expected_mm, expected_std_mm  what the part should show by all that is known
    repeats     how often it is to be read; minutes  for all of them
    gain        expected reduction of the risk of the characteristics, added up, when it is read after those before it
    helps       characteristics that gain most, with their share of the gain
    acceptance  limits of the length, narrowed; None where nothing limits it
    limits_from why these limits: a feature's id, or the characteristic that would be carried out
    capability  limits over four standard uncertainties of the measurement; None where there is no band
    done        readings that were taken; None where none was
    """

    part: str
    print: int
    number: int
    id: str
    kind: str
    words: str
    first_mm: Point
    second_mm: Point
    instrument: str
    repeatability_from: str
    nominal_mm: float
    expected_mm: float
    expected_std_mm: float
    repeats: int
    minutes: float
    gain: float
    helps: tuple[tuple[str, float], ...]
    acceptance: Acceptance | None
    limits_from: str
    done: ReadingDone | None

    @property
    def gain_per_minute(self) -> float:
        """Expected reduction of the risk per minute of measuring."""
        return self.gain / self.minutes


@dataclass(frozen=True, slots=True, eq=False)
class PartPlan:
    """One printed part. readings: to take, the most telling first; done: measures that were read."""

    part: str
    print: int
    readings: tuple[Proposed, ...]
    done: tuple[Proposed, ...]
    note: str = ""


@dataclass(frozen=True, slots=True, eq=False)
class InspectionPlan:
    """What to read next.

    parts    those whose next reading gains most per minute first
    at_risk  characteristics by risk before any of these readings: probability out of limits, what known departures
             can be taken up being taken up
    unread   printed parts without anything worth reading
    not_printed  parts that are still to be printed
    minutes  of one reading by instrument, as taken
    """

    project: str
    parts: tuple[PartPlan, ...]
    at_risk: tuple[tuple[str, float], ...]
    not_printed: tuple[str, ...]
    cautions: tuple[str, ...]
    minutes: Mapping[str, float]


def _risk(aims: Aims) -> Array:
    """(k,) weighted."""
    return aims.weight * risk_of(aims.mean, aims.std, aims.lower, aims.upper, aims.target)


def inspect_project(
    path: Path, options: InspectOptions | None = None, progress: Progress | None = None
) -> InspectionPlan:
    """The inspection plan of a project folder. Raises ReferenceUnknown for an unknown part, and what opening raises."""
    wish = options or InspectOptions()
    opened = open_project(path, progress)
    chain = chain_of(opened)
    as_built = chain.as_built
    if as_built is None:
        raise InspectionRefused("nothing is known of the parts as built", "ledger.db", "enter a print first")
    for part in wish.parts:
        find_as_built(as_built, part)
    instruments = instruments_for(chain.project, read_records(opened.folder))
    return plan_inspection(chain, as_built, instruments, wish)


def plan_inspection(
    chain: Chain,
    as_built: AsBuiltParts,
    instruments: Sequence[Instrument],
    wish: InspectOptions,
    measures_of: Callable[[Chain, str], tuple[PartMeasure, ...]] | None = None,
) -> InspectionPlan:
    """The same for a chain at hand. measures_of: what can be read off a part, where that is known already."""
    find = measures_of or _measures_of
    minutes = _minutes(instruments, wish)
    aims = aims_of(chain)
    parts = [
        item
        for item in as_built.prints
        if item.is_as_built and item.print.part in (wish.parts or [item.print.part])
    ]
    measures = {item.print.record: find(chain, item.print.part) for item in parts}
    best = {
        record: [_best(item.measure.kind, item, instruments) for item in found]
        for record, found in measures.items()
    }
    asked: dict[int, list[PartReading]] = {}
    kept: dict[int, list[tuple[PartMeasure, Instrument]]] = {}
    for item in parts:
        record = item.print.record
        pairs = [
            (measure, instrument)
            for measure, instrument in zip(measures[record], best[record], strict=True)
            if instrument is not None
        ]
        kept[record] = pairs
        if pairs:
            asked[record] = [
                thought_of(measure.measure, instrument, item.print.machine, record, item.print.part)
                for measure, instrument in pairs
            ]
    ahead = look_ahead(chain, asked) if asked else None
    plans = []
    for item in parts:
        record = item.print.record
        if ahead is None or record not in asked:
            plans.append(
                PartPlan(item.print.part, record, (), (), "nothing on it can be read with these instruments")
            )
            continue
        plans.append(
            _plan_part(
                chain, aims, ahead, item.print.part, record, kept[record], item.readings, minutes, wish
            )
        )
    plans.sort(key=lambda plan: -max((row.gain_per_minute for row in plan.readings), default=0.0))
    return InspectionPlan(
        project=chain.project.name,
        parts=tuple(plans),
        at_risk=_at_risk(chain, aims),
        not_printed=tuple(item.part for item in as_built.parts if not item.is_printed),
        cautions=as_built.cautions,
        minutes=minutes,
    )


def _measures_of(chain: Chain, part: str) -> tuple[PartMeasure, ...]:
    return part_measures(chain.project, chain.shapes, chain.structure, part)


def _minutes(instruments: Sequence[Instrument], wish: InspectOptions) -> dict[str, float]:
    given = dict(wish.minutes or {})
    known = {item.id for item in instruments}
    for id, value in given.items():
        if id not in known:
            raise InspectionRefused(
                f'there is no instrument "{id}"', "--minutes", f"one of: {', '.join(sorted(known))}"
            )
        if not (math.isfinite(value) and value > 0):
            raise InspectionRefused(f"{value:g} minutes for a reading", "--minutes", "state more than 0")
    return {item.id: given.get(item.id, MINUTES[item.kind]) for item in instruments}


def _at_risk(chain: Chain, aims: Aims) -> tuple[tuple[str, float], ...]:
    names = [item.id for item in chain.project.characteristics]
    total: dict[str, float] = {}
    for index, risk in zip(aims.characteristic, _risk(aims), strict=True):
        total[names[index]] = total.get(names[index], 0.0) + float(risk)
    return tuple(sorted(total.items(), key=lambda item: (-item[1], item[0])))


def _best(kind: str, item: PartMeasure, instruments: Sequence[Instrument]) -> Instrument | None:
    able = [row for row in instruments if can_read_part(item.measure, row)]
    return min(able, key=lambda row: reading_variance(item.measure, row)) if able else None


def _plan_part(
    chain: Chain,
    aims: Aims,
    ahead: Ahead,
    part: str,
    record: int,
    pairs: Sequence[tuple[PartMeasure, Instrument]],
    readings: Sequence[PartReading],
    minutes: Mapping[str, float],
    wish: InspectOptions,
) -> PartPlan:
    places = ahead.asked[record]
    between = ahead.between[record].copy()
    crossed = ahead.with_lines[np.ix_(aims.line, places)].copy()
    hand = np.array([instrument.repeatability_mm**2 for _, instrument in pairs])
    # The mean of the repeats: what is each one's own is averaged.
    between[np.diag_indices(len(pairs))] -= hand * (1.0 - 1.0 / REPEATS)
    time = np.array([REPEATS * minutes[instrument.id] for _, instrument in pairs])
    done = [_readings_of(measure, readings) for measure, _ in pairs]
    limits = [
        _limits(chain, aims, ahead, place, item, instrument)
        for place, (item, instrument) in zip(places, pairs, strict=True)
    ]
    chosen: list[Proposed] = []
    std = aims.std.copy()
    is_free = np.array([not items for items in done])
    for _ in range(wish.readings):
        gains = _gains(aims, std, between, crossed)
        worth = np.where(is_free, gains.sum(axis=0) / time, -1.0)
        best = int(np.argmax(worth)) if len(worth) else -1
        if best < 0 or worth[best] * time[best] < LEAST_GAIN:
            break
        is_free[best] = False
        chosen.append(
            _proposed(
                chain,
                aims,
                ahead,
                part,
                record,
                pairs[best],
                int(places[best]),
                time[best],
                gains[:, best],
                limits[best],
                None,
            )
        )
        std = np.sqrt(np.maximum(std**2 - crossed[:, best] ** 2 / between[best, best], 0.0))
        crossed -= np.outer(crossed[:, best], between[best]) / between[best, best]
        between -= np.outer(between[best], between[best]) / between[best, best]
    read = tuple(
        _proposed(
            chain,
            aims,
            ahead,
            part,
            record,
            pair,
            int(place),
            1.0,
            np.zeros(len(aims.line)),
            limit,
            _done(items, limit[0]),
        )
        for pair, place, items, limit in zip(pairs, places, done, limits, strict=True)
        if items
    )
    note = "" if chosen else "no reading would lessen the risk of a characteristic worth a minute"
    return PartPlan(part, record, tuple(chosen), read, note)


def _gains(aims: Aims, std: Array, between: Array, crossed: Array) -> Array:
    """(k, n) expected reduction of the risk of each line by each reading."""
    variance = np.maximum(between.diagonal(), 1e-30)
    gains = np.zeros(crossed.shape)
    before = aims.weight * expected_risk(aims.mean, aims.std, std, aims.lower, aims.upper, aims.target)
    for index in range(crossed.shape[1]):
        after = np.sqrt(np.maximum(std**2 - crossed[:, index] ** 2 / variance[index], 0.0))
        risk = aims.weight * expected_risk(aims.mean, aims.std, after, aims.lower, aims.upper, aims.target)
        gains[:, index] = np.maximum(before - risk, 0.0)
    return gains


def _limits(
    chain: Chain, aims: Aims, ahead: Ahead, place: int, item: PartMeasure, instrument: Instrument
) -> tuple[Acceptance | None, str]:
    """Within what the length must lie, narrowed by the uncertainty of reading it, and why."""
    std = reading_budget(instrument, item.measure.length_mm).std_mm
    if item.lower_mm is not None or item.upper_mm is not None:
        return guard_limits(item.lower_mm, item.upper_mm, std), item.feature
    true = ahead.true_std_mm[place]
    if true <= 0.0:
        return None, ""
    slope = ahead.true_with_lines[aims.line, place] / true**2
    reach = _REACH_STDS * true
    low, high, why = -math.inf, math.inf, ("", "")
    names = [row.id for row in chain.project.characteristics]
    for index in range(len(aims.line)):
        tells = abs(slope[index]) * true / max(aims.std[index], 1e-12)
        if tells < _TELLS:
            continue
        name = names[aims.characteristic[index]]
        ends = sorted(
            (limit - aims.mean[index]) / slope[index] for limit in (aims.lower[index], aims.upper[index])
        )
        if ends[0] > low:
            low, why = ends[0], (name, why[1])
        if ends[1] < high:
            high, why = ends[1], (why[0], name)
    lower = ahead.shown_mm[place] + low if abs(low) <= reach else None
    upper = ahead.shown_mm[place] + high if abs(high) <= reach else None
    if lower is None and upper is None:
        return None, ""
    if lower is not None and upper is not None and upper < lower:
        return None, f"no length serves both {why[0]} and {why[1]}"
    whence = [name for limit, name in ((lower, why[0]), (upper, why[1])) if limit is not None]
    return guard_limits(lower, upper, std), " and ".join(dict.fromkeys(whence))


def _proposed(
    chain: Chain,
    aims: Aims,
    ahead: Ahead,
    part: str,
    record: int,
    pair: tuple[PartMeasure, Instrument],
    place: int,
    minutes: float,
    gains: Array,
    limits: tuple[Acceptance | None, str],
    done: ReadingDone | None,
) -> Proposed:
    item, instrument = pair
    names = [row.id for row in chain.project.characteristics]
    total = float(gains.sum())
    by_name: dict[str, float] = {}
    for index, gain in zip(aims.characteristic, gains, strict=True):
        by_name[names[index]] = by_name.get(names[index], 0.0) + float(gain)
    helps = sorted(
        ((name, gain / total) for name, gain in by_name.items() if total > 0), key=lambda row: -row[1]
    )
    return Proposed(
        part=part,
        print=record,
        number=item.measure.number,
        id=item.measure.id,
        kind=item.measure.kind,
        words=item.measure.words,
        first_mm=item.measure.first,
        second_mm=item.measure.second,
        instrument=instrument.id,
        repeatability_from=instrument.repeatability_from,
        nominal_mm=item.measure.length_mm,
        expected_mm=float(ahead.shown_mm[place]),
        expected_std_mm=float(ahead.true_std_mm[place]),
        repeats=REPEATS,
        minutes=float(minutes),
        gain=total,
        helps=tuple(row for row in helps if row[1] >= 0.05)[:3],
        acceptance=limits[0],
        limits_from=limits[1],
        done=done,
    )


def _readings_of(measure: PartMeasure, readings: Sequence[PartReading]) -> list[PartReading]:
    return [item for item in readings if not item.left_out and is_same(item.measure, measure.measure)]


def _done(items: Sequence[PartReading], limits: Acceptance | None) -> ReadingDone:
    mean = float(np.mean([item.reading.value_mm for item in items]))
    return ReadingDone(
        tuple(item.reading.record for item in items), mean, None if limits is None else limits.judge(mean)
    )


def read_minutes(words: Sequence[str]) -> dict[str, float]:
    """Minutes by instrument of words like "tape-3m=5". Raises InspectionRefused for others."""
    found = {}
    for word in words:
        id, mark, text = word.partition("=")
        try:
            found[id.strip()] = float(text)
        except ValueError as error:
            raise InspectionRefused(f'"{word}" states no minutes', "--minutes", "write tape-3m=5") from error
        if not mark:
            raise InspectionRefused(f'"{word}" states no minutes', "--minutes", "write tape-3m=5")
    return found
