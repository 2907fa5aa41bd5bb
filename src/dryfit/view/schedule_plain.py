"""The dimension schedule as plain tables for --json."""

from __future__ import annotations

from typing import Any

from dryfit.app.schedule_changes import DimensionChange
from dryfit.app.schedule_report import Repeated, Scheduled, ScheduleReport, SuspectRow, Tested
from dryfit.base.estimate import Estimate
from dryfit.view.plain import to_plain


def schedule_plain(report: ScheduleReport) -> dict[str, Any]:
    """Keys of `dryfit schedule --json`."""
    return {
        "project": report.project,
        "invented": report.invented,
        "state": report.state,
        "record": report.record,
        "scale": None if report.scale is None else {"value": report.scale.value, "std": report.scale.std},
        "scale_from": report.scale_from or None,
        "global_test": {"vpv": report.vpv, "dof": report.dof, "p_value": report.p_value},
        "critical": report.critical,
        "level": report.level,
        "dimensions": [_dimension(item, report) for item in report.dimensions],
        "observations": [_tested(item) for item in report.tested],
        "suspects": [_suspect(item) for item in report.suspects],
        "decisions": [
            {
                "id": item.id,
                "verb": item.verb,
                "because": item.because,
                "record": item.record,
                "at": item.at,
                "names_nothing": item.id in report.idle_decisions,
            }
            for item in report.decisions
        ],
        "since": report.since or None,
        "changes": [_change(item) for item in report.changes],
        "what_next": None if report.worth is None else to_plain(report.worth),
    }


def _size(prefix: str, size: Estimate | None) -> dict[str, float | None]:
    return {
        f"{prefix}_mm": None if size is None else size.value,
        f"{prefix}_std_mm": None if size is None else size.std,
    }


def _dimension(item: Scheduled, report: ScheduleReport) -> dict[str, Any]:
    return {
        "id": item.id,
        **_size("prototype", item.prototype_mm),
        "prototype_95_mm": item.prototype_95_mm,
        **_size("model", item.model_mm),
        "model_95_mm": item.model_95_mm,
        "unknown": item.unknown or None,
        "robust_mm": report.robust.get(item.id),
        "sources": [to_plain(source) for source in item.sources],
        "photographs": list(item.photographs),
        "repeated": None if item.repeated is None else _repeated(item.repeated),
        "features": list(item.features),
        "parts": list(item.parts),
        "joints": list(item.joints),
        "characteristics": list(item.characteristics),
        "printed": list(item.printed),
    }


def _repeated(item: Repeated) -> dict[str, Any]:
    found = item.consistency
    return {
        "values": item.count,
        "mean_mm": found.mean,
        "std_mm": found.std,
        "chi2": found.chi2,
        "p_value": found.p_value,
        "birge_ratio": found.birge,
        "expansion": found.expansion,
        "between_mm": found.between,
        "between_mean_mm": found.between_mean,
        "between_std_mm": found.between_std,
    }


def _tested(item: Tested) -> dict[str, Any]:
    label = item.label
    return {
        "id": label.id,
        "kind": label.kind,
        "of": label.words,
        "unit": label.unit,
        "value": label.value,
        "std": label.std,
        "stated": label.stated,
        "source": label.source,
        "date": label.date,
        "reliability": label.reliability,
        "residual": item.residual,
        "normalised": item.normalised,
        "redundancy": item.redundancy,
        "smallest_blunder": item.smallest_blunder,
        "robust_weight": item.robust_weight,
    }


def _suspect(item: SuspectRow) -> dict[str, Any]:
    return {
        "id": item.label.id,
        "of": item.label.words,
        "unit": item.label.unit,
        "normalised": item.normalised,
        "limit": item.limit,
        "size": item.size,
        "size_std": item.size_std,
        "alike": list(item.alike),
        "without": [
            {"id": moved.id, **_size("prototype", moved.prototype_mm), **_size("model", moved.model_mm)}
            for moved in item.without
        ],
        "p_value_without": item.p_value,
        "kept_because": None if item.decision is None else item.decision.because,
        "features": list(item.features),
        "parts": list(item.parts),
    }


def _change(item: DimensionChange) -> dict[str, Any]:
    sizes = {
        "prototype_before": item.prototype_before_mm,
        "prototype_after": item.prototype_after_mm,
        "model_before": item.model_before_mm,
        "model_after": item.model_after_mm,
    }
    plain: dict[str, Any] = {"id": item.id}
    for name, size in sizes.items():
        plain[f"{name}_mm"] = None if size is None else size.value
        plain[f"{name}_std_mm"] = None if size is None else size.std
    touched: dict[str, Any] = to_plain(item.touched)
    return plain | touched
