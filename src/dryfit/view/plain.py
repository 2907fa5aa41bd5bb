"""Reports as plain tables for --json: documented keys, units in the names."""

from __future__ import annotations

from dataclasses import fields, is_dataclass
from pathlib import PurePath
from typing import Any

from dryfit.app.ready import HoldPoint
from dryfit.app.turning import Turned
from dryfit.model.finding import Finding
from dryfit.model.forecast import AsBuiltBasis, CharacteristicForecast, ForecastReport
from dryfit.view.forecast import forecast_state, state_of


def forecast_plain(report: ForecastReport) -> dict[str, Any]:
    """Keys of `dryfit forecast --json`."""
    bounds = report.p_any_out
    return {
        "project": report.project,
        "state": forecast_state(report),
        "risk": report.risk,
        "characteristics": [_characteristic(item, report.risk) for item in report.characteristics],
        "placing": [
            {
                "part": item.part,
                "free_motions": list(item.free_motions),
                "residual_rms_mm": item.residual_rms_mm,
                "shift_mm": list(item.shift_mm),
                "turn_deg": item.turn_deg,
                "joints": list(item.joints),
            }
            for item in report.placing
        ],
        "p_any_out_at_least": None if bounds is None else bounds[0],
        "p_any_out_at_most": None if bounds is None else bounds[1],
        "datum": report.datum,
        "order": list(report.order),
        "closing_joints": list(report.closing),
        "what_if": list(report.what_if),
        "assumptions": list(report.assumptions),
        "program_version": report.program_version,
        "input_hash": report.input_hash,
        "mesh_sha256": dict(report.mesh_hashes),
        "prior": [
            {
                "id": item.id,
                "state": state_of(item, report.risk),
                "predicted": item.predicted,
                "std": item.std,
                "low_95": item.low,
                "high_95": item.high,
                "p_out": item.p_out,
            }
            for item in report.prior
        ],
        "as_built": None if report.basis is None else basis_plain(report.basis),
    }


def basis_plain(basis: AsBuiltBasis) -> dict[str, Any]:
    """What a forecast owes to printed parts."""
    return {
        "printed": list(basis.printed),
        "readings": basis.count,
        "readings_by_part": dict(basis.readings),
        "readings_of_earlier_prints": basis.earlier,
        "readings_left_out": basis.left_out,
        "suspects": [
            {
                "part": item.part,
                "records": list(item.records),
                "measure": item.words,
                "value_mm": item.value_mm,
                "off_mm": item.off_mm,
                "off_std_mm": item.off_std_mm,
                "normalised": item.normalised,
                "is_confirmed": item.is_confirmed,
            }
            for item in basis.suspects
        ],
        "suspect_from": basis.limit,
        "suspect_parts": [to_plain(item) for item in basis.suspect_parts],
        "off_of_themselves": [to_plain(item) for item in basis.of_themselves],
        "figures": [to_plain(item) for item in basis.figures],
        "cautions": list(basis.cautions),
    }


def _characteristic(item: CharacteristicForecast, risk: float) -> dict[str, Any]:
    return {
        "id": item.id,
        "kind": item.kind,
        "unit": item.unit,
        "state": state_of(item, risk),
        "nominal": item.nominal,
        "predicted": item.predicted,
        "std": item.std,
        "low_95": item.low,
        "high_95": item.high,
        "lower_limit": item.lower_limit,
        "upper_limit": item.upper_limit,
        "p_out": item.p_out,
        "worst_low": item.worst_low,
        "worst_high": item.worst_high,
        "linear_minus_exact": item.linear_minus_exact,
        "linear_is_doubtful": item.is_linear_doubtful,
        "contributions": [
            {"source": cause.source, "variance_share": cause.variance_share, "mean_shift": cause.mean_shift}
            for cause in item.contributions
        ],
        "free_parts": list(item.free_parts),
        "samples": item.samples,
    }


def hold_point_plain(report: HoldPoint) -> dict[str, Any]:
    """Keys of `dryfit ready --json`."""
    return {
        "project": report.project,
        "before": report.stage,
        "state": report.state,
        "checks": [to_plain(check) for check in report.checks],
        "forecast": forecast_plain(report.forecast),
    }


def turned_plain(turned: Turned) -> dict[str, Any]:
    """Keys of `dryfit orient --json`."""
    plain: dict[str, Any] = to_plain(turned.report)
    return {**plain, "diff": turned.diff, "written": turned.written}


def finding_plain(item: Finding) -> dict[str, Any]:
    """What a finding says, without what it is about."""
    return {
        "state": item.state,
        "what": item.what,
        "do": item.do,
        "count": item.count,
        "amount": item.amount,
        "unit": item.unit,
        "places_mm": item.places_mm.tolist(),
    }


def to_plain(value: Any) -> Any:
    """A report record as tables and lists under its own field names."""
    if is_dataclass(value) and not isinstance(value, type):
        return {field.name: to_plain(getattr(value, field.name)) for field in fields(value)}
    if isinstance(value, dict):
        return {str(key): to_plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [to_plain(item) for item in value]
    if isinstance(value, PurePath):
        return str(value)
    if value is None or isinstance(value, str | int | float | bool):
        return value
    raise TypeError(f"no plain form for {type(value).__name__}")
