"""The dimension schedule: how large, how sure, from what, and what hangs on it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from dryfit.app.ledger_reading import read_records
from dryfit.app.print_records import PRINT
from dryfit.app.schedule_changes import list_changes, printed_parts, record_schedule, touched_by
from dryfit.app.schedule_decisions import (
    Decision,
    Verb,
    check_decision,
    left_out_after,
    read_decisions,
    record_decision,
)
from dryfit.app.schedule_problem import Label, list_ids, list_labels
from dryfit.app.schedule_report import (
    PHOTO_GROUP,
    Repeated,
    Scheduled,
    ScheduleReport,
    SourceWeight,
    SuspectRow,
    Tested,
    WithoutIt,
)
from dryfit.app.schedule_solving import Solved, solve
from dryfit.app.schedule_worth import rank_next
from dryfit.calc.adjust import (
    Doubt,
    Doubts,
    Robust,
    adjust_robustly,
    check_consistency,
    find_doubts,
)
from dryfit.model.evidence import JointObservations
from dryfit.model.project import Project
from dryfit.store.document import read_document

# Two-sided 95 % of a normal distribution: the stated uncertainties count as known, so that degrees of freedom are
# infinite. JCGM 100:2008, G.1.3.
COVERAGE = 1.959963984540054
# A source whose share of the variance lies below this is not listed.
LEAST_SHARE = 1e-6
# An observation that the robust alternative counts less than this is let go by it.
LET_GO = 0.5


@dataclass(frozen=True, slots=True)
class Options:
    """verb, ids, because: a decision to write first; next_std_mm: of the measurements that are ranked."""

    verb: Verb | None = None
    ids: tuple[str, ...] = ()
    because: str = ""
    what_next: bool = False
    next_std_mm: float | None = None
    record: bool = True


def schedule_folder(
    path: Path, options: Options | None = None, extras: Sequence[JointObservations] = ()
) -> ScheduleReport:
    """The schedule of a project folder, after a decision where one is given; recorded where it changed.

    Where no schedule comes of the decision it is refused, and not recorded.

    extras : lengths measured together, with their covariance
    Raises what reading the document and the ledger raises; ReferenceUnknown for a decision about nothing; and what
    solve raises.
    """
    document = read_document(path)
    return schedule_project(document.path.parent, document.project, options, extras)


def schedule_project(
    folder: Path,
    project: Project,
    options: Options | None = None,
    extras: Sequence[JointObservations] = (),
) -> ScheduleReport:
    """The same for a project that was read already; its ledger lies in the folder. Raises the same."""
    chosen = options or Options()
    decisions = read_decisions(folder)
    if chosen.verb is not None:
        check_decision(project, decisions, chosen.verb, chosen.ids, chosen.because, extras)
    out = left_out_after(decisions, chosen.verb, chosen.ids)
    solved = solve(project, extras, out)
    if chosen.verb is not None:  # once it is known that a schedule comes of it
        record_decision(folder, chosen.verb, chosen.ids, chosen.because)
        decisions = read_decisions(folder)
    doubts, robust = look_for_doubts(solved)
    changes, since = list_changes(folder, solved)
    printed = printed_parts(read_records(folder, PRINT))
    record = record_schedule(folder, solved, doubts) if chosen.record else None
    return ScheduleReport(
        project=project.name,
        invented=project.invented,
        dimensions=tuple(_scheduled(solved, name, printed) for name in solved.problem.names),
        tested=_tested(solved, robust),
        suspects=tuple(_suspect(solved, doubt, decisions) for doubt in doubts.found),
        critical=doubts.critical,
        level=doubts.level,
        tests=doubts.tested,
        vpv=solved.adjustment.vpv,
        dof=solved.adjustment.dof,
        p_value=solved.adjustment.p_value,
        robust=_robust_sizes(solved, robust),
        scale=solved.scale(),
        scale_from="" if project.scale_from is None else project.scale_from.dimension,
        decisions=tuple(decisions.values()),
        idle_decisions=tuple(id for id in decisions if id not in list_ids(project, extras)),
        changes=changes,
        since=since,
        record=record,
        worth=rank_next(solved, chosen.next_std_mm) if chosen.what_next else None,
        left_out=tuple(label for label in list_labels(project, extras) if label.id in out),
    )


def look_for_doubts(solved: Solved) -> tuple[Doubts, Robust | None]:
    """Suspects in order, and the robust alternative where anything is amiss."""
    doubts = find_doubts(solved.adjustment)
    amiss = bool(doubts.found) or solved.adjustment.is_consistent is False
    return doubts, adjust_robustly(solved.adjustment) if amiss else None


def _scheduled(solved: Solved, name: str, printed: frozenset[str]) -> Scheduled:
    known = solved.is_known(name)
    size = solved.prototype(name) if known else None
    model = solved.model(name) if known else None
    sources = _sources(solved, name) if known else ()
    touched = touched_by(solved.project, name, printed)
    return Scheduled(
        id=name,
        prototype_mm=size,
        prototype_95_mm=None if size is None else COVERAGE * size.std,
        model_mm=model,
        model_95_mm=None if model is None else COVERAGE * model.std,
        unknown="" if known else solved.why_unknown(name),
        sources=sources,
        photographs=tuple(dict.fromkeys(item.id for item in sources if item.id.startswith(PHOTO_GROUP))),
        repeated=_repeated(solved, name),
        features=touched.features,
        parts=touched.parts,
        printed=touched.printed,
        joints=touched.joints,
        characteristics=touched.characteristics,
    )


def _sources(solved: Solved, name: str) -> tuple[SourceWeight, ...]:
    """Those that move a dimension, the weightiest first; then exact rows that it hangs on."""
    adjustment, place = solved.adjustment, solved.place(name)
    count, variance = adjustment.count, float(adjustment.covariance[place, place])
    gain = adjustment.gain[place]
    shares = gain * _weighed(solved, gain) / variance if variance > 0.0 else np.zeros(count)
    labels = solved.problem.labels
    moving = np.abs(shares) >= LEAST_SHARE if variance > 0.0 else np.abs(gain) >= 1e-6
    found = [
        _source(labels[row], float(gain[row]), float(shares[row])) for row in np.flatnonzero(moving).tolist()
    ]
    exact = np.abs(adjustment.moves[place, count:]) >= 1e-6
    found += [_source(labels[count + row], None, 0.0) for row in np.flatnonzero(exact).tolist()]
    return tuple(sorted(found, key=lambda item: (item.weight is None, -abs(item.variance_share))))


def _source(label: Label, weight: float | None, share: float) -> SourceWeight:
    stated = label.stated or ("exact" if label.std == 0 else f"std {label.std:g} {label.unit}".rstrip())
    return SourceWeight(
        label.id, label.words, stated, weight, share, label.source, label.date, label.reliability
    )


def _weighed(solved: Solved, gain: np.ndarray) -> np.ndarray:
    """(m,) covariance of the observations times a gain."""
    result, start = np.zeros(len(gain)), 0
    for block in solved.problem.covariance:
        part = slice(start, start + len(block))
        result[part] = block * gain[part] if block.ndim == 1 else block @ gain[part]
        start += len(block)
    return result


def _repeated(solved: Solved, name: str) -> Repeated | None:
    rows = [
        row for row, label in enumerate(solved.problem.labels) if label.single == name and label.std > 0.0
    ]
    if len(rows) < 2:
        return None
    start, full = 0, np.zeros((len(rows), len(rows)))
    for block in solved.problem.covariance:
        inside = [(place, row - start) for place, row in enumerate(rows) if start <= row < start + len(block)]
        for place, row in inside:
            for other, column in inside:
                full[place, other] = block[row, column] if block.ndim == 2 else block[row] * (row == column)
        start += len(block)
    return Repeated(len(rows), check_consistency(solved.problem.observed[rows], full))


def _tested(solved: Solved, robust: Robust | None) -> tuple[Tested, ...]:
    adjustment = solved.adjustment
    normalised, smallest = adjustment.normalised, adjustment.smallest_blunder
    redundancy = adjustment.redundancy
    lines = []
    for row, label in enumerate(solved.problem.labels):
        observed = row < adjustment.count
        lines.append(
            Tested(
                label=label,
                residual=float(adjustment.residual[row]) if observed else 0.0,
                normalised=_finite(normalised[row]),
                redundancy=min(max(float(redundancy[row]), 0.0), 1.0) if observed else None,
                smallest_blunder=_finite(smallest[row]),
                robust_weight=float(robust.weight[row]) if robust is not None and observed else None,
            )
        )
    return tuple(lines)


def _finite(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None


def _suspect(solved: Solved, doubt: Doubt, decisions: Mapping[str, Decision]) -> SuspectRow:
    label = solved.problem.labels[doubt.row]
    moved = []
    for name in solved.problem.names:
        if not solved.is_known(name):
            continue
        now = solved.prototype(name)
        then = solved.prototype(name, doubt.without.estimate, doubt.without.covariance)
        if abs(then.value - now.value) > 0.01 * max(now.std, 1e-9 * abs(now.value)):
            model = solved.model(name, doubt.without.estimate, doubt.without.covariance)
            moved.append(WithoutIt(name, then, model))
    touched = [touched_by(solved.project, item.id) for item in moved]
    return SuspectRow(
        label=label,
        normalised=doubt.normalised,
        limit=doubt.limit,
        size=doubt.size,
        size_std=doubt.size_std,
        alike=tuple(_named(solved.problem.labels[row]) for row in doubt.alike),
        without=tuple(moved),
        p_value=doubt.without.p_value,
        decision=decisions.get(label.id),
        features=tuple(dict.fromkeys(id for item in touched for id in item.features)),
        parts=tuple(dict.fromkeys(id for item in touched for id in item.parts)),
    )


def _named(label: Label) -> str:
    return f"{label.id} ({label.words})"


def _robust_sizes(solved: Solved, robust: Robust | None) -> dict[str, float]:
    if robust is None:
        return {}
    return {
        name: float(robust.estimate[place])
        for place, name in enumerate(solved.problem.names)
        if solved.is_known(name)
    }
