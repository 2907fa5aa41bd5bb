"""What a forecast owes to readings of printed parts, and which of them the others contradict."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from dryfit.app.as_built import AsBuiltParts, PartReading
from dryfit.app.learning import Known
from dryfit.base.arrays import IntArray
from dryfit.calc.chain import Update, common_shifts, group_tests, update_sources
from dryfit.model.forecast import AsBuiltBasis, LearntFigure, OffOfItself, SuspectPart, SuspectReading
from dryfit.model.machine import FIGURES
from dryfit.model.project import Project

# Probability that anything at all is suspected where every reading is right.
LEVEL = 0.05
MOST_SUSPECTS = 8
_TELLS = 0.999  # a figure whose std the readings leave at more than this share of what it was is not listed


def limit_of(count: int, level: float = LEVEL) -> float:
    """Size of a normalised departure beyond which one of count readings is suspect.

    Source: Bonferroni's inequality, two-sided normal test.
    """
    from scipy.special import ndtri

    return float(-ndtri(0.5 * level / max(1, count)))


def describe_basis(project: Project, as_built: AsBuiltParts, known: Known | None) -> AsBuiltBasis | None:
    """What was printed and read; None where nothing was printed.

    project : as it was before the readings
    """
    if not any(item.prints for item in as_built.parts):
        return None
    counts = {item.print.part: len(item.readings) for item in as_built.prints if item.is_as_built}
    suspects: tuple[SuspectReading, ...] = ()
    suspect_parts: tuple[SuspectPart, ...] = ()
    limit = 0.0
    if known is not None and known.readings:
        suspects, limit = suspect_part_readings(known)
        suspect_parts = suspect_prints(known)
    return AsBuiltBasis(
        printed=tuple(item.part for item in as_built.parts if item.is_printed),
        readings=tuple((part, count) for part, count in counts.items() if count),
        earlier=sum(len(item.readings) for item in as_built.prints if not item.is_as_built),
        left_out=sum(1 for item in as_built.parts for reading in item.readings if reading.left_out),
        suspects=suspects,
        limit=limit,
        figures=() if known is None else _figures(project, known),
        cautions=as_built.cautions,
        suspect_parts=suspect_parts,
        of_themselves=tuple(
            OffOfItself(item.part, item.own_shape.record, item.own_shape.std_mm, item.own_shape.because)
            for item in as_built.parts
            if item.is_printed and item.own_shape is not None
        ),
    )


def suspect_part_readings(known: Known) -> tuple[tuple[SuspectReading, ...], float]:
    """Readings that all the others contradict, the worst first; each is set aside while the next is looked for.

    All readings of a measure together, and each of a measure that was read more than once. With them the limit of
    the normalised departure: family-wise, over all that are tested.
    """
    groups = _groups(known)
    limit = limit_of(len(groups))
    kept = np.arange(len(known.readings))
    update: Update = known.update
    found: list[SuspectReading] = []
    while len(found) < MOST_SUSPECTS and len(kept) > 1:
        place = np.full(len(known.readings), -1)
        place[kept] = np.arange(len(kept))
        now = [place[group] for group in groups if (place[group] >= 0).all()]
        whole = [group for group in groups if (place[group] >= 0).all()]
        if not now:
            break
        shift, std = common_shifts(update, now)
        size = np.abs(shift) / std
        worst = int(np.argmax(size))
        if size[worst] <= limit:
            break
        found.append(
            _suspect(
                [known.readings[index] for index in whole[worst]], float(shift[worst]), float(std[worst])
            )
        )
        kept = np.setdiff1d(kept, whole[worst])
        if len(kept):
            update = update_sources(known.update.design.pick(kept), known.update.innovation[kept])
    return tuple(found), limit


def suspect_prints(known: Known) -> tuple[SuspectPart, ...]:
    """Prints as built whose readings together contradict all others, the worst first.

    Each is set aside while the next is looked for: a part that is off spoils what the others seem to say. None is
    suspected where one print alone was read: it is then held against what was known before, reading by reading.
    """
    from scipy.special import chdtrc

    groups: dict[str, IntArray] = {}
    start = 0
    for item in known.rows.prints:
        rows = np.arange(start, start + len(item.values))
        start += len(rows)
        if item.read.is_as_built:
            groups[item.read.print.part] = rows
    level = LEVEL / max(1, len(groups))
    kept = np.arange(start)
    update: Update = known.update
    found: list[SuspectPart] = []
    while len(groups) > 1 and len(found) < MOST_SUSPECTS:
        place = np.full(start, -1)
        place[kept] = np.arange(len(kept))
        tests, departures = group_tests(update, [place[rows] for rows in groups.values()])
        judged = [
            SuspectPart(
                part,
                len(off),
                float(test),
                float(chdtrc(len(off), max(0.0, float(test)))),
                float(off[np.argmax(np.abs(off))]),
            )
            for part, test, off in zip(groups, tests, departures, strict=True)
        ]
        worst = min(judged, key=lambda item: (item.chance, -item.chi_square))
        if worst.chance >= level:
            break
        found.append(worst)
        kept = np.setdiff1d(kept, groups.pop(worst.part))
        update = update_sources(known.update.design.pick(kept), known.update.innovation[kept])
    return tuple(found)


def _groups(known: Known) -> list[IntArray]:
    groups = [group for group in known.rows.measures if len(group)]
    return [*groups, *(np.array([index]) for group in groups if len(group) > 1 for index in group)]


def _suspect(items: Sequence[PartReading], shift: float, std: float) -> SuspectReading:
    return SuspectReading(
        part=items[0].reading.part,
        records=tuple(item.reading.record for item in items),
        words=f"{items[0].measure.kind}, {items[0].measure.words}",
        value_mm=float(np.mean([item.reading.value_mm for item in items])),
        off_mm=shift,
        off_std_mm=std,
        is_confirmed=all(item.reading.is_confirmed for item in items),
    )


def _figures(project: Project, known: Known) -> tuple[LearntFigure, ...]:
    count = len(project.machines) * len(FIGURES) + len(project.materials)
    rows = zip(known.names, known.before, known.before_std, known.after, known.after_std, strict=True)
    return tuple(
        LearntFigure(name, float(was), float(was_std), float(now), float(now_std))
        for name, was, was_std, now, now_std in list(rows)[:count]
        if now_std < _TELLS * was_std
    )


def reading_notes(known: Known) -> tuple[str, ...]:
    """What was taken as so in counting with readings."""
    notes = []
    cold = sum(1 for item in known.readings if item.reading.temp_c is None)
    if cold:
        notes.append(
            f"{cold} of {len(known.readings)} readings of parts have no temperature: not corrected to 20 C, a room "
            "within 3 K of it assumed (one standard deviation; common practice, no source)"
        )
    assumed = sorted(
        {
            item.instrument.id
            for item in known.readings
            if item.instrument.repeatability_from.startswith("assumed")
        }
    )
    if assumed:
        notes.append(f"repeatability of {', '.join(assumed)} assumed: a small study tells it (dryfit gauge)")
    if known.shaped:
        notes.append(
            f"{', '.join(known.shaped)} not normal: readings are counted with by its standard uncertainty"
        )
    return tuple(notes)
