"""Take readings of a machine's latest artefact: one by one, from the command's options, or from a file."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from dryfit.app.reading_checks import ReadingRefused, check_temperature
from dryfit.app.reading_csv import record_csv
from dryfit.app.reading_desk import ReadingDesk, Taken, open_desk
from dryfit.app.reading_queries import Reason
from dryfit.base.errors import DryfitError
from dryfit.model.printing import OwnShape
from dryfit.model.reading import Reading

_MOST_OFF = 0.25  # of its diagonal: further off, it is another part (common practice, no source)


class ReadingDoubtful(DryfitError):
    """A reading that was queried and not confirmed: nothing was recorded."""


@dataclass(frozen=True, slots=True)
class ReadReport:
    """What was recorded, and how far the plan is done.

    machine        that printed it
    artefact       its record in the ledger, or that of the print of a part
    target         what was read: the machine, or the part
    is_part        whether it is a printed part
    taken          readings recorded now
    withdrawn      readings taken back now
    read, planned  of the whole plan
    uncorrected    readings that count and state no temperature
    confirmed      readings that count, were queried and confirmed
    """

    project: str
    machine: str
    artefact: int
    taken: tuple[Taken, ...]
    withdrawn: tuple[Reading, ...]
    read: int
    planned: int
    uncorrected: int
    confirmed: int
    target: str = ""
    is_part: bool = False


@dataclass(frozen=True, slots=True)
class OwnShapeReport:
    """A decision about a print, entered.

    print, record  of the print, and of the decision in the ledger
    std_mm   by about how much it is off for a reason of its own; 0: no longer taken so
    before   what was decided until now; None: nothing, or that it is as its machine makes it
    """

    project: str
    part: str
    print: int
    record: int
    std_mm: float
    because: str
    before: OwnShape | None


@dataclass(frozen=True, slots=True)
class ReadOptions:
    """What all readings of a sitting share.

    instrument  instead of the planned one, for the measures that it can read; of a single reading, for it
    print       record of the print that is read, of a part; None: the part as built
    """

    instrument: str | None = None
    temp_c: float | None = None
    by: str = ""
    print: int | None = None


def read_file(
    path: Path, machine: str, csv: Path, options: ReadOptions, confirm: str | None = None, again: bool = False
) -> ReadReport:
    """Record the readings of a CSV file, all or none. Raises RowsRefused with every fault by line."""
    with open_desk(path, machine, options.print) as desk:
        prepare_desk(desk, options)
        taken = record_csv(desk, csv, confirm, again)
        return report_on(desk, taken)


def read_one(
    path: Path, machine: str, measure: str, value_mm: float, options: ReadOptions, is_meant: bool = False
) -> ReadReport:
    """Record one reading. Raises ReadingDoubtful where it is queried and not stated to be meant."""
    with open_desk(path, machine, options.print) as desk:
        prepare_desk(desk, options)
        step = desk.step_for(desk.find_measure(measure), options.instrument)
        reasons = desk.query(step, value_mm)
        _refuse_doubtful(reasons, is_meant, f"measure {step.measure.number} = {value_mm:g}")
        return report_on(desk, [desk.record_value(step, value_mm, bool(reasons))])


def correct_one(
    path: Path, machine: str, record: int, value_mm: float, options: ReadOptions, is_meant: bool = False
) -> ReadReport:
    """Record another value for a reading, which no longer counts then."""
    with open_desk(path, machine, options.print) as desk:
        prepare_desk(desk, options)
        old = desk.find_reading(record)
        desk.temp_c = old.temp_c if options.temp_c is None else options.temp_c
        step = desk.step_for(desk.artefact.measure(old.measure), options.instrument or old.instrument)
        reasons = desk.query(step, value_mm, record)
        _refuse_doubtful(reasons, is_meant, f"record {record} as {value_mm:g}")
        return report_on(desk, [desk.record_value(step, value_mm, bool(reasons), record)])


def withdraw_one(path: Path, machine: str, record: int, options: ReadOptions) -> ReadReport:
    """Take a reading back by a correcting record."""
    with open_desk(path, machine, options.print) as desk:
        prepare_desk(desk, options)
        return report_on(desk, [], [desk.withdraw(record)])


def decide_one(
    path: Path, part: str, record: int, counts: bool, because: str, options: ReadOptions
) -> ReadReport:
    """Leave a reading of a part out of the forecast, or count it again; the decision is recorded with its reason.

    Raises ReadingRefused without a reason, or for an artefact, whose qualification decides.
    """
    with open_desk(path, part, options.print) as desk:
        if desk.body is None:
            do = f"leave it out of the qualification: dryfit qualify {part} --without {record} --because TEXT"
            raise ReadingRefused("a reading of an artefact is not left out here", part, do)
        if not because.strip():
            raise ReadingRefused(
                "no reason is given", "--because", 'say why: --because "the jaws were tilted"'
            )
        desk.find_reading(record)
        desk.decide(record, counts, because.strip(), options.by)
        return report_on(desk, [])


def decide_own_shape(
    path: Path, part: str, std_mm: float, because: str, options: ReadOptions
) -> OwnShapeReport:
    """Take the print of a part as off for a reason of its own, by about std_mm; 0: as its machine makes it.

    The decision is recorded with its reason. Raises ReadingRefused without a reason, for an artefact, and for a
    departure that no part can have.
    """
    with open_desk(path, part, options.print) as desk:
        if desk.body is None:
            do = f"an artefact tells of its machine: dryfit qualify {part}"
            raise ReadingRefused("only a printed part can be off for a reason of its own", part, do)
        if not because.strip():
            do = 'say why: --because "one corner came off the bed"'
            raise ReadingRefused("no reason is given", "--because", do)
        size = 2.0 * desk.body.chain.shapes[part].size_mm
        if not (math.isfinite(std_mm) and 0.0 <= std_mm <= _MOST_OFF * size):
            do = "about how far it is off, as one standard deviation, such as 1.5; 0 takes the decision back"
            what = (
                f"{std_mm:g} mm is no departure of a part of {size:.0f} mm: from 0 to {_MOST_OFF * size:.0f}"
            )
            raise ReadingRefused(what, "--own-shape", do)
        before = desk.own_shape()
        if std_mm == 0.0 and before is None:
            do = "nothing is to be taken back"
            raise ReadingRefused(f"{part} is taken as its machine makes it already", desk.place, do)
        record = desk.decide_own_shape(std_mm, because.strip(), options.by)
        return OwnShapeReport(desk.project.name, part, desk.record, record, std_mm, because.strip(), before)


def read_own_shape(text: str) -> float:
    """By how much a print is off, as typed. Raises ReadingRefused for what is no size above 0."""
    try:
        size = float(text)
    except ValueError:
        size = math.nan
    if not size > 0.0:
        do = "about how far it is off, in mm, such as 1.5"
        raise ReadingRefused(f'"{text}" is no size above 0 mm', "off by about", do)
    return size


def prepare_desk(desk: ReadingDesk, options: ReadOptions) -> None:
    """Give a desk what its readings share. Raises ReadingRefused or ReferenceUnknown where it cannot be."""
    if options.temp_c is not None:
        check_temperature(options.temp_c, "--temp")
    if options.instrument is not None:
        desk.find_instrument(options.instrument)
    desk.temp_c, desk.by, desk.instrument = options.temp_c, options.by, options.instrument


def report_on(desk: ReadingDesk, taken: Sequence[Taken], withdrawn: Sequence[Reading] = ()) -> ReadReport:
    """Where the plan stands after some readings."""
    read, planned = desk.progress()
    readings = desk.readings()
    return ReadReport(
        project=desk.project.name,
        machine=desk.machine,
        artefact=desk.record,
        taken=tuple(taken),
        withdrawn=tuple(withdrawn),
        read=read,
        planned=planned,
        uncorrected=sum(1 for item in readings if item.temp_c is None),
        confirmed=sum(1 for item in readings if item.is_confirmed),
        target=desk.target,
        is_part=desk.body is not None,
    )


def _refuse_doubtful(reasons: Sequence[Reason], is_meant: bool, where: str) -> None:
    if reasons and not is_meant:
        what = "doubtful: " + "; ".join(reason.what for reason in reasons)
        raise ReadingDoubtful(
            what, where, "read it again; where it is what the instrument shows, add --meant"
        )
