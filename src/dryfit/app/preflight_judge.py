"""What a check of a machine means: one line for each thing that was looked at."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import datetime, timedelta

from dryfit.app.forecast import Chain
from dryfit.app.hold_lines import Check
from dryfit.app.preflight_band import Bands, bearable_bands
from dryfit.app.preflight_records import ITEMS, PLANES, Preflight, preflights_of
from dryfit.app.preflight_watch import Watch, Watching, watch_machine
from dryfit.app.qualification_records import qualifications_of
from dryfit.model.machine import Machine
from dryfit.store.ledger import LedgerRecord

TOPIC = "preflight"
# Common practice, no source: skirt, purge and what stays in the guide tube take a tenth more than the part.
FILAMENT_RESERVE = 0.1
# Common practice, no source: a machine is qualified anew at the latest after so many hours of printing.
QUALIFY_AFTER_H = 500.0
_ROUND_THE_CLOCK = 24.0

ITEM_WORDS = {
    "fasteners": "fasteners of frame, uprights and gantry",
    "belts": "belts",
    "bed": "bed, clean and level",
    "nozzle": "nozzle",
    "dry": "filament dry",
}
_ITEM_DO = {
    "fasteners": "tighten them, then take the square again",
    "belts": "tension them alike, then take the square again",
    "bed": "clean it and level it cold and warm",
    "nozzle": "clean it or change it, hot and with care",
    "dry": "dry it as its maker says, and keep it in a closed box with desiccant",
}


def judge(watching: Watching, bands: Bands, machine: Machine, qualified_at: str | None) -> tuple[Check, ...]:
    """Lines of the last check, in the order of the routine; none where there was no check."""
    last = watching.last
    if last is None:
        return ()
    return (
        *_squares(watching, bands),
        *_items(last),
        *_filament(last),
        *_qualification(watching, machine, qualified_at),
    )


def judge_machine(
    chain: Chain, records: Sequence[LedgerRecord], machine: str
) -> tuple[Watching, Bands, tuple[Check, ...], str | None]:
    """Charts, bands, lines of the last check, and when the machine was qualified, of a project made ready."""
    project = chain.project
    qualifications = qualifications_of(records, machine)
    qualified_at = qualifications[-1].at if qualifications else None
    checks = preflights_of(records, machine)
    # The forecast is run many times for each band: only for what was read.
    read = [plane for plane in PLANES if any(check.square(plane) is not None for check in checks)]
    bands = bearable_bands(chain, machine, read)
    watching = watch_machine(project, records, machine, checks, bands, qualified_at)
    return watching, bands, judge(watching, bands, project.machine(machine), qualified_at), qualified_at


def judge_overdue(watching: Watching, now: datetime) -> Check | None:
    """Whether the next check is due by now, by the hours that the machine usually prints."""
    last = watching.last
    if last is None:
        return None
    days = max((now - last.moment) / timedelta(days=1), 0.0)
    per_day = watching.hours_per_day
    hours = days * (_ROUND_THE_CLOCK if per_day is None else per_day)
    if hours <= watching.interval_h:
        return None
    basis = (
        f"at its usual {per_day:.1f} hours a day" if per_day is not None else "if it printed round the clock"
    )
    return Check(
        TOPIC,
        watching.machine,
        "stop",
        f"a check is overdue: the last was on {last.at[:10]} at {last.hours:g} h, about {hours:.0f} hours of printing "
        f"ago {basis}; the interval is {watching.interval_h:g} h ({watching.interval_from})",
        f"dryfit preflight {watching.machine} --hours N",
    )


def _squares(watching: Watching, bands: Bands) -> Iterator[Check]:
    last = watching.last
    assert last is not None
    for plane in PLANES:
        watch = next((item for item in watching.watches if item.plane == plane), None)
        if last.square(plane) is None or watch is None:
            if plane != "xy":
                yield Check(
                    "square", plane.upper(), "not checked", "the square was not held to it",
                    f"hold it and state the gap: --{plane} GAP --height MM",
                )  # fmt: skip
            continue
        yield _square(watch, bands)


def _square(watch: Watch, bands: Bands) -> Check:
    name, reads = watch.plane.upper(), _reads(watch)
    if bands.of(watch.plane) is None:
        return Check(
            "square", name, "not checked", f"{reads}; what the project bears is not known: {_why_no_band(bands)}",
            "see dryfit forecast",
        )  # fmt: skip
    if watch.is_outside:
        return Check("square", name, "stop", f"{reads}, out of the band {_band(watch)}", _OUT)
    if watch.may_be_outside:
        return Check(
            "square", name, "caution",
            f"{reads}, within the band {_band(watch)}, but nearer to its end than the reading is certain",
            "read it again on a longer square, or turn the machine true",
        )  # fmt: skip
    if watch.is_beyond_chance:
        return Check(
            "square", name, "caution",
            f"{reads}, within the band {_band(watch)}, but it moved by more than chance",
            "look for a loose fastener, tighten it and read again",
        )  # fmt: skip
    return Check("square", name, "pass", f"{reads}, within the band {_band(watch)}")


_OUT = (
    "do not print: tighten and turn the machine true, then qualify it anew (dryfit qualify says what to turn)"
)


def _why_no_band(bands: Bands) -> str:
    if bands.refused:
        return bands.refused
    if bands.left_out:
        return "no characteristic is within the stated risk as it is"
    return "no characteristic is stated"


def _reads(watch: Watch) -> str:
    return f"it reads {watch.last.skew_deg:+.3f} degrees"


def _band(watch: Watch) -> str:
    if not watch.has_band:
        return "(no characteristic minds it within 2 degrees)"
    low = "no lower end" if watch.low_deg is None else f"{watch.low_deg:+.3f}"
    high = "no upper end" if watch.high_deg is None else f"{watch.high_deg:+.3f}"
    names = ", ".join(dict.fromkeys(name for name in (watch.low_by, watch.high_by) if name))
    return f"{low} to {high} degrees that {names} bears"


def _items(last: Preflight) -> Iterator[Check]:
    for item in ITEMS:
        answer = last.answer(item)
        if answer.answer == "ok":
            yield Check("machine", ITEM_WORDS[item], "pass", "looked at and in order")
        elif answer.answer == "wrong":
            yield Check("machine", ITEM_WORDS[item], "stop", answer.words or "not in order", _ITEM_DO[item])
        else:
            yield Check("machine", ITEM_WORDS[item], "not checked", "not looked at", "look at it")


def _filament(last: Preflight) -> Iterator[Check]:
    subject = "filament enough"
    if last.filament_g is None:
        yield Check("machine", subject, "not checked", "the spool was not weighed", "weigh it: --filament G")
    elif last.needed_g is None:
        of = f"the mass of {last.part} is not known" if last.part else "no part was named"
        yield Check(
            "machine", subject, "not checked", f"{last.filament_g:.0f} g, but {of}", "name it: --part ID"
        )
    else:
        needed = last.needed_g * (1.0 + FILAMENT_RESERVE)
        words = (
            f"{last.filament_g:.0f} g on the spool, {last.part} takes {last.needed_g:.0f} g and a tenth more: "
            f"{needed:.0f} g"
        )
        if last.filament_g < needed:
            yield Check(
                "machine", subject, "stop", words, "change the spool before, or print another part first"
            )
        else:
            yield Check("machine", subject, "pass", words)


def _qualification(watching: Watching, machine: Machine, qualified_at: str | None) -> Iterator[Check]:
    subject = "last qualification"
    adjusted = next((check for check in reversed(watching.checks) if check.adjusted), None)
    is_since = qualified_at is not None and datetime.fromisoformat(qualified_at) >= (
        adjusted.moment if adjusted else datetime.fromisoformat(qualified_at)
    )
    if adjusted is not None and not is_since:
        yield Check(
            "machine", subject, "not checked",
            f"the machine was adjusted on {adjusted.at[:10]} ({adjusted.adjusted}): its figures are those from before",
            f"qualify it anew: dryfit artefact {machine.id}, dryfit read {machine.id}, dryfit qualify {machine.id}",
        )  # fmt: skip
        return
    if qualified_at is None:
        knowledge = (
            "its figures are stated in the document" if machine.error.knowledge == "stated" else "none yet"
        )
        yield Check(
            "machine", subject, "not checked", f"{knowledge}: its age is not known",
            f"qualify it: dryfit artefact {machine.id}",
        )  # fmt: skip
        return
    age = qualification_age(watching, qualified_at)
    if age is None:
        yield Check(
            "machine", subject, "not checked",
            f"of {qualified_at[:10]}; its age in hours cannot be told before a second check",
        )  # fmt: skip
    elif age > QUALIFY_AFTER_H:
        yield Check(
            "machine", subject, "caution",
            f"{age:.0f} hours of printing ago; common practice is {QUALIFY_AFTER_H:g} at most",
            f"print and read the artefact again: dryfit qualify {machine.id}",
        )  # fmt: skip
    else:
        yield Check("machine", subject, "pass", f"{age:.0f} hours of printing ago")


def qualification_age(watching: Watching, qualified_at: str) -> float | None:
    """Hours of printing since the last qualification, by the hour meter of the checks around it; None without."""
    checks, at = watching.checks, datetime.fromisoformat(qualified_at)
    if not checks:
        return None
    before = [check for check in checks if check.moment <= at]
    after = [check for check in checks if check.moment > at]
    if before and after:
        first, second = before[-1], after[0]
        share = (at - first.moment) / (second.moment - first.moment)
        then = first.hours + share * (second.hours - first.hours)
    elif before:
        then = before[-1].hours
    else:
        # Qualified before the first check: by how much the machine usually prints.
        if watching.hours_per_day is None:
            return None
        days = (after[0].moment - at) / timedelta(days=1)
        then = after[0].hours - min(days * watching.hours_per_day, after[0].hours)
    return checks[-1].hours - then
