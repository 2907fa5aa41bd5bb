"""What the checks of parts say at the hold point before printing."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from dryfit.app.checking import PartsReport, dependents_words, grouped
from dryfit.app.hold_lines import Check
from dryfit.base.naming import list_some
from dryfit.model.finding import Finding, MeasuredFeature
from dryfit.model.project import Project

_ROOM = "build volume"
_NAMED = 4  # parts named in one line; the sheet of parts names all


def part_lines(project: Project, report: PartsReport | None) -> Iterator[Check]:
    """One line for each feature and finding that is not clear, one for each topic that is."""
    if not project.parts:
        return
    if report is None:
        yield Check(
            "parts",
            _counted(len(project.parts), "part"),
            "not checked",
            "features, health, walls, overlaps and weights were not looked at since the last change",
            "check them: dryfit parts",
        )
        return
    yield from _features(report.features)
    yield from _findings(report.findings)


def too_large_parts(report: PartsReport | None) -> frozenset[str]:
    """Parts that stop already because they do not fit their machine as modelled."""
    found = () if report is None else report.findings
    return frozenset(item.parts[0] for item in found if item.topic == _ROOM and item.state == "stop")


def _features(features: Sequence[MeasuredFeature]) -> Iterator[Check]:
    if not features:
        yield Check(
            "feature",
            "all parts",
            "not checked",
            "no feature is stated: nothing says what size the parts must have",
            "state sizes of the drawing: dryfit feature add",
        )
        return
    clear = 0
    for item in features:
        if item.state == "pass":
            clear += 1
            continue
        rests = f"; on it rest {dependents_words(item.dependents, _NAMED)}" if item.dependents else ""
        yield Check("feature", item.id, item.state, item.reason + rests, item.do)
    if clear:
        yield Check("feature", _counted(clear, "feature"), "pass", "the meshes measure what the drawing says")


def _findings(findings: Sequence[Finding]) -> Iterator[Check]:
    for item, names in grouped(item for item in findings if item.state != "pass"):
        yield Check(item.topic, list_some(names, _NAMED), item.state, item.what, item.do)
    clear: dict[str, set[str]] = {}
    doubtful = {(item.topic, name) for item in findings if item.state != "pass" for name in item.parts}
    for item in findings:
        if item.state == "pass" and item.topic != _ROOM:
            sound = {name for name in item.parts if (item.topic, name) not in doubtful}
            clear.setdefault(item.topic, set()).update(sound)
    for topic, parts in clear.items():
        if parts:
            yield Check(topic, _counted(len(parts), "part"), "pass", "nothing found")


def _counted(count: int, noun: str) -> str:
    return f"{count} {noun}" if count == 1 else f"{count} {noun}s"
