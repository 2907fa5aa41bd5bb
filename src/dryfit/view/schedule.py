"""The dimension schedule in rows and sentences: sizes, sources, what is doubtful, what would tell more."""

from __future__ import annotations

from collections.abc import Iterator

from dryfit.app.schedule import LET_GO
from dryfit.app.schedule_changes import DimensionChange
from dryfit.app.schedule_report import Scheduled, ScheduleReport, SourceWeight, SuspectRow, Tested
from dryfit.base.estimate import Estimate
from dryfit.model.finding import State
from dryfit.view.blocks import Block, Heading, Sentence, Table
from dryfit.view.digits import (
    NONE,
    write_estimate,
    write_number,
    write_probability,
    write_share,
    write_signed,
)
from dryfit.view.schedule_next import next_blocks

_SOURCES_SHOWN = 3
SOURCE_HEADS = ("source", "of", "stated", "weight", "share of variance", "whence")
OBSERVATION_HEADS = ("observation", "of", "stated", "residual", "test value", "redundancy", "noticed from")


def schedule_blocks(report: ScheduleReport, brief: bool = False) -> list[Block]:
    """Verdict, suspects, schedule, what changed, what hangs on it, every observation, and what to measure next."""
    blocks: list[Block] = [Heading(schedule_title(report), report.state)]
    blocks += [suspect_block(report, item) for item in report.suspects]
    blocks += [Sentence(f"{item.id}: {item.unknown}.", "not checked", mark=True) for item in report.unknown]
    blocks += [_sizes(report), Sentence(scale_words(report))]
    blocks += agreement_blocks(report)
    blocks += decided_blocks(report)
    blocks += robust_blocks(report)
    blocks += changes_blocks(report)
    if not brief:
        blocks += [*repeated_blocks(report), *_sources(report), *_observations(report), *_touched(report)]
    blocks += next_blocks(report.worth)
    return blocks


def schedule_title(report: ScheduleReport) -> str:
    """The line that opens the report."""
    held = f"{len(report.dimensions)} dimensions from {len(report.tested)} observations and relations"
    kept = "" if report.record is None else f" (ledger record {report.record})"
    invented = ", invented" if report.invented else ""
    return f"{report.project}{invented}: {held}{kept}"


def _sizes(report: ScheduleReport) -> Table:
    rows: list[tuple[str, ...]] = []
    states: list[State] = []
    for item in report.dimensions:
        rows.append(
            (
                item.id,
                write_size(item.prototype_mm),
                write_expanded(item.prototype_95_mm),
                write_size(item.model_mm),
                write_expanded(item.model_95_mm),
                main_sources(item),
                ", ".join(item.features) or NONE,
            )
        )
        states.append(dimension_state(report, item))
    heads = ("dimension", "prototype mm", "95 % +-", "model mm", "95 % +-", "from", "features")
    return Table(heads, tuple(rows), frozenset({1, 2, 3, 4}), tuple(states))


def dimension_state(report: ScheduleReport, item: Scheduled) -> State:
    """Of a dimension: stop where an open suspect moves it, caution where a kept one does."""
    if item.prototype_mm is None:
        return "not checked"
    moving = [suspect for suspect in report.suspects if item.id in {moved.id for moved in suspect.without}]
    if any(suspect.decision is None for suspect in moving):
        return "stop"
    return "caution" if moving else "pass"


def write_size(size: Estimate | None) -> str:
    """A size with its standard uncertainty, or that it is unknown."""
    return "unknown" if size is None else write_estimate(size.value, size.std)


def write_expanded(size: float | None) -> str:
    """An expanded uncertainty to two digits."""
    if size is None:
        return NONE
    return "0" if size < 1e-9 else f"{size:.2g}" if size < 100 else f"{size:.0f}"


def main_sources(item: Scheduled) -> str:
    """The weightiest sources of a dimension with their shares."""
    shown = [
        source.id if source.weight is None else f"{source.id} {write_share(abs(source.variance_share))}"
        for source in item.sources
        if source.weight is None or abs(source.variance_share) >= 0.005
    ]
    more = f" and {len(shown) - _SOURCES_SHOWN} more" if len(shown) > _SOURCES_SHOWN else ""
    return ", ".join(shown[:_SOURCES_SHOWN]) + more or NONE


def scale_words(report: ScheduleReport) -> str:
    """Whether the scale is fixed or follows from a dimension."""
    if report.scale is None:
        return "No scale is known: model sizes wait for it."
    ratio = 1.0 / report.scale.value
    if report.scale_from:
        std = report.scale.std * ratio**2
        return f"The scale follows from {report.scale_from}: 1:{write_estimate(ratio, std)}."
    return f"The scale is fixed at {_fixed(report.scale.value)}; model sizes carry the uncertainty of the prototype."


def _fixed(scale: float) -> str:
    return f"1:{write_number(1.0 / scale)}" if scale <= 1 else f"{write_number(scale)}:1"


def agreement_blocks(report: ScheduleReport) -> Iterator[Block]:
    """The global test."""
    if report.p_value is None:
        yield Sentence(
            "No observation is controlled by another: a gross error would not show.", "caution", mark=True
        )
        return
    chance = write_probability(report.p_value)
    text = (
        f"Global test: weighted sum of squares {report.vpv:.4g} with {report.dof} degrees of freedom; as large by "
        f"chance {chance}."
    )
    yield Sentence(text, "pass" if report.is_consistent else "caution", mark=True)


def suspect_block(report: ScheduleReport, item: SuspectRow) -> Block:
    """What is said of a suspect."""
    unit = f" {item.label.unit}" if item.label.unit else ""
    text = (
        f"{item.label.id} ({item.label.words}): off by {write_signed(item.size, item.size_std)}{unit}, "
        f"{abs(item.normalised):.1f} times the std of that; beyond {item.limit:.2f} it is suspect."
    )
    if item.alike:
        text += f" The evidence cannot tell it from: {'; '.join(item.alike)}."
    if item.without:
        text += " Without it: " + "; ".join(_without_it(report, item)) + "."
    if item.features:
        text += f" On it rest features {', '.join(item.features)}; parts {', '.join(item.parts)}."
    if item.decision is not None:
        return Sentence(f"{text} It is kept knowingly: {item.decision.because}.", "caution", mark=True)
    name = item.label.id
    text += f' Correct it, or decide: --without "{name}" --because TEXT, or --keep "{name}" --because TEXT.'
    return Sentence(text, "stop", mark=True)


def _without_it(report: ScheduleReport, item: SuspectRow) -> Iterator[str]:
    now = {line.id: line.prototype_mm for line in report.dimensions}
    for moved in item.without:
        before = now.get(moved.id)
        was = "" if before is None else f" instead of {write_estimate(before.value, before.std)}"
        yield f"{moved.id} {write_estimate(moved.prototype_mm.value, moved.prototype_mm.std)} mm{was}"


def robust_blocks(report: ScheduleReport) -> Iterator[Block]:
    """What the robust alternative lets go of, and the sizes that it has."""
    if not report.robust:
        return
    let_go = [
        f"{item.label.id} ({item.robust_weight:.2f})"
        for item in report.tested
        if item.robust_weight is not None and item.robust_weight < LET_GO
    ]
    sizes = [
        f"{item.id} {write_number(report.robust[item.id], 1)}"
        for item in report.dimensions
        if item.prototype_mm is not None
        and abs(report.robust[item.id] - item.prototype_mm.value) > 0.1 * item.prototype_mm.std
    ]
    said = "lets go of nothing" if not let_go else f"lets go of {', '.join(let_go)}"
    sized = f"; it has {', '.join(sizes)} mm" if sizes else ""
    yield Sentence(f"A robust adjustment, shown beside and used for nothing, {said}{sized}.", mark=True)


def decided_blocks(report: ScheduleReport) -> Iterator[Block]:
    """The decisions that hold."""
    for item in report.decisions:
        verb = "left out" if item.verb == "without" else "kept in knowingly"
        idle = " It names nothing in the document any more." if item.id in report.idle_decisions else ""
        yield Sentence(
            f"{item.id} is {verb} since {item.at[:10]} (ledger record {item.record}): {item.because}.{idle}",
            mark=True,
        )


def changes_blocks(report: ScheduleReport) -> Iterator[Block]:
    """Dimensions that differ from the last recorded schedule, and what they touch."""
    if not report.changes:
        return
    yield Sentence(f"Changed since the schedule of {report.since[:10]}:")
    rows = [
        (
            item.id,
            write_size(item.prototype_before_mm),
            write_size(item.prototype_after_mm),
            write_size(item.model_before_mm),
            write_size(item.model_after_mm),
            _moved(item),
        )
        for item in report.changes
    ]
    heads = ("dimension", "prototype mm, then", "now", "model mm, then", "now", "touches")
    yield Table(heads, tuple(rows), frozenset({1, 2, 3, 4}))


def _moved(item: DimensionChange) -> str:
    if not item.touched.features:
        return "no feature"
    text = f"features {', '.join(item.touched.features)}; parts {', '.join(item.touched.parts)}"
    text += f"; on them {len(item.touched.carried)} more" if item.touched.carried else ""
    return f"{text}; {printed_words(item.touched.printed)}"


def printed_words(printed: tuple[str, ...]) -> str:
    """Which of the parts that hang on a dimension are printed already."""
    return f"printed already: {', '.join(printed)}" if printed else "none of them is printed"


def repeated_blocks(report: ScheduleReport) -> Iterator[Block]:
    """How far repeated values of one dimension lie apart."""
    rows: list[tuple[str, ...]] = []
    states: list[State] = []
    for item in report.dimensions:
        if item.repeated is None:
            continue
        found = item.repeated.consistency
        states.append("pass" if found.p_value >= 0.05 else "caution")
        rows.append(
            (
                item.id,
                str(item.repeated.count),
                write_estimate(found.mean, found.std),
                f"{found.birge:.2f}",
                write_probability(found.p_value),
                write_expanded(found.between),
                write_estimate(found.between_mean, found.between_std),
            )
        )
    if rows:
        yield Sentence("Repeated values of one dimension, by themselves:")
        heads = (
            "dimension",
            "values",
            "mean mm",
            "Birge ratio",
            "as far apart by chance",
            "between mm",
            "with that",
        )
        yield Table(heads, tuple(rows), frozenset({1, 2, 3, 4, 5, 6}), tuple(states))


def _sources(report: ScheduleReport) -> Iterator[Block]:
    rows = [(item.id, *source_row(source)) for item in report.dimensions for source in item.sources]
    if rows:
        yield Sentence("Weight of each source:")
        yield Table(("dimension", *SOURCE_HEADS), tuple(rows), frozenset({4, 5}))


def source_row(source: SourceWeight) -> tuple[str, ...]:
    """Cells of one source of a dimension, under SOURCE_HEADS."""
    return (
        source.id,
        source.words,
        source.stated,
        "exact" if source.weight is None else f"{source.weight:+.3f}",
        NONE if source.weight is None else write_share(abs(source.variance_share)),
        ", ".join(filter(None, (source.reliability, source.date, source.source))) or NONE,
    )


def _observations(report: ScheduleReport) -> Iterator[Block]:
    rows = [observation_row(item) for item in report.tested]
    states = [observation_state(report, item) for item in report.tested]
    if rows:
        yield Sentence(tests_words(report))
        yield Table(OBSERVATION_HEADS, tuple(rows), frozenset({3, 4, 5, 6}), tuple(states))


def observation_state(report: ScheduleReport, item: Tested) -> State:
    """Stop for an open suspect, caution for a kept one, not checked where nothing controls the row."""
    if item.normalised is None:
        return "not checked"
    if item.label.id in {found.label.id for found in report.open_suspects}:
        return "stop"
    return "caution" if item.label.id in {found.label.id for found in report.suspects} else "pass"


def tests_words(report: ScheduleReport) -> str:
    """From which test value on an observation is suspect."""
    if report.tests == 0:
        return "Every observation and relation; none is controlled by the others:"
    return (
        f"Every observation and relation; a test value beyond {report.critical:.2f} is suspect ({report.tests} tests, "
        f"{write_number(100.0 * report.level)} % chance of any false alarm), beyond 2.58 where the global test refuses:"
    )


def observation_row(item: Tested) -> tuple[str, ...]:
    """Cells of one row of the adjustment, under OBSERVATION_HEADS."""
    exact = item.redundancy is None
    return (
        item.label.id,
        item.label.words,
        item.label.stated
        or ("exact" if item.label.std == 0 else f"std {item.label.std:g} {item.label.unit}".rstrip()),
        "exact" if exact else write_signed(item.residual, item.label.std),
        NONE if item.normalised is None else f"{item.normalised:+.2f}",
        NONE if item.redundancy is None else f"{item.redundancy:.2f}",
        "never" if item.smallest_blunder is None else _three_digits(item.smallest_blunder),
    )


def _three_digits(value: float) -> str:
    return f"{value:.3g}" if value < 1000 else f"{value:.0f}"


def _touched(report: ScheduleReport) -> Iterator[Block]:
    for item in report.dimensions:
        if item.features:
            text = f"{item.id}: parts {', '.join(item.parts)}"
            if item.characteristics:
                text += f"; characteristics {', '.join(item.characteristics)}"
            yield Sentence(f"On {text}; {printed_words(item.printed)}.", mark=True)
