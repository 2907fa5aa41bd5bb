"""What the evidence says at the hold point before printing."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from dryfit.app.hold_lines import Check
from dryfit.app.photo_size_records import PhotoEvidence
from dryfit.app.schedule_changes import changes_since, last_schedule, printed_parts, touched_by
from dryfit.app.schedule_decisions import Decision, decisions_of
from dryfit.app.schedule_solving import Solved, has_evidence, left_out, solve
from dryfit.base.errors import DryfitError
from dryfit.calc.adjust import Doubt, find_doubts
from dryfit.model.project import Project
from dryfit.store.ledger import LedgerRecord

_TOPIC = "schedule"
_NAMED = 6


def schedule_lines(
    project: Project, records: Sequence[LedgerRecord], photographs: PhotoEvidence | None = None
) -> Iterator[Check]:
    """A line for each suspect, unknown dimension, decision and moved nominal; one where all is clear.

    photographs : what they say; what of it is not used has a line of its own
    """
    evidence = photographs or PhotoEvidence()
    for item in evidence.not_used:
        sizes = f" ({', '.join(item.sizes)})" if item.sizes else ""
        yield Check(
            _TOPIC, f"photo {', '.join(item.photos)}{sizes}", "not checked", f"not used: {item.why}", item.do
        )
    if not has_evidence(project, evidence.extras):
        return
    decisions = decisions_of(records)
    try:
        solved = solve(project, evidence.extras, left_out(decisions))
    except DryfitError as error:
        yield Check(_TOPIC, "dimensions", "stop", error.what, error.do)
        return
    lines = [
        *_suspects(solved, decisions),
        *_unknown(solved),
        *_moved(solved, records),
    ]
    yield from lines
    if not any(line.state in ("stop", "not checked") for line in lines):
        yield from _agreement(solved)


def _suspects(solved: Solved, decisions: Mapping[str, Decision]) -> Iterator[Check]:
    for doubt in find_doubts(solved.adjustment).found:
        label = solved.problem.labels[doubt.row]
        kept = decisions.get(label.id)
        off = f"off by {doubt.size:+.4g} {label.unit}".rstrip()
        reason = f"{label.words} is {off}, {abs(doubt.normalised):.1f} times the std of that{_rests(solved, doubt)}"
        if kept is not None:
            yield Check(_TOPIC, label.id, "caution", f"{reason}; kept knowingly: {kept.because}")
            continue
        yield Check(
            _TOPIC,
            label.id,
            "stop",
            reason,
            f'correct it, or decide: dryfit schedule --without "{label.id}" --because TEXT, or --keep',
        )


def _rests(solved: Solved, doubt: Doubt) -> str:
    """Parts whose features take their nominal from what a suspect moves."""
    moved = [
        name
        for place, name in enumerate(solved.problem.names)
        if solved.is_known(name)
        and abs(doubt.without.estimate[place] - solved.adjustment.estimate[place])
        > 0.01 * max(float(solved.adjustment.std[place]), 1e-9)
    ]
    parts = list(dict.fromkeys(part for name in moved for part in touched_by(solved.project, name).parts))
    if not parts:
        return ""
    more = f" and {len(parts) - _NAMED} more" if len(parts) > _NAMED else ""
    return f"; modelled to it: {', '.join(parts[:_NAMED])}{more}"


def _unknown(solved: Solved) -> Iterator[Check]:
    for name in solved.problem.names:
        if not solved.is_known(name):
            yield Check(
                _TOPIC,
                name,
                "not checked",
                solved.why_unknown(name),
                "add an [[observation]] of it, or a relation to what is known",
            )


def _moved(solved: Solved, records: Sequence[LedgerRecord]) -> Iterator[Check]:
    """Features whose nominal is another one than when the schedule was last looked at."""
    last = last_schedule(tuple(records))
    if last is None:
        return
    for change in changes_since(last, solved, printed_parts(tuple(records))):
        before, after = change.model_before_mm, change.model_after_mm
        if before is None or after is None or abs(after.value - before.value) <= 1e-6 * abs(before.value):
            continue
        parts = ", ".join(change.touched.parts[:_NAMED])
        printed = [part for part in change.touched.parts if part in change.touched.printed]
        done = f"; printed already: {', '.join(printed[:_NAMED])}" if printed else "; none of them is printed"
        for feature in change.touched.features:
            yield Check(
                _TOPIC,
                feature,
                "caution",
                f"its nominal moved from {before.value:.5g} to {after.value:.5g} mm since the schedule was last "
                f"looked at, on {last.recorded_at[:10]}; parts {parts}{done}",
                "see what the change touches: dryfit schedule",
            )


def _agreement(solved: Solved) -> Iterator[Check]:
    adjustment = solved.adjustment
    count = f"{len(solved.problem.names)} dimensions"
    if adjustment.is_consistent is None:
        yield Check(
            _TOPIC,
            count,
            "caution",
            "no observation is controlled by another: a gross error would not show",
            "measure something twice, or add a relation: dryfit schedule --what-next",
        )
    elif not adjustment.is_consistent:
        yield Check(
            _TOPIC,
            count,
            "caution",
            f"the observations disagree more than they state, by a factor of {adjustment.unit_std:.1f}, and none alone "
            "is to blame",
            "look whether their standard uncertainties are meant so: dryfit schedule",
        )
    else:
        yield Check(_TOPIC, count, "pass", "the evidence agrees within what it states")
