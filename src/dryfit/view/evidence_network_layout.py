"""Where things stand in the picture of the evidence: sources, observations, dimensions, relations, in four columns."""

from __future__ import annotations

from collections.abc import Container, Mapping, Sequence
from dataclasses import dataclass

from dryfit.app.schedule_problem import Label
from dryfit.app.schedule_report import ScheduleReport, Tested

# Lengths in mm on paper. Left edges and widths of the columns.
SOURCE_AT, SOURCE_WIDE = 2.0, 58.0
OBSERVED_AT, OBSERVED_WIDE = 76.0, 60.0
DIMENSION_AT, DIMENSION_WIDE = 156.0, 44.0
RELATION_AT, RELATION_WIDE = 218.0, 62.0
PITCH, TOP, FOOT = 6.0, 12.0, 16.0
NO_SOURCE = "no source stated"
# A source that says more than is seen at once is named again for what lies farther down.
_IN_SIGHT = 8.0 * PITCH


@dataclass(frozen=True, slots=True)
class Row:
    """One row of the adjustment, or one that is left out.

    tested  None where it is left out
    share   largest share that it has in the variance of a dimension that it names, 0 to 1
    """

    label: Label
    tested: Tested | None
    share: float

    @property
    def is_relation(self) -> bool:
        """Whether it holds between dimensions instead of being measured."""
        return self.label.kind == "relation"

    @property
    def source(self) -> str:
        """What it comes from: a group such as a photograph by its id, else the source as written."""
        return self.label.id if self.label.kind == "group" else self.label.source or NO_SOURCE


@dataclass(frozen=True, slots=True)
class Layout:
    """Heights of the middle lines of all nodes [mm].

    observed    observations with their heights, from the top, and the place in sources of what each comes from
    relations   their rows with their heights
    sources     names with their heights; one that says much stands several times
    dimensions  heights by name
    """

    observed: tuple[tuple[Row, float, int], ...]
    relations: tuple[tuple[Row, float], ...]
    sources: tuple[tuple[str, float], ...]
    dimensions: Mapping[str, float]
    height: float

    @property
    def width(self) -> float:
        """Of the picture [mm]: without relations their column is left out."""
        end = RELATION_AT + RELATION_WIDE if self.relations else DIMENSION_AT + DIMENSION_WIDE
        return end + 2.0


def list_rows(report: ScheduleReport) -> list[Row]:
    """Every row with its weight, then those left out."""
    shares: dict[tuple[str, str], float] = {}
    for item in report.dimensions:
        for source in item.sources:
            key = (source.id, source.words)
            shares[key] = max(shares.get(key, 0.0), abs(source.variance_share))
    rows = [
        Row(item.label, item, min(shares.get((item.label.id, item.label.words), 0.0), 1.0))
        for item in report.tested
    ]
    return rows + [Row(label, None, 0.0) for label in report.left_out]


def lay_out(report: ScheduleReport, only: Container[tuple[str, str]] | None = None) -> Layout:
    """Dimensions in the order of the document, each beside its observations; the rest as near as there is room.

    only : (id, words) of the rows that are drawn, with the dimensions that they name; None: all
    The same report gives the same picture.
    """
    names = [item.id for item in report.dimensions]
    rows = list_rows(report)
    if only is not None:
        rows = [row for row in rows if (row.label.id, row.label.words) in only]
        named = {name for row in rows for name in row.label.about}
        names = [name for name in names if name in named]
    place = {name: index for index, name in enumerate(names)}

    def middle(row: Row) -> float:
        places = [place[name] for name in row.label.about if name in place]
        return sum(places) / len(places) if places else float(len(place))

    observed = sorted((row for row in rows if not row.is_relation), key=middle)
    relations = [row for row in rows if row.is_relation]
    heights = [TOP + PITCH * (number + 0.5) for number in range(len(observed))]
    of_dimension: dict[str, list[float]] = {name: [] for name in names}
    for row, height in zip(observed, heights, strict=True):
        for name in row.label.about:
            if name in of_dimension and len(row.label.about) == 1:
                of_dimension[name].append(height)
    wanted = _beside(names, of_dimension)
    dimensions = dict(zip(names, space_out(wanted), strict=True))
    names_of, groups = _gather_sources(observed, heights)
    spread = space_out([_mean([heights[place] for place in group]) for group in groups])
    source_of = {place: number for number, group in enumerate(groups) for place in group}
    tied = [
        (row, _mean([dimensions[name] for name in row.label.about if name in dimensions]))
        for row in relations
    ]
    tied.sort(key=lambda entry: entry[1])
    places = space_out([height for _, height in tied])
    lowest = max([TOP, *heights, *dimensions.values(), *spread, *places])
    return Layout(
        observed=tuple(
            (row, height, source_of[place])
            for place, (row, height) in enumerate(zip(observed, heights, strict=True))
        ),
        relations=tuple((row, height) for (row, _), height in zip(tied, places, strict=True)),
        sources=tuple(zip(names_of, spread, strict=True)),
        dimensions=dimensions,
        height=lowest + 0.5 * PITCH + FOOT,
    )


def space_out(wanted: Sequence[float], pitch: float = PITCH, top: float = TOP) -> list[float]:
    """Heights in the same order, at least a pitch apart and below the top, with the least sum of squared moves.

    Neighbours that would touch are moved as one block about their common mean: pooling of adjacent violators
    (memory), after the pitch is taken out of each place.
    """
    blocks: list[list[float]] = []  # sum of the wished starts, number
    for number, height in enumerate(wanted):
        blocks.append([height - pitch * number, 1.0])
        while len(blocks) > 1 and blocks[-2][0] / blocks[-2][1] >= blocks[-1][0] / blocks[-1][1]:
            total, count = blocks.pop()
            blocks[-1][0] += total
            blocks[-1][1] += count
    starts = [total / count for total, count in blocks for _ in range(round(count))]
    lowest = top + 0.5 * pitch
    return [max(start, lowest) + pitch * number for number, start in enumerate(starts)]


def _gather_sources(observed: Sequence[Row], heights: Sequence[float]) -> tuple[list[str], list[list[int]]]:
    """Names of sources, and the places of the observations that each speaks for, from the top."""
    open_groups: dict[str, list[int]] = {}
    found: list[tuple[str, list[int]]] = []
    for place, row in enumerate(observed):
        group = open_groups.get(row.source)
        if group is None or heights[place] - heights[group[0]] > _IN_SIGHT:
            group = open_groups[row.source] = []
            found.append((row.source, group))
        group.append(place)
    found.sort(key=lambda entry: _mean([heights[place] for place in entry[1]]))
    return [name for name, _ in found], [group for _, group in found]


def _beside(names: Sequence[str], heights: Mapping[str, Sequence[float]]) -> list[float]:
    """Wished heights: beside its own observations, else just below the dimension before."""
    wanted: list[float] = []
    for name in names:
        before = wanted[-1] + PITCH if wanted else TOP + 0.5 * PITCH
        wanted.append(_mean(heights[name]) if heights[name] else before)
    return wanted


def _mean(values: Sequence[float]) -> float:
    return sum(values) / len(values) if values else TOP
