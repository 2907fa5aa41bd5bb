"""Leading through a gauge study: parts shown in shuffled order, each reading recorded at once."""

from __future__ import annotations

import math
import secrets
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from dryfit.app.gauge import GaugeReport, judge_study, study_payload
from dryfit.app.gauge_records import (
    GAUGE_PLAN,
    GAUGE_READING,
    GaugePlan,
    GaugeReading,
    Place,
    gauge_readings,
    open_plan,
    plan_from,
    plan_payload,
    reading_payload,
    withdrawal_payload,
)
from dryfit.app.instruments import GAUGE_STUDY, find_instrument
from dryfit.app.reading_checks import ReadingRefused
from dryfit.app.reading_queries import Reason, find_slip
from dryfit.calc.gauging import reading_budget
from dryfit.model.instrument import Instrument
from dryfit.model.project import Project
from dryfit.store.document import read_document
from dryfit.store.ledger import LEDGER_NAME, Ledger, open_ledger

# Common practice, no source: five lengths, three times each; ten degrees of freedom for one person.
DEFAULT_PARTS, DEFAULT_TRIALS = 5, 3
MOST_PARTS, MOST_TRIALS, MOST_PEOPLE = 50, 20, 10
# A study is of the scatter, so only what is beyond all scatter is queried.
GROSS_STDS = 10.0


@dataclass(frozen=True, slots=True)
class StudyOptions:
    """A study that is to be begun; None: as many as is common practice. people: empty for one, unnamed."""

    parts: int | None = None
    trials: int | None = None
    people: tuple[str, ...] = ()
    decide_mm: float | None = None


class GaugeDesk:
    """An instrument on the bench, a plan, and an open ledger. was_begun: the study goes on where it was left."""

    def __init__(
        self, project: Project, ledger: Ledger, instrument: Instrument, plan: GaugePlan, was_begun: bool
    ) -> None:
        self.project = project
        self.instrument = instrument
        self.plan = plan
        self.was_begun = was_begun
        self._ledger = ledger
        self._own: list[int] = []

    def readings(self) -> tuple[GaugeReading, ...]:
        """Those that count."""
        return gauge_readings(self._ledger.records(GAUGE_READING), self.plan.record)

    def next_place(self) -> Place | None:
        """What is to be read next; None where the study is complete."""
        done = {item.place for item in self.readings()}
        return next((place for place in self.plan.order() if place not in done), None)

    def progress(self) -> tuple[int, int]:
        """Readings that are there, and of how many."""
        return len(self.readings()), len(self.plan.order())

    def query(self, place: Place, value_mm: float) -> tuple[Reason, ...]:
        """Why the value should be looked at again: only what is beyond all scatter."""
        check_length(self.instrument, value_mm)
        fellows = [item.value_mm for item in self.readings() if item.place.part == place.part]
        return query_gross(self.instrument, value_mm, fellows)

    def record_value(self, place: Place, value_mm: float) -> GaugeReading:
        """Record a reading; once this returns it is on the disk."""
        check_length(self.instrument, value_mm)
        record = self._ledger.append(GAUGE_READING, reading_payload(self.plan.record, place, value_mm))
        self._own.append(record.id)
        return GaugeReading(record.id, place, value_mm)

    def undo(self) -> GaugeReading | None:
        """Take back the latest reading of this sitting that counts; None where there is none."""
        counting = {item.record: item for item in self.readings()}
        for record in reversed(self._own):
            if record in counting:
                self._ledger.append(GAUGE_READING, withdrawal_payload(self.plan.record, record))
                return counting[record]
        return None

    def finish(self, decide_mm: float | None = None) -> GaugeReport:
        """Judge the complete study and record it. Raises ComputationRefused where a reading is missing."""
        plan, readings = self.plan, self.readings()
        report = judge_study(
            self.project, self.instrument, readings, plan.people, plan.parts, plan.trials, decide_mm
        )
        payload = study_payload(report, readings, plan.record)
        return replace(report, record=self._ledger.append(GAUGE_STUDY, payload).id)


@contextmanager
def open_gauge_desk(
    path: Path, instrument: str, options: StudyOptions, anew: bool = False
) -> Iterator[GaugeDesk]:
    """The bench for a study: the one that was left, unless anew, or one that is begun now.

    Raises ReferenceUnknown where the project has no such instrument, ReadingRefused where the study cannot be
    made as asked, and what opening the document and the ledger raises.
    """
    document = read_document(path)
    file = document.path.parent / LEDGER_NAME
    find_instrument(document.project, (), instrument)  # before a ledger is made for nothing
    parts, trials, people = _check_options(options)
    check_decide(options.decide_mm)
    with open_ledger(file) as ledger:
        found = find_instrument(document.project, ledger.records(GAUGE_STUDY), instrument)
        left = None if anew else open_plan(ledger.records(), instrument)
        if left is not None:
            _check_same(left, options)
            yield GaugeDesk(document.project, ledger, found, left, was_begun=True)
            return
        payload = plan_payload(
            instrument, people, [str(n + 1) for n in range(parts)], trials, secrets.randbits(31)
        )
        plan = plan_from(ledger.append(GAUGE_PLAN, payload))
        yield GaugeDesk(document.project, ledger, found, plan, was_begun=False)


def query_gross(instrument: Instrument, value_mm: float, fellows: Sequence[float]) -> tuple[Reason, ...]:
    """A slip of the hand: beyond all scatter of the other readings of the part."""
    if not fellows:
        return ()
    middle = float(np.median(fellows))
    own = reading_budget(instrument, max(abs(middle), instrument.resolution_mm)).own_std_mm

    def fits(value: float) -> bool:
        return abs(value - middle) <= GROSS_STDS * math.sqrt(2.0) * own

    if fits(value_mm):
        return ()
    slip = find_slip(value_mm, fits, instrument)
    what = f"{value_mm - middle:+.2f} mm from the other readings of this part"
    return (Reason("repeat", what) if slip is None else slip,)


def check_decide(decide_mm: float | None) -> None:
    """Raises ReadingRefused where the band that is to be decided is none."""
    if decide_mm is not None and not (math.isfinite(decide_mm) and decide_mm > 0.0):
        do = "write the width of the limits, in mm above 0, such as 0.8"
        raise ReadingRefused(f"a band of {decide_mm:g} mm is none", "--decide", do)


def _check_options(options: StudyOptions) -> tuple[int, int, tuple[str, ...]]:
    parts = DEFAULT_PARTS if options.parts is None else options.parts
    trials = DEFAULT_TRIALS if options.trials is None else options.trials
    for count, most, option, noun in (
        (parts, MOST_PARTS, "--parts", "parts"),
        (trials, MOST_TRIALS, "--trials", "readings of each part"),
    ):
        if not 2 <= count <= most:
            do = f"a study has 2 to {most}; {DEFAULT_PARTS} parts read {DEFAULT_TRIALS} times are common practice"
            raise ReadingRefused(f"{count} {noun}", option, do)
    people = options.people or ("",)
    if len(set(people)) < len(people) or len(people) > MOST_PEOPLE or (len(people) > 1 and "" in people):
        do = f"name each person once, up to {MOST_PEOPLE}: --people ann,ben"
        raise ReadingRefused(f"people {', '.join(people)}", "--people", do)
    return parts, trials, people


def _check_same(left: GaugePlan, options: StudyOptions) -> None:
    """A study that was left goes on as it was begun."""
    asked = (
        (options.parts, len(left.parts)),
        (options.trials, left.trials),
        (options.people or None, left.people),
    )
    if any(want is not None and want != have for want, have in asked):
        begun = f"{len(left.parts)} parts, {left.trials} times each" + (
            f", by {', '.join(left.people)}" if left.people != ("",) else ""
        )
        what = f"a study of {left.instrument} was begun otherwise: {begun}"
        do = "leave these options out to go on with it, or begin a new one: --anew"
        raise ReadingRefused(what, LEDGER_NAME, do)


def check_length(instrument: Instrument, value_mm: float) -> None:
    if not math.isfinite(value_mm):
        raise ReadingRefused("no finite number", "reading", "write what the instrument shows, in mm")
    if "square" not in instrument.measures and not value_mm > 0:
        do = "write what the instrument shows, above 0"
        raise ReadingRefused(f"a length of {value_mm:g} mm", "reading", do)
