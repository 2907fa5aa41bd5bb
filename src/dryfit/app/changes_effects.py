"""What changes bring with them: dimensions moved, features, and the forecast before and after."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace

from dryfit.app.as_built import as_printed, gather_as_built
from dryfit.app.changes_document import DocumentChange
from dryfit.app.changes_parts import PartChange
from dryfit.app.forecast import Chain, build_chain, run_forecast
from dryfit.app.history import ForecastChange
from dryfit.app.hold_lines import fit_state
from dryfit.app.magnitudes import check_magnitudes
from dryfit.app.measuring import measure_features
from dryfit.app.release_state import State
from dryfit.app.schedule_changes import Touched, touched_by
from dryfit.base.errors import DryfitError
from dryfit.base.estimate import Estimate
from dryfit.model.feature import Feature
from dryfit.model.finding import MeasuredFeature
from dryfit.model.finding import State as Outcome
from dryfit.model.forecast import CharacteristicForecast, ForecastReport

# A size that moved by more than so many of its standard uncertainties has moved (common practice: about 95 %).
_COVERAGE = 2.0
_SAME_SIZE = 1e-9  # share of itself by which a size that has not changed may differ
_RECORDED = 1e-6  # share of its standard uncertainty, or of itself, by which a recomputed figure may differ


@dataclass(frozen=True, slots=True)
class DimensionMove:
    """A dimension of the schedule before and after; None where it has no size, or is not there.

    is_significant  whether it moved by more than two standard uncertainties, the larger of both; None where a size
                    is not there on one side
    """

    id: str
    prototype_before_mm: Estimate | None
    prototype_after_mm: Estimate | None
    model_before_mm: Estimate | None
    model_after_mm: Estimate | None
    is_significant: bool | None
    unknown_before: str
    unknown_after: str
    touched: Touched


@dataclass(frozen=True, slots=True, eq=False)
class FeatureMove:
    """A feature measured in both states; None where it is not there."""

    id: str
    before: MeasuredFeature | None
    after: MeasuredFeature | None

    @property
    def has_changed(self) -> bool:
        return _feature_figures(self.before) != _feature_figures(self.after)


@dataclass(frozen=True, slots=True)
class OutcomeMove:
    """A characteristic before and after; figures None where it was not forecast."""

    change: ForecastChange
    kind: str
    state_before: Outcome | None
    state_after: Outcome | None


@dataclass(frozen=True, slots=True)
class ForecastMove:
    """The forecast of both states, run by this program.

    refused_before, refused_after  why there is none; "" where there is one
    recorded   figures that a release recorded and that come out otherwise now, in words
    versions   program versions that recorded them, where they are other ones
    order      what differs in the datum or the order of bonding, in words
    chain_before, chain_after  what they were forecast from; None where there is none
    """

    outcomes: tuple[OutcomeMove, ...] = ()
    refused_before: str = ""
    refused_after: str = ""
    recorded: tuple[str, ...] = ()
    versions: tuple[str, ...] = ()
    order: tuple[str, ...] = ()
    before: ForecastReport | None = field(default=None, repr=False)
    after: ForecastReport | None = field(default=None, repr=False)
    chain_before: Chain | None = field(default=None, repr=False, compare=False)
    chain_after: Chain | None = field(default=None, repr=False, compare=False)


@dataclass(frozen=True, slots=True, eq=False)
class Foreseen:
    """A state made ready and forecast; refused says why not."""

    chain: Chain | None = None
    report: ForecastReport | None = None
    refused: str = ""


def foresee(state: State) -> Foreseen:
    """The chain and the forecast of a state, with what was printed and read at its time.

    A refusal is a result here, for the rest is to be compared all the same.
    """
    if not state.is_whole:
        names = ", ".join(item.part for item in state.unread[:4])
        return Foreseen(refused=f"the meshes of {names} cannot be read")
    try:
        as_built = gather_as_built(state.project, state.opened.shapes, state.records)
        project = as_printed(state.project, as_built)
        check_magnitudes(project)
        chain = build_chain(project, state.opened.shapes, as_built)
        return Foreseen(chain, run_forecast(chain))
    except DryfitError as error:
        return Foreseen(refused=f"{error.what} ({error.where})")


def dimension_moves(before: State, after: State, printed: Collection[str] = ()) -> tuple[DimensionMove, ...]:
    """Dimensions whose size, or what is known of it, differs between the schedules of two states.

    printed : ids of parts that were printed
    """
    old = {item.id: item for item in before.project.dimensions}
    new = {item.id: item for item in after.project.dimensions}
    moves = []
    for id in dict.fromkeys([*new, *old]):
        sizes = [None if row is None else row.size_mm for row in (old.get(id), new.get(id))]
        models = [_model_size(state, id) for state in (before, after)]
        if _is_same(*sizes) and _is_same(*models) and (id in old) == (id in new):
            continue
        moves.append(
            DimensionMove(
                id,
                sizes[0],
                sizes[1],
                models[0],
                models[1],
                _is_significant(sizes[0], sizes[1], models),
                old[id].unknown if id in old else "",
                new[id].unknown if id in new else "",
                touched_by(after.project if id in new else before.project, id, printed),
            )
        )
    return tuple(moves)


def _model_size(state: State, id: str) -> Estimate | None:
    project = state.project
    row = next((item for item in project.dimensions if item.id == id), None)
    if row is None or row.size_mm is None:
        return None
    if row.model_mm is not None:
        return row.model_mm
    if project.scale is None:
        return None
    scale = float(project.scale)
    return Estimate(row.size_mm.value * scale, row.size_mm.std * scale)


def _is_same(a: Estimate | None, b: Estimate | None) -> bool:
    if a is None or b is None:
        return a is b
    near = _SAME_SIZE * max(abs(a.value), abs(b.value))
    return abs(a.value - b.value) <= near and abs(a.std - b.std) <= max(near, 1e-6 * max(a.std, b.std))


def _is_significant(
    old: Estimate | None, new: Estimate | None, models: Sequence[Estimate | None]
) -> bool | None:
    if old is None or new is None:
        return None
    pairs = [(old, new)]
    if models[0] is not None and models[1] is not None:
        pairs.append((models[0], models[1]))  # a change of scale moves these alone
    return any(
        abs(b.value - a.value) > max(_COVERAGE * max(a.std, b.std), _SAME_SIZE * abs(a.value))
        for a, b in pairs
    )


def feature_moves(
    before: State,
    after: State,
    parts: Sequence[PartChange],
    document: Sequence[DocumentChange],
    dimensions: Sequence[DimensionMove],
) -> tuple[FeatureMove, ...]:
    """Features that hang on something that changed, measured in both states, those that are as they were left out."""
    stirred = {name for part in parts if part.kind not in ("unchanged",) for name in (part.id, part.old_id)}
    rows = {change.row for change in document if change.table == "feature"}
    moved = {move.id for move in dimensions}
    scale = any(change.table == "project" for change in document)

    def is_wanted(item: Feature) -> bool:
        is_sized = item.dimension is not None
        return (
            item.id in rows
            or item.dimension in moved
            or bool(stirred & set(item.parts))
            or (scale and is_sized)
        )

    measured = []
    for state in (before, after):
        wanted = tuple(item for item in state.project.features if is_wanted(item))
        chosen = replace(state.project, features=wanted)
        found = measure_features(chosen, state.opened.shapes)
        measured.append({item.id: item for item in found})
    moves = [
        FeatureMove(id, measured[0].get(id), measured[1].get(id))
        for id in dict.fromkeys([*measured[1], *measured[0]])
    ]
    return tuple(move for move in moves if move.has_changed)


def _feature_figures(item: MeasuredFeature | None) -> object:
    if item is None:
        return None
    nominal = None if item.nominal is None else (_short(item.nominal.value), _short(item.nominal.std))
    return (_short(item.measured), nominal, _short(item.lower), _short(item.upper), item.state)


def _short(value: float | None) -> str | None:
    """To a tenth of a micrometre: what is only rounding is no change."""
    return None if value is None else f"{round(value, 4) + 0.0:.4f}"


def forecast_move(
    before: State, after: State, foreseen: tuple[Foreseen, Foreseen], renamed: Mapping[str, str]
) -> ForecastMove:
    """Both forecasts side by side, and what their releases had recorded. renamed: characteristics, new id by old."""
    old, new = foreseen[0].report, foreseen[1].report
    recorded, versions = [], []
    for state, item in zip((before, after), foreseen, strict=True):
        if state.release is not None and item.report is not None:
            recorded += [f"{state.name}: {words}" for words in _recorded_otherwise(state, item.report)]
            if state.release.program_version != item.report.program_version:
                versions.append(f"{state.name} was recorded by dryfit {state.release.program_version}")
    return ForecastMove(
        outcomes=_outcomes(old, new, renamed),
        refused_before=foreseen[0].refused,
        refused_after=foreseen[1].refused,
        recorded=tuple(recorded),
        versions=tuple(versions),
        order=tuple(_order_words(old, new)),
        before=old,
        after=new,
        chain_before=foreseen[0].chain,
        chain_after=foreseen[1].chain,
    )


def _outcomes(
    old: ForecastReport | None, new: ForecastReport | None, renamed: Mapping[str, str]
) -> tuple[OutcomeMove, ...]:
    was = {} if old is None else {renamed.get(row.id, row.id): row for row in old.characteristics}
    now = {} if new is None else {row.id: row for row in new.characteristics}
    rows = []
    for id in dict.fromkeys([*now, *was]):
        a, b = was.get(id), now.get(id)
        either = b if b is not None else a
        assert either is not None  # each id is of one of them
        change = ForecastChange(
            id, either.unit, *_pair(a, b, "predicted"), *_pair(a, b, "std"), *_pair(a, b, "p_out")
        )
        rows.append(OutcomeMove(change, either.kind, _state(a, old), _state(b, new)))
    return tuple(rows)


def _pair(
    a: CharacteristicForecast | None, b: CharacteristicForecast | None, name: str
) -> tuple[float | None, float | None]:
    return (None if a is None else getattr(a, name), None if b is None else getattr(b, name))


def _state(row: CharacteristicForecast | None, report: ForecastReport | None) -> Outcome | None:
    return None if row is None or report is None else fit_state(row, report.risk)


def _recorded_otherwise(state: State, report: ForecastReport) -> Iterable[str]:
    """Figures of a release's record that this program does not find again."""
    assert state.release is not None  # the caller has looked
    now = {row.id: row for row in report.characteristics}
    for row in state.release.forecast["characteristics"]:
        item = now.get(row["id"])
        if item is None:
            yield f"{row['id']} was forecast and is not now"
            continue
        for key in ("predicted", "std", "p_out"):
            was, is_now = row[key], getattr(item, key)
            if (was is None) != (is_now is None) or (
                was is not None and abs(was - is_now) > _RECORDED * max(abs(was), row["std"], 1e-3)
            ):
                name = f"{row['id']}: {key.replace('_', ' ')}"
                yield f"{name} was recorded as {_figure(was)}, comes out as {_figure(is_now)}"


def _figure(value: float | None) -> str:
    return "undetermined" if value is None or not math.isfinite(value) else f"{value:.6g}"


def _order_words(old: ForecastReport | None, new: ForecastReport | None) -> Iterable[str]:
    if old is None or new is None:
        return
    if old.datum != new.datum:
        yield f"datum {old.datum} -> {new.datum}"
    if set(old.order) == set(new.order) and old.order != new.order:
        yield f"order of bonding {', '.join(old.order)} -> {', '.join(new.order)}"
