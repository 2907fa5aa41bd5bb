"""What a schedule touches in the model, its record in the ledger, and what changed since the last one."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from dryfit.app.judging import dependents_of
from dryfit.app.ledger_reading import read_records
from dryfit.app.print_records import PRINT, prints_of
from dryfit.app.schedule_solving import Solved
from dryfit.base.estimate import Estimate
from dryfit.calc.adjust import Doubts
from dryfit.model.project import Project
from dryfit.store.ledger import LEDGER_NAME, LedgerRecord, open_ledger

SCHEDULE = "schedule"
_DIGITS = 9  # of a recorded size: rounding of another machine is no change
# A size that moved by less than this share of itself has not changed.
_MOVED = 1e-6


@dataclass(frozen=True, slots=True)
class Touched:
    """What hangs on a dimension: features that take their nominal from it, and what rests on their parts.

    parts    those that such features measure; carried: parts placed on them or joined to them
    printed  those of either that were printed and came out good
    """

    features: tuple[str, ...] = ()
    parts: tuple[str, ...] = ()
    carried: tuple[str, ...] = ()
    joints: tuple[str, ...] = ()
    characteristics: tuple[str, ...] = ()
    printed: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class DimensionChange:
    """A dimension then and now; None where it was not known, or not there."""

    id: str
    prototype_before_mm: Estimate | None
    prototype_after_mm: Estimate | None
    model_before_mm: Estimate | None
    model_after_mm: Estimate | None
    touched: Touched


def printed_parts(records: tuple[LedgerRecord, ...]) -> frozenset[str]:
    """Ids of the parts of which a good print is recorded, of whatever shape it was."""
    return frozenset(item.part for item in prints_of(records) if item.result == "good")


def touched_by(project: Project, dimension: str, printed: Collection[str] = ()) -> Touched:
    """What hangs on a dimension. printed: ids of parts that were printed."""
    features = [item for item in project.features if item.dimension == dimension]
    if not features:
        return Touched()
    parts = list(dict.fromkeys(part for item in features for part in item.parts))
    # All features of one dimension have the same dependents.
    named = [name.partition(" ") for item in features[:1] for name in dependents_of(project, item)]
    of_kind = {
        kind: tuple(name for word, _, name in named if word == kind)
        for kind in ("part", "joint", "characteristic")
    }
    carried = tuple(name for name in of_kind["part"] if name not in parts)
    return Touched(
        tuple(item.id for item in features),
        tuple(parts),
        carried,
        of_kind["joint"],
        of_kind["characteristic"],
        tuple(name for name in (*parts, *carried) if name in printed),
    )


def list_changes(folder: Path, solved: Solved) -> tuple[tuple[DimensionChange, ...], str]:
    """Dimensions that differ from the last recorded schedule, and when that was; nothing where there is none."""
    last = last_schedule(read_records(folder, SCHEDULE))
    if last is None:
        return (), ""
    return changes_since(last, solved, printed_parts(read_records(folder, PRINT))), last.recorded_at


def changes_since(
    last: LedgerRecord, solved: Solved, printed: Collection[str] = ()
) -> tuple[DimensionChange, ...]:
    """Dimensions that differ from a recorded schedule. printed: ids of parts that were printed."""
    before, after = last.payload["dimensions"], _sizes(solved)
    changes = []
    for name in dict.fromkeys([*after, *before]):
        old, new = before.get(name), after.get(name)
        if _is_same(old, new):
            continue
        changes.append(
            DimensionChange(
                name,
                _estimate(old, "prototype"),
                _estimate(new, "prototype"),
                _estimate(old, "model"),
                _estimate(new, "model"),
                touched_by(solved.project, name, printed),
            )
        )
    return tuple(changes)


def last_schedule(records: tuple[LedgerRecord, ...]) -> LedgerRecord | None:
    """The last recorded one, out of records of any kind."""
    return next((record for record in reversed(records) if record.kind == SCHEDULE), None)


def record_schedule(folder: Path, solved: Solved, doubts: Doubts) -> int:
    """Number of the record of this schedule: a new one where it differs from the last, else that one."""
    payload = _payload(solved, doubts)
    last = last_schedule(read_records(folder, SCHEDULE))
    if last is not None and dict(last.payload) == payload:
        return last.id
    with open_ledger(folder / LEDGER_NAME) as ledger:
        return ledger.append(SCHEDULE, payload).id


def _payload(solved: Solved, doubts: Doubts) -> dict[str, Any]:
    adjustment, scale = solved.adjustment, solved.scale()
    labels = solved.problem.labels
    used = list(dict.fromkeys(label.id for label in labels))
    return {
        "dimensions": _sizes(solved),
        "scale": None if scale is None else [_rounded(scale.value), _rounded(scale.std)],
        "vpv": _rounded(adjustment.vpv),
        "dof": adjustment.dof,
        "used": used,
        "suspects": [labels[doubt.row].id for doubt in doubts.found],
    }


def _sizes(solved: Solved) -> dict[str, dict[str, float | None] | None]:
    return {name: _size(solved, name) for name in solved.problem.names}


def _size(solved: Solved, name: str) -> dict[str, float | None] | None:
    if not solved.is_known(name):
        return None
    size, model = solved.prototype(name), solved.model(name)
    return {
        "prototype_mm": _rounded(size.value),
        "prototype_std_mm": _rounded(size.std),
        "model_mm": None if model is None else _rounded(model.value),
        "model_std_mm": None if model is None else _rounded(model.std),
    }


def _rounded(value: float) -> float:
    """To so many digits that the same evidence gives the same record; what is only rounding is zero."""
    return 0.0 if abs(value) < 1e-9 else float(f"{value:.{_DIGITS}g}")


def _is_same(old: dict[str, Any] | None, new: dict[str, Any] | None) -> bool:
    if old is None or new is None:
        return old is new
    for key, value in new.items():
        was = old.get(key)
        if (was is None) != (value is None):
            return False
        if was is not None and abs(was - value) > _MOVED * max(abs(was), abs(value)):
            return False
    return True


def _estimate(size: dict[str, Any] | None, which: str) -> Estimate | None:
    if size is None or size[f"{which}_mm"] is None:
        return None
    return Estimate(size[f"{which}_mm"], size[f"{which}_std_mm"])
