"""The schedule on its page: rows that are filtered, the trace of a dimension, what a decision would change."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

from dryfit.app.schedule_decisions import Verb
from dryfit.app.schedule_desk import Outlook
from dryfit.app.schedule_report import PHOTO_GROUP, Scheduled, ScheduleReport, SourceWeight, Tested
from dryfit.model.finding import MeasuredFeature, State
from dryfit.view.blocks import Block, Heading, Sentence, Table
from dryfit.view.digits import NONE, write_number, write_probability, write_share
from dryfit.view.parts import deviation_words, measured_words, nominal_words
from dryfit.view.schedule import (
    dimension_state,
    main_sources,
    observation_row,
    observation_state,
    schedule_title,
    source_row,
    write_expanded,
    write_size,
)

ROW_HEADS = ("dimension", "prototype mm", "95 % +-", "model mm", "95 % +-", "sources", "controlled", "from")
ROW_RIGHT = frozenset({1, 2, 3, 4, 5})
VERB_WORDS: Mapping[Verb, str] = MappingProxyType(
    {"without": "Leave out", "keep": "Keep knowingly", "restore": "Take back"}
)
MOST_TRACED = 60
# A source of less than this share says nothing of whether the dimension is controlled.
_WEIGHTY = 0.005
_LEAST_REDUNDANCY = 0.01


@dataclass(frozen=True, slots=True)
class PageRow:
    """One dimension of the table.

    cells     under ROW_HEADS
    sources   what it comes from, as the filter offers it; words: everything that a typed filter looks in
    """

    id: str
    state: State
    cells: tuple[str, ...]
    sources: tuple[str, ...]
    words: str


@dataclass(frozen=True, slots=True)
class TraceRow:
    """One source of a dimension.

    id, words  by which decisions name it, and what it says
    source     cells of the weight; tested: cells of the test, strokes where it is left out
    share      of the variance, 0 to 1, for a bar; None: an exact relation
    photos     ids of the photographs that it comes from
    is_typed   whether the document has it as an observation that a form can change
    left_out   whether a decision leaves it out; kept: whether one keeps it
    """

    id: str
    words: str
    state: State
    is_relation: bool
    source: tuple[str, ...]
    tested: tuple[str, ...]
    share: float | None
    photos: tuple[str, ...]
    is_typed: bool
    left_out: bool
    kept: bool

    @property
    def bar(self) -> str:
        """Length of the bar of its share, as a page sets it."""
        return f"{100.0 * (self.share or 0.0):.1f}%"


def heading_of(report: ScheduleReport) -> Heading:
    """The same line that opens the report at the command line."""
    return Heading(schedule_title(report), report.state)


def list_page_rows(report: ScheduleReport) -> list[PageRow]:
    """All dimensions in the order of the document."""
    tested = {(item.label.id, item.label.words): item for item in report.tested}
    rows = []
    for item in report.dimensions:
        state = dimension_state(report, item)
        names = _source_names(item)
        cells = (
            item.id,
            write_size(item.prototype_mm),
            write_expanded(item.prototype_95_mm),
            write_size(item.model_mm),
            write_expanded(item.model_95_mm),
            str(sum(1 for source in item.sources if source.weight is not None)),
            control_words(item, [tested[key] for source in item.sources if (key := _key(source)) in tested]),
            main_sources(item),
        )
        looked_in = [item.id, item.unknown, *item.features, *item.parts, *item.characteristics]
        looked_in += [word for source in item.sources for word in (source.id, source.words, source.source)]
        rows.append(PageRow(item.id, state, cells, names, " ".join((state, *looked_in)).casefold()))
    return rows


def filter_rows(rows: Sequence[PageRow], words: str = "", state: str = "", source: str = "") -> list[PageRow]:
    """Rows that hold every typed word, in a state, from a source; "" for any."""
    wanted = words.casefold().split()
    return [
        row
        for row in rows
        if all(word in row.words for word in wanted)
        and (not state or row.state == state)
        and (not source or source in row.sources)
    ]


def list_sources(rows: Sequence[PageRow]) -> list[str]:
    """What the filter offers: photographs first, then the rest by name."""
    names = {name for row in rows for name in row.sources}
    return sorted(names, key=lambda name: (not name.startswith(PHOTO_GROUP), name.casefold()))


def filter_words(shown: int, all_of_them: int) -> str:
    """How many rows are left."""
    if shown == all_of_them:
        return f"{all_of_them} dimension{'' if all_of_them == 1 else 's'}"
    return f"{shown} of {all_of_them} dimensions"


def control_words(item: Scheduled, tested: Sequence[Tested]) -> str:
    """Whether a gross error of its sources would show, and their mean redundancy weighed by their shares."""
    if item.prototype_mm is None:
        return NONE
    shares = {
        _key(source): abs(source.variance_share) for source in item.sources if source.weight is not None
    }
    weighty = [
        (line.redundancy or 0.0, shares[key])
        for line in tested
        if (key := (line.label.id, line.label.words)) in shares and shares[key] >= _WEIGHTY
    ]
    total = sum(share for _, share in weighty)
    if total == 0.0:
        return "exact"
    mean = sum(redundancy * share for redundancy, share in weighty) / total
    seen = sum(1 for redundancy, _ in weighty if redundancy >= _LEAST_REDUNDANCY)
    if seen == 0:
        return "no"
    return f"{'yes' if seen == len(weighty) else 'in part'}, {mean:.2f}"


def trace_rows(report: ScheduleReport, item: Scheduled) -> list[TraceRow]:
    """What a dimension rests on, the weightiest first; then what is left out by decision and names it."""
    rows = []
    decided = {decision.id: decision.verb for decision in report.decisions}
    tested = {(line.label.id, line.label.words): line for line in report.tested}
    for source in item.sources:
        line = tested[_key(source)]
        rows.append(
            TraceRow(
                id=source.id,
                words=source.words,
                state=observation_state(report, line),
                is_relation=line.label.kind == "relation",
                source=source_row(source),
                tested=observation_row(line)[3:],
                share=None if source.weight is None else min(abs(source.variance_share), 1.0),
                photos=_photos(source.id),
                is_typed=line.label.kind == "observation",
                left_out=False,
                kept=decided.get(source.id) == "keep",
            )
        )
    for label in report.left_out:
        if item.id in label.about:
            whence = ", ".join(filter(None, (label.reliability, label.date, label.source))) or NONE
            rows.append(
                TraceRow(
                    label.id,
                    label.words,
                    "caution",
                    label.kind == "relation",
                    (label.id, label.words, label.stated or NONE, NONE, NONE, whence),
                    (NONE,) * 4,
                    0.0,
                    _photos(label.id),
                    label.kind == "observation",
                    left_out=True,
                    kept=False,
                )
            )
    return rows


def shorten_trace(rows: Sequence[TraceRow], most: int = MOST_TRACED) -> tuple[list[TraceRow], str]:
    """The weightiest rows, whatever is in doubt or left out, and in words what is not shown; "" for nothing."""
    shown = [row for place, row in enumerate(rows) if place < most or row.left_out or row.state == "stop"]
    hidden = len(rows) - len(shown)
    if not hidden:
        return shown, ""
    share = sum(row.share or 0.0 for row in rows) - sum(row.share or 0.0 for row in shown)
    return shown, f"{hidden} more, with {write_share(share)} of the variance together, are not shown here."


def size_words(report: ScheduleReport, item: Scheduled) -> str:
    """One sentence: how large a dimension is, how sure, and what the robust alternative has."""
    if item.prototype_mm is None:
        return f"{item.id} is unknown: {item.unknown}."
    words = (
        f"{item.id} is {write_size(item.prototype_mm)} mm on the prototype, within "
        f"{write_expanded(item.prototype_95_mm)} mm at 95 %"
    )
    if item.model_mm is not None:
        words += (
            f"; {write_size(item.model_mm)} mm in the model, within {write_expanded(item.model_95_mm)} mm"
        )
    if item.id in report.robust:
        words += f". A robust adjustment has {write_number(report.robust[item.id], 1)} mm"
    return words + "."


def hanging(item: Scheduled) -> list[tuple[str, tuple[str, ...]]]:
    """What hangs on a dimension, by kind."""
    return [
        ("features", item.features),
        ("parts", item.parts),
        ("joints", item.joints),
        ("characteristics", item.characteristics),
    ]


def decision_words(verb: Verb, id: str) -> str:
    """What a decision would do, as the head of its form."""
    return {
        "without": f"Leave {id} out from now on",
        "keep": f"Keep {id} in, knowingly",
        "restore": f"Take the decision about {id} back",
    }[verb]


def model_blocks(item: Scheduled, measured: Sequence[MeasuredFeature] | None) -> Iterator[Block]:
    """Features that take their nominal from a dimension, as the model has them against it now.

    measured : features of the parts as they were checked; None where they were not
    """
    if not item.features:
        return
    if measured is None:
        yield Sentence(
            "The parts were not checked since the schedule moved: whether the model holds to it is not known.",
            "not checked",
            mark=True,
        )
        return
    for feature in measured:
        if feature.id in item.features:
            words = (
                f"{feature.id}: {measured_words(feature)} in the mesh, {nominal_words(feature)} by the schedule, "
                f"deviation {deviation_words(feature)}; {feature.reason}."
            )
            yield Sentence(words, feature.state, mark=True)


def outlook_blocks(outlook: Outlook) -> Iterator[Block]:
    """What a decision would change."""
    if not outlook.moved:
        yield Sentence("No size would move by it.")
    else:
        rows = tuple(
            (
                item.id,
                write_size(item.prototype_now_mm),
                write_size(item.prototype_then_mm),
                write_size(item.model_now_mm),
                write_size(item.model_then_mm),
            )
            for item in outlook.moved
        )
        heads = ("dimension", "prototype mm, now", "then", "model mm, now", "then")
        yield Table(heads, rows, frozenset({1, 2, 3, 4}))
    yield Sentence(
        f"As large a disagreement by chance: now {_chance(outlook.p_now)}, then {_chance(outlook.p_then)}."
    )


def find_shown(report: ScheduleReport, show: str) -> str:
    """The dimension that an address means: its own id, or what an observation, feature or photograph is about.

    "" where nothing of that name is there.
    """
    if any(item.id == show for item in report.dimensions):
        return show
    for item in report.dimensions:
        if show in item.features:
            return item.id
    labels = [line.label for line in report.tested] + list(report.left_out)
    for label in labels:
        if show in (label.id, *_photos(label.id)) and label.about:
            return label.about[0]
    return ""


def _chance(p_value: float | None) -> str:
    return "nothing is controlled" if p_value is None else write_probability(p_value)


def _key(source: SourceWeight) -> tuple[str, str]:
    return source.id, source.words


def _photos(id: str) -> tuple[str, ...]:
    """A group measured on several photographs together names them with plus signs."""
    return tuple(id.removeprefix(PHOTO_GROUP).split("+")) if id.startswith(PHOTO_GROUP) else ()


def _source_names(item: Scheduled) -> tuple[str, ...]:
    names = [
        source.id if source.id.startswith(PHOTO_GROUP) else source.source
        for source in item.sources
        if source.weight is not None
    ]
    return tuple(dict.fromkeys(name for name in names if name))
