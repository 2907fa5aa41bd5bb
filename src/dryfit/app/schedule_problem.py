"""Observations, relations and stated sizes of a project as rows of one adjustment."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Sequence, Set
from dataclasses import dataclass, replace

import numpy as np

from dryfit.base.arrays import Array
from dryfit.calc.adjust import Quotients
from dryfit.model.evidence import JointObservations, Observation, Relation
from dryfit.model.project import Project

# Added to the id of a dimension whose size its own row states: no id of the document can end so.
AS_STATED = " (as stated)"

_Terms = dict[str, float]


@dataclass(frozen=True, slots=True)
class Label:
    """What a row of the adjustment is.

    id     by which a decision names it: of the observation, relation, stated dimension or group
    words  what it says
    unit   of its residual: "mm" at the size of the prototype or model as given, "" of a ratio
    value  as observed, in that unit; of a relation the amount by which it must differ
    std    standard uncertainty; 0: exact
    single the dimension that it measures by itself; "" where it is about several
    about  every dimension that it names
    """

    id: str
    words: str
    unit: str
    value: float
    std: float
    single: str = ""
    kind: str = "observation"
    source: str = ""
    date: str = ""
    reliability: str = ""
    stated: str = ""
    about: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class ScheduleProblem:
    """names: dimensions in the order of the document; labels of the observations, then of the exact rows."""

    names: tuple[str, ...]
    rows: Quotients
    observed: Array
    covariance: tuple[Array, ...]
    exact: Quotients
    exact_values: Array
    start: Array
    labels: tuple[Label, ...]


@dataclass(frozen=True, slots=True)
class _Row:
    """One row before it is numbers: top / bottom - less / under = value."""

    label: Label
    top: _Terms
    bottom: _Terms
    less: _Terms
    under: _Terms

    @property
    def named(self) -> Label:
        """The label with the dimensions that the row names."""
        about = tuple(dict.fromkeys((*self.top, *self.bottom, *self.less, *self.under)))
        return replace(self.label, about=about)


@dataclass(frozen=True, slots=True, eq=False)
class _Block:
    """Rows whose departures share a covariance; variance None: exact."""

    rows: tuple[_Row, ...]
    variance: Array | None


def write_problem(
    project: Project, extras: Sequence[JointObservations] = (), without: Set[str] = frozenset()
) -> ScheduleProblem:
    """The rows of a project, those left out that are named.

    extras : lengths measured together, with their covariance
    without : ids of observations, relations, stated dimensions or groups
    Raises ValueError where an extra names a dimension that is not there.
    """
    names = tuple(item.id for item in project.dimensions)
    blocks = [block for block in _blocks(project, extras) if block.rows[0].label.id not in without]
    soft = [block for block in blocks if block.variance is not None]
    hard = [block for block in blocks if block.variance is None]
    rows = [row for block in soft for row in block.rows]
    exact = [row for block in hard for row in block.rows]
    return ScheduleProblem(
        names=names,
        rows=_quotients(names, rows),
        observed=np.array([row.label.value for row in rows]),
        covariance=tuple(_covariances(soft)),
        exact=_quotients(names, exact),
        exact_values=np.array([row.label.value for row in exact]),
        start=np.full(len(names), _usual_size([*rows, *exact])),
        labels=tuple(row.named for row in [*rows, *exact]),
    )


def list_ids(project: Project, extras: Sequence[JointObservations] = ()) -> tuple[str, ...]:
    """Everything that a decision may name."""
    return tuple(dict.fromkeys(block.rows[0].label.id for block in _blocks(project, extras)))


def list_labels(project: Project, extras: Sequence[JointObservations] = ()) -> tuple[Label, ...]:
    """Every row that the adjustment would have with nothing left out."""
    return tuple(row.named for block in _blocks(project, extras) for row in block.rows)


def _blocks(project: Project, extras: Sequence[JointObservations]) -> Iterator[_Block]:
    for item in project.dimensions:
        if item.prototype_mm is not None:
            size = item.prototype_mm
            label = Label(
                item.id + AS_STATED,
                item.id,
                "mm",
                size.value,
                size.std,
                item.id,
                "stated",
                item.source,
                stated=f"{size.value:g} mm, " + (f"std {size.std:g} mm" if size.std else "exact"),
            )
            yield _single(_Row(label, {item.id: 1.0}, {}, {}, {}))
    for observation in project.observations:
        yield _single(_observation(project, observation))
    for relation in project.relations:
        yield from _RELATIONS[relation.kind](relation)
    for group in extras:
        yield _group(group)


def _single(row: _Row) -> _Block:
    return _Block((row,), np.array([row.label.std**2]) if row.label.std > 0.0 else None)


def _observation(project: Project, item: Observation) -> _Row:
    """A size in the model is one of the prototype where the scale is fixed, and a quotient where it follows."""
    terms, below, size = dict(item.terms), {}, 1.0
    if item.over:
        below = {item.over: 1.0}
    elif item.given_at == "model" and project.scale_from is not None:
        terms = {name: factor * project.scale_from.model_mm for name, factor in terms.items()}
        below = {project.scale_from.dimension: 1.0}
    elif item.given_at == "model" and project.scale is not None:
        size = float(1 / project.scale)
    is_single = len(item.terms) == 1 and not below and item.terms[0][1] == 1.0
    label = Label(
        id=item.id,
        words=write_terms(item.terms) + (f" / {item.over}" if item.over else ""),
        unit="" if item.over else "mm",
        value=item.value.value * size,
        std=item.value.std * size,
        single=item.terms[0][0] if is_single else "",
        source=item.source,
        date=item.date,
        reliability=item.reliability,
        stated=item.stated + (", in the model" if item.given_at == "model" else ""),
    )
    return _Row(label, terms, below, {}, {})


def _group(group: JointObservations) -> _Block:
    rows = [
        _Row(
            Label(
                id=group.id,
                words=f"{id}: {write_terms(terms)}",
                unit="mm",
                value=float(value),
                std=float(np.sqrt(variance)),
                single=terms[0][0] if len(terms) == 1 and terms[0][1] == 1.0 else "",
                kind="group",
                source=group.source,
                stated=f"{value:.6g} mm, std {_two_digits(math.sqrt(variance))} mm",
            ),
            dict(terms),
            {},
            {},
            {},
        )
        for id, terms, value, variance in zip(
            group.ids, group.terms, group.values_mm, np.diag(group.covariance), strict=True
        )
    ]
    return _Block(tuple(rows), group.covariance)


def _relation_row(relation: Relation, words: str, top: _Terms, unit: str = "mm", value: float = 0.0) -> _Row:
    label = Label(relation.id, words, unit, value, relation.std, "", "relation", relation.source)
    return _Row(label, top, {}, {}, {})


def _sum(relation: Relation) -> Iterator[_Block]:
    words = f"{relation.whole} = {' + '.join(relation.of)}"
    yield _single(_relation_row(relation, words, {relation.whole: 1.0} | dict.fromkeys(relation.of, -1.0)))


def _equal(relation: Relation) -> Iterator[_Block]:
    first, *others = relation.of
    yield _scattered(relation, [(f"{other} = {first}", {other: 1.0, first: -1.0}) for other in others])


def _symmetric(relation: Relation) -> Iterator[_Block]:
    for left, right in relation.pairs:
        yield _scattered(relation, [(f"{left} = {right}", {left: 1.0, right: -1.0})])


def _spacing(relation: Relation) -> Iterator[_Block]:
    triples = zip(relation.of, relation.of[1:], relation.of[2:], strict=False)
    yield _scattered(
        relation,
        [(f"{b} halfway between {a} and {c}", {a: 1.0, b: -2.0, c: 1.0}) for a, b, c in triples],
    )


def _scattered(relation: Relation, lines: Sequence[tuple[str, _Terms]]) -> _Block:
    """Rows of members that scatter independently: their departures share the members."""
    rows = tuple(_relation_row(relation, words, top) for words, top in lines)
    if relation.std == 0.0:
        return _Block(rows, None)
    members = list(dict.fromkeys(name for _, top in lines for name in top))
    matrix = np.array([[top.get(name, 0.0) for name in members] for _, top in lines])
    return _Block(rows, relation.std**2 * matrix @ matrix.T)


def _ratio(relation: Relation) -> Iterator[_Block]:
    above, below = relation.of
    if relation.same_as:
        first, second = relation.same_as
        row = _relation_row(relation, f"{above} / {below} = {first} / {second}", {above: 1.0}, "")
        yield _single(_Row(row.label, row.top, {below: 1.0}, {first: 1.0}, {second: 1.0}))
        return
    value = relation.value or 0.0
    words = f"{above} / {below} = {value:g}"
    if relation.std == 0.0:
        yield _single(_relation_row(relation, words, {above: 1.0, below: -value}))
        return
    row = _relation_row(relation, words, {above: 1.0}, "", value)
    yield _single(_Row(row.label, row.top, {below: 1.0}, {}, {}))


_RELATIONS: dict[str, Callable[[Relation], Iterator[_Block]]] = {
    "sum": _sum,
    "equal": _equal,
    "symmetric": _symmetric,
    "spacing": _spacing,
    "ratio": _ratio,
}


def write_terms(terms: Iterable[tuple[str, float]]) -> str:
    """Such as "overall.height - 2 drum.height"."""
    text = ""
    for name, factor in terms:
        sign = "-" if factor < 0 else "+"
        size = "" if abs(factor) == 1.0 else f"{abs(factor):g} "
        text += (f" {sign} " if text else "-" if factor < 0 else "") + size + name
    return text


def _quotients(names: Sequence[str], rows: Sequence[_Row]) -> Quotients:
    place = {name: index for index, name in enumerate(names)}
    parts = []
    for key in ("top", "bottom", "less", "under"):
        matrix = np.zeros((len(rows), len(names)))
        for index, row in enumerate(rows):
            for name, factor in getattr(row, key).items():
                if name not in place:
                    raise ValueError(f"{row.label.id}: there is no dimension {name}")
                matrix[index, place[name]] += factor
        parts.append(matrix)
    return Quotients(*parts)


def _covariances(blocks: Sequence[_Block]) -> Iterator[Array]:
    """Neighbouring rows of their own variance go together."""
    alone: list[Array] = []
    for block in blocks:
        variance = np.asarray(block.variance)
        if variance.ndim == 1:
            alone.append(variance)
            continue
        if alone:
            yield np.concatenate(alone)
            alone = []
        yield variance
    if alone:
        yield np.concatenate(alone)


def _usual_size(rows: Sequence[_Row]) -> float:
    """A size of the order of those that were measured, for steps to begin at."""
    sizes = [abs(row.label.value) for row in rows if row.label.unit and row.label.value]
    return float(np.median(sizes)) if sizes else 1000.0


def _two_digits(std: float) -> str:
    """Two digits, or all before the point."""
    return f"{std:.2g}" if std < 100 else f"{std:.0f}"
