"""The checks of parts in rows and sentences, and as plain tables for --json."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from dryfit.app.checking import PartCheck, PartsReport, dependents_words, grouped
from dryfit.app.printing_checks_walls import least_wall_mm
from dryfit.base.estimate import Estimate
from dryfit.calc.thickness import wall_histogram
from dryfit.model.finding import GRAVITY, Finding, MeasuredFeature
from dryfit.view.blocks import Block, Heading, Sentence, Table
from dryfit.view.digits import NONE, write_estimate, write_limits, write_number, write_signed, write_vector
from dryfit.view.plain import finding_plain
from dryfit.view.weights import weight_blocks, weights_plain

HISTOGRAM_BINS = 24
SHOWN_NAMES = 6
_SHOWN_STD = 0.001  # mm or degrees: below this a fit is as good as exact, beside anything that is printed


def parts_blocks(report: PartsReport, brief: bool = False) -> list[Block]:
    """What the checks found: features first, then every finding that is not clear, then what is.

    brief: only what is not clear.
    """
    blocks: list[Block] = [Heading(f"{report.project}: {parts_verdict(report)}", report.state)]
    blocks += feature_blocks(report.features, brief)
    blocks += finding_blocks(report.findings)
    if not brief:
        blocks += [part_table(report), *clear_blocks(report.findings), *weight_blocks(report.weights)]
        blocks += [Sentence(f"assumed: {note}", mark=True) for note in report.notes]
    return blocks


def parts_verdict(report: PartsReport) -> str:
    """The one sentence of the report."""
    count = len(report.parts)
    parts = f"{count} part{'' if count == 1 else 's'}"
    if report.state == "pass":
        return f"{parts}, all checks clear"
    states = [item.state for item in report.findings] + [item.state for item in report.features]
    counted = ", ".join(f"{states.count(state)} {state}" for state in GRAVITY[:3] if state in states)
    return f"{parts}: {counted}"


def feature_blocks(features: Sequence[MeasuredFeature], brief: bool = False) -> list[Block]:
    """A row for every feature, and in words what is not clear."""
    shown = [item for item in features if not brief or item.state != "pass"]
    if not shown:
        return []
    rows = tuple(
        (
            item.id,
            item.state,
            item.kind,
            measured_words(item),
            nominal_words(item),
            deviation_words(item),
            write_limits(item.lower, item.upper),
            item.limits_from or NONE,
        )
        for item in shown
    )
    heads = ("feature", "state", "kind", "in the mesh", "nominal", "deviation", "limits", "limits from")
    states = tuple(item.state for item in shown)
    blocks: list[Block] = [Table(heads, rows, frozenset({3, 4, 5, 6}), states)]
    blocks += [Sentence(feature_words(item, brief), item.state) for item in shown if item.state != "pass"]
    return blocks


def feature_words(item: MeasuredFeature, brief: bool = False) -> str:
    """Why a feature is in its state, what rests on it and what to do."""
    words = f"{item.id}: {item.reason}."
    if item.dependents:
        words += f" On it rest {dependents_words(item.dependents, SHOWN_NAMES if brief else None)}."
    return f"{words} {_sentence(item.do)}".rstrip()


def measured_words(item: MeasuredFeature) -> str:
    """The measured value with its unit."""
    if item.measured is None:
        return NONE
    if item.std >= _SHOWN_STD:
        return f"{write_estimate(item.measured, item.std)} {item.unit}"
    return f"{write_number(item.measured)} {item.unit}"


def nominal_words(item: MeasuredFeature) -> str:
    """The nominal with what is known of it."""
    if item.nominal is None:
        return NONE
    if item.nominal.std > 0:
        return write_estimate(item.nominal.value, item.nominal.std)
    return write_number(item.nominal.value)


def deviation_words(item: MeasuredFeature) -> str:
    """Measured minus nominal, signed; of a nominal that is uncertain to the digits that are known of it."""
    if item.deviation is None:
        return NONE
    std = 0.0 if item.nominal is None else item.nominal.std
    if std > 0.0:
        return write_signed(item.deviation, std)
    text = write_number(item.deviation)
    return text if text.startswith("-") or text == "0" else f"+{text}"


def finding_blocks(findings: Sequence[Finding]) -> list[Block]:
    """Every finding that is not clear, gravest first; one sentence for what several parts share."""
    blocks: list[Block] = []
    for state in GRAVITY[:3]:
        blocks += [
            Sentence(f"{finding.topic}: {_listed(names)}: {finding_words(finding)}", state)
            for finding, names in grouped([item for item in findings if item.state == state])
        ]
    return blocks


def finding_words(finding: Finding) -> str:
    """What was found and what to do."""
    return f"{finding.what}. {_sentence(finding.do)}".rstrip()


def clear_blocks(findings: Sequence[Finding]) -> list[Block]:
    """How many parts each check found nothing at; what it said of each stands in --json and on the page."""
    doubtful = {(item.topic, part) for item in findings if item.state != "pass" for part in item.parts}
    clear: dict[str, set[str]] = {}
    for item in findings:
        named = {part for part in item.parts if (item.topic, part) not in doubtful}
        if item.state == "pass" and named:
            clear.setdefault(item.topic, set()).update(named)
    counted = ", ".join(f"{topic} {len(names)}" for topic, names in clear.items())
    return [Sentence(f"Parts at which nothing was found: {counted}.", "pass")] if clear else []


def part_table(report: PartsReport) -> Table:
    """A row for every part."""
    rows = tuple(
        (
            f"{part.id} ({as_words(part)})" if part.as_part else part.id,
            part.state,
            part.machine,
            part.material,
            write_vector(part.size_mm),
            f"{part.triangles:,}",
            "closed" if part.is_closed else "open",
            least_wall_words(part),
        )
        for part in report.parts
    )
    heads = (
        "part",
        "state",
        "machine",
        "material",
        "size in mm",
        "triangles",
        "surface",
        "thinnest wall in mm",
    )
    return Table(heads, rows, frozenset({4, 5, 7}), tuple(part.state for part in report.parts))


def as_words(part: PartCheck) -> str:
    """That another part was examined for this one, which is its copy; "" where it was examined for itself."""
    return f"as {part.as_part}" if part.as_part else ""


def least_wall_words(part: PartCheck) -> str:
    """The thinnest wall that was measured, or that none was."""
    if part.thickness is None:
        return "not measured"
    least = least_wall_mm(part.thickness)
    return NONE if least is None else f"{least:.2f}"


def parts_plain(report: PartsReport) -> dict[str, Any]:
    """Keys of `dryfit parts --json`."""
    return {
        "project": report.project,
        "state": report.state,
        "parts": [_part(part) for part in report.parts],
        "features": [feature_plain(item) for item in report.features],
        "assembly": [_finding(item) for item in report.assembly],
        "weights": weights_plain(report.weights),
        "assumptions": list(report.notes),
    }


def _part(part: PartCheck) -> dict[str, Any]:
    return {
        "id": part.id,
        "state": part.state,
        "machine": part.machine,
        "material": part.material,
        "size_mm": list(part.size_mm),
        "triangles": part.triangles,
        "is_closed": part.is_closed,
        "mesh_sha256": part.sha256,
        "is_kept_result": part.is_kept,
        "examined_as": part.as_part or None,
        "least_wall_mm": None if part.thickness is None else least_wall_mm(part.thickness),
        "walls_not_measured": part.no_walls or None,
        "walls": None if part.thickness is None else _walls(part),
        "findings": [_finding(item) for item in part.findings],
    }


def _walls(part: PartCheck) -> dict[str, Any]:
    thickness = part.thickness
    assert thickness is not None
    most = max(part.size_mm) / 4 or 1.0
    held = wall_histogram(thickness, most, HISTOGRAM_BINS)
    return {
        "samples": len(thickness.points),
        "sampling": thickness.density,
        "up_to_mm": [float(value) if value != float("inf") else None for value in held.edges_mm[1:]],
        "area_mm2": [float(value) for value in held.area_mm2],
    }


def feature_plain(item: MeasuredFeature) -> dict[str, Any]:
    """One measured feature."""
    return {
        "id": item.id,
        "kind": item.kind,
        "parts": list(item.parts),
        "unit": item.unit,
        "state": item.state,
        "reason": item.reason,
        "do": item.do,
        "measured": item.measured,
        "measured_std": item.std,
        "nominal": None if item.nominal is None else item.nominal.value,
        "nominal_std": None if item.nominal is None else item.nominal.std,
        "nominal_from": item.nominal_from,
        "deviation": item.deviation,
        "deviation_in_std_of_nominal": _ratio(item.deviation, item.nominal),
        "lower_limit": item.lower,
        "upper_limit": item.upper,
        "limits_from": item.limits_from,
        "notes": list(item.notes),
        "anchors_mm": item.anchors_mm.tolist(),
        "dependents": list(item.dependents),
    }


def _ratio(deviation: float | None, nominal: Estimate | None) -> float | None:
    if deviation is None or nominal is None or nominal.std == 0:
        return None
    return deviation / nominal.std


def _finding(item: Finding) -> dict[str, Any]:
    return {"topic": item.topic, "parts": list(item.parts), **finding_plain(item)}


def _listed(names: Sequence[str]) -> str:
    if len(names) <= SHOWN_NAMES:
        return ", ".join(names)
    return f"{', '.join(names[:SHOWN_NAMES])} and {len(names) - SHOWN_NAMES} more"


def _sentence(words: str) -> str:
    return f"{words[0].upper()}{words[1:]}." if words else ""
