"""The network of the evidence as a picture: what comes from where, measures what, and which of it is doubtful."""

from __future__ import annotations

from collections.abc import Iterator
from html import escape

from dryfit.app.schedule_report import ScheduleReport
from dryfit.model.finding import State
from dryfit.store.words import count_things
from dryfit.view.blocks import Block, Sentence, Table
from dryfit.view.digits import NONE, write_share
from dryfit.view.evidence_network_layout import (
    DIMENSION_AT,
    DIMENSION_WIDE,
    OBSERVED_AT,
    OBSERVED_WIDE,
    RELATION_AT,
    RELATION_WIDE,
    SOURCE_AT,
    SOURCE_WIDE,
    Layout,
    Row,
    lay_out,
    list_rows,
)
from dryfit.view.evidence_network_marks import (
    BOLDEST,
    FINEST,
    HIGH,
    NETWORK_STYLE,
    TYPE,
    curve,
    data_of,
    draw_dimension,
    draw_heads,
    draw_legend,
    group,
    hatched,
    titled,
)
from dryfit.view.schedule import dimension_state, observation_row, observation_state, write_size
from dryfit.view.sheet_ink import box, number, shorten, state_mark, write

__all__ = ["NETWORK_STYLE", "is_part_only", "network_blocks", "network_svg", "network_words"]

MOST_ROWS = 400


def network_svg(
    report: ScheduleReport, chosen: str = "", standalone: bool = False, most: int = MOST_ROWS
) -> str:
    """Sources at the left, observations, dimensions, and relations as junctions at the right.

    chosen : a dimension; what it does not rest on is drawn faint
    standalone : with its own style, for a file; on a page NETWORK_STYLE is set once
    most : of more rows than this only those are drawn that the chosen dimension, or the first, rests on
    The lines of a suspect are doubled and its node hatched; what is left out by decision is dashed; a dimension that
    nothing determines is open. Nodes carry data-dimension, data-observation, data-source for a page to act on.
    The same in words: network_blocks.
    """
    is_part = is_part_only(report, most)
    if is_part and not any(item.id == chosen for item in report.dimensions):
        chosen = report.dimensions[0].id
    kept = _kept(report, chosen)
    layout = lay_out(report, kept if is_part else None)
    states = {item.id: dimension_state(report, item) for item in report.dimensions}
    drawing = _Drawing(report, layout, kept, states)
    pieces = [box(0.0, 0.0, layout.width, layout.height, "paper"), *draw_heads(layout)]
    pieces += [*drawing.sources(), *drawing.observed(), *drawing.dimensions(chosen), *drawing.relations()]
    pieces += draw_legend(layout)
    view = f"0 0 {number(layout.width)} {number(layout.height)}"
    style = f"<style>{NETWORK_STYLE}</style>" if standalone else ""
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="dryfit-sheet network" viewBox="{view}" role="img" '
        f'aria-label="{escape(network_words(report), quote=True)}">{style}' + "".join(pieces) + "</svg>"
    )


def is_part_only(report: ScheduleReport, most: int = MOST_ROWS) -> bool:
    """Whether the evidence is too much for one picture."""
    return len(report.tested) + len(report.left_out) > most and bool(report.dimensions)


def network_words(report: ScheduleReport) -> str:
    """What the picture shows, in two sentences."""
    rows = list_rows(report)
    observed = [row for row in rows if not row.is_relation]
    relations = {row.label.id for row in rows if row.is_relation}
    words = (
        f"Network of the evidence: {count_things(len(observed), 'observation')} from "
        f"{count_things(len({row.source for row in observed}), 'source')}, "
        f"{count_things(len(report.dimensions), 'dimension')}, {count_things(len(relations), 'relation')}."
    )
    doubtful = ", ".join(item.label.id for item in report.suspects)
    return f"{words} Doubtful: {doubtful}." if doubtful else f"{words} Nothing in it is doubtful."


def network_blocks(report: ScheduleReport) -> list[Block]:
    """The same as the picture, for those who do not see it: each dimension with what names it."""
    rows = list_rows(report)
    lines: list[tuple[str, ...]] = []
    for item in report.dimensions:
        naming = [row for row in rows if item.id in row.label.about]
        used = [row for row in naming if row.tested is not None]
        lines.append(
            (
                item.id,
                ", ".join(_named(row) for row in used if not row.is_relation) or NONE,
                ", ".join(dict.fromkeys(row.label.words for row in used if row.is_relation)) or NONE,
                ", ".join(dict.fromkeys(row.label.id for row in used if _doubt(report, row) is not None))
                or NONE,
                ", ".join(dict.fromkeys(row.label.id for row in naming if row.tested is None)) or NONE,
            )
        )
    states = tuple(dimension_state(report, item) for item in report.dimensions)
    heads = ("dimension", "observations", "relations", "doubtful", "left out")
    return [Sentence(network_words(report)), Table(heads, tuple(lines), frozenset(), states)]


def _named(row: Row) -> str:
    return f"{row.label.id} ({row.label.words})" if row.label.kind == "group" else row.label.id


def _doubt(report: ScheduleReport, row: Row) -> State | None:
    """Of a suspect: stop where it is open, caution where it is kept; None of the others."""
    for item in report.suspects:
        if item.label.id == row.label.id and item.label.words == row.label.words:
            return "stop" if item.decision is None else "caution"
    return None


def _kept(report: ScheduleReport, chosen: str) -> frozenset[tuple[str, str]] | None:
    """(id, words) of the rows that a dimension rests on, those left out that name it too; None: nothing is chosen."""
    for item in report.dimensions:
        if item.id == chosen:
            found = {(source.id, source.words) for source in item.sources}
            named = [entry.label for entry in report.tested] + list(report.left_out)
            return frozenset(found | {(label.id, label.words) for label in named if chosen in label.about})
    return None


class _Drawing:
    """Nodes and lines of one picture."""

    def __init__(
        self,
        report: ScheduleReport,
        layout: Layout,
        kept: frozenset[tuple[str, str]] | None,
        states: dict[str, State],
    ) -> None:
        self._report = report
        self._layout = layout
        self._kept = kept
        self._states = states
        observed = [(row, place) for row, _, place in layout.observed if self._is_kept(row)]
        shown = [row for row, _ in observed] + [row for row, _ in layout.relations if self._is_kept(row)]
        self._bright = {name for row in shown for name in row.label.about}
        self._bright_sources = {place for _, place in observed}

    def _is_kept(self, row: Row) -> bool:
        return self._kept is None or (row.label.id, row.label.words) in self._kept

    def sources(self) -> Iterator[str]:
        """Names at the left, with hairlines to what they say."""
        for row, height, place in self._layout.observed:
            start = (SOURCE_AT + SOURCE_WIDE, self._layout.sources[place][1])
            drawn = curve(start, (OBSERVED_AT, height))
            yield group(f'<path class="net-from" d="{drawn}"/>', "", self._is_kept(row))
        for place, (name, height) in enumerate(self._layout.sources):
            words = shorten(name, TYPE, SOURCE_WIDE - 1.0)
            text = write(SOURCE_AT + SOURCE_WIDE - 1.0, height + 0.35 * TYPE, words, TYPE, "end", "soft")
            yield group(titled(name, text), data_of("source", name), place in self._bright_sources)

    def observed(self) -> Iterator[str]:
        """One node for each observation, with lines as wide as its weight to what it names."""
        for row, height, _ in self._layout.observed:
            lines = [
                self._line(
                    row, (OBSERVED_AT + OBSERVED_WIDE, height), (DIMENSION_AT, self._layout.dimensions[name])
                )
                for name in row.label.about
                if name in self._layout.dimensions
            ]
            yield group("".join(lines), "", self._is_kept(row))
        for row, height, _ in self._layout.observed:
            # What was measured together is told apart by its words; the source names the photograph.
            words = row.label.words if row.label.kind == "group" else row.label.id
            node = self._node(row, OBSERVED_AT, OBSERVED_WIDE, height, words)
            data = data_of("observation", row.label.id)
            yield group(titled(self._said(row), node), data, self._is_kept(row))

    def dimensions(self, chosen: str) -> Iterator[str]:
        """Open where nothing determines them."""
        for item in self._report.dimensions:
            if item.id not in self._layout.dimensions:
                continue
            height = self._layout.dimensions[item.id]
            node = draw_dimension(item, height, self._states[item.id])
            if item.id == chosen:
                half = 0.5 * HIGH + 0.5
                node += box(DIMENSION_AT - 0.5, height - half, DIMENSION_WIDE + 1.0, 2.0 * half, "net-chosen")
            said = f"{item.id}: {item.unknown or write_size(item.prototype_mm) + ' mm'}"
            is_bright = self._kept is None or item.id == chosen or item.id in self._bright
            yield group(titled(said, node), data_of("dimension", item.id), is_bright)

    def relations(self) -> Iterator[str]:
        """Junctions, with lines to the dimensions that they tie."""
        for row, height in self._layout.relations:
            lines = [
                self._line(
                    row, (DIMENSION_AT + DIMENSION_WIDE, self._layout.dimensions[name]), (RELATION_AT, height)
                )
                for name in row.label.about
                if name in self._layout.dimensions
            ]
            yield group("".join(lines), "", self._is_kept(row))
        for row, height in self._layout.relations:
            doubt = _doubt(self._report, row)
            joint = f'<circle class="net-joint" cx="{number(RELATION_AT)}" cy="{number(height)}" r="0.9"/>'
            if doubt is not None:
                joint = box(RELATION_AT + 2.0, height - 0.5 * HIGH, RELATION_WIDE - 2.0, HIGH, "net-doubt")
                joint += hatched(RELATION_AT + 2.0, height, RELATION_WIDE - 2.0)
                joint += state_mark(RELATION_AT, height, doubt, 2.6)
            names = "soft" if row.tested is None else "halo"
            words = shorten(row.label.words, TYPE, RELATION_WIDE - 4.5)
            text = write(RELATION_AT + 3.2, height + 0.35 * TYPE, words, TYPE, "start", names)
            data = data_of("observation", row.label.id)
            yield group(titled(self._said(row), joint, text), data, self._is_kept(row))

    def _line(self, row: Row, start: tuple[float, float], end: tuple[float, float]) -> str:
        drawn = curve(start, end)
        if row.tested is None:
            return f'<path class="net-out" d="{drawn}"/>'
        width = FINEST + (BOLDEST - FINEST) * row.share
        if row.is_relation:
            width = 0.3 if row.label.std == 0.0 else width
        if _doubt(self._report, row) is None:
            return f'<path class="net-line" stroke-width="{number(width)}" d="{drawn}"/>'
        outer = f'<path class="net-line" stroke-width="{number(width + 1.1)}" d="{drawn}"/>'
        return outer + f'<path class="net-core" stroke-width="{number(width + 0.5)}" d="{drawn}"/>'

    def _node(self, row: Row, left: float, wide: float, height: float, words: str) -> str:
        top = height - 0.5 * HIGH
        if row.tested is None:
            text = write(
                left + 2.0, height + 0.35 * TYPE, shorten(words, TYPE, wide - 16.0), TYPE, "start", "soft"
            )
            gone = write(left + wide - 1.5, height + 0.35 * TYPE, "left out", TYPE, "end", "soft")
            return box(left, top, wide, HIGH, "net-gone") + text + gone
        doubt = _doubt(self._report, row)
        state = doubt or observation_state(self._report, row.tested)
        inner = box(left, top, wide, HIGH, "net-node" if doubt is None else "net-doubt")
        if doubt is not None:
            inner += hatched(left, height, wide)
        inner += state_mark(left + 2.6, height, state, 2.4)
        share = write_share(row.share) if row.share > 0.0 else ""
        kept = shorten(words, TYPE, wide - (16.0 if share else 7.0))
        text = write(left + 5.2, height + 0.35 * TYPE, kept, TYPE, "start", "halo")
        weight = write(left + wide - 1.5, height + 0.35 * TYPE, share, TYPE, "end", "soft halo")
        return inner + text + (weight if share else "")

    def _said(self, row: Row) -> str:
        """What the pointer is told of a row: its cells, as the table of the schedule has them."""
        if row.tested is None:
            return f"{_named(row)}: {row.label.words}, left out by decision"
        _, of, stated, residual, test, redundancy, noticed = observation_row(row.tested)
        return (
            f"{row.label.id}: {of}; {stated}; residual {residual}, test value {test}, redundancy {redundancy}, "
            f"noticed from {noticed}"
        )
