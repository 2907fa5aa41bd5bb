"""The schedule under the user's hands: decisions with what they would change, the record, what to measure next."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from dryfit.app.live import Snapshot
from dryfit.app.loading import Progress
from dryfit.app.photo_sizes import photo_evidence, project_evidence
from dryfit.app.schedule import Options, schedule_folder
from dryfit.app.schedule_decisions import Verb, left_out_after, read_decisions
from dryfit.app.schedule_report import ScheduleReport
from dryfit.app.schedule_request import read_std
from dryfit.app.schedule_solving import Solved, solve
from dryfit.app.schedule_worth import Worth, rank_next
from dryfit.base.estimate import Estimate

# A size that moves by less than this share of its standard uncertainty stays as it is.
_MOVED = 0.01


@dataclass(frozen=True, slots=True)
class Moved:
    """A dimension as it is and as it would be, prototype and model [mm]; None where it is not known."""

    id: str
    prototype_now_mm: Estimate | None
    prototype_then_mm: Estimate | None
    model_now_mm: Estimate | None
    model_then_mm: Estimate | None


@dataclass(frozen=True, slots=True)
class Outlook:
    """What a decision would make of the schedule: what moves, and the global test now and then."""

    moved: tuple[Moved, ...]
    p_now: float | None
    p_then: float | None


def foresee_decision(snapshot: Snapshot, verb: Verb, id: str) -> Outlook:
    """The schedule before and after a decision; nothing is recorded. Raises what solving raises."""
    opened = snapshot.opened
    project, extras = opened.project, photo_evidence(opened.folder, opened.project).extras
    held = read_decisions(opened.folder)
    now = solve(project, extras, left_out_after(held, None, ()))
    then = solve(project, extras, left_out_after(held, verb, (id,)))
    moved = tuple(
        item for item in (_moved(name, now, then) for name in now.problem.names) if item is not None
    )
    return Outlook(moved, now.adjustment.p_value, then.adjustment.p_value)


def decide(path: Path, verb: Verb, id: str, because: str) -> ScheduleReport:
    """Record a decision with its reason. The schedule that comes of it is not noted as looked at.

    Raises ReferenceUnknown where the reason is missing or the id names nothing; what solving raises: nothing is
    recorded then.
    """
    return schedule_folder(path, Options(verb, (id,), because, record=False), project_evidence(path).extras)


def note_schedule(path: Path) -> ScheduleReport:
    """Record the schedule as it is now: later changes are told against it. Raises what solving raises."""
    return schedule_folder(path, Options(), project_evidence(path).extras)


def rank_measurements(snapshot: Snapshot, std: str, progress: Progress | None = None) -> Worth:
    """Which measurement would be worth most.

    std : its standard uncertainty as typed, such as "5 mm"; "" for the median of the evidence at hand
    Raises ReferenceUnknown where that is no length; what solving raises.
    """
    std_mm = read_std(std) if std.strip() else None
    opened = snapshot.opened
    extras = photo_evidence(opened.folder, opened.project).extras
    solved = solve(opened.project, extras, left_out_after(read_decisions(opened.folder), None, ()))
    return rank_next(solved, std_mm, progress)


def _moved(name: str, now: Solved, then: Solved) -> Moved | None:
    before = now.prototype(name) if now.is_known(name) else None
    after = then.prototype(name) if then.is_known(name) else None
    if before is None and after is None:
        return None
    if before is not None and after is not None:
        least = _MOVED * max(before.std, 1e-9 * abs(before.value))
        if abs(after.value - before.value) <= least and abs(after.std - before.std) <= least:
            return None
    return Moved(name, before, after, now.model(name), then.model(name))
