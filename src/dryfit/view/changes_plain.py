"""Keys of `dryfit changes --json`."""

from __future__ import annotations

from typing import Any

from dryfit.app.changes import ChangesReport, Side
from dryfit.app.changes_effects import DimensionMove, FeatureMove, OutcomeMove
from dryfit.app.changes_parts import PartChange
from dryfit.app.changes_price import Amount, PieceFate, ToCome
from dryfit.base.estimate import Estimate
from dryfit.calc.revision import Region
from dryfit.model.finding import MeasuredFeature
from dryfit.view.change_words import change_words
from dryfit.view.changes import changes_state, verdict
from dryfit.view.plain import to_plain


def changes_plain(report: ChangesReport) -> dict[str, Any]:
    """The whole comparison, without the meshes and the maps over them."""
    move = report.forecast
    return {
        "project": report.project,
        "state": changes_state(report),
        "verdict": verdict(report),
        "touches_printed": report.price.is_touched,
        "before": _side(report.before),
        "after": _side(report.after),
        "printed": [_piece(piece) for piece in report.price.pieces],
        "to_come": [_to_come(row) for row in report.price.to_come],
        "document": [
            {
                "table": change.table,
                "row": change.row,
                "key": list(change.key),
                "kind": change.kind,
                "before": change.before,
                "after": change.after,
                "words": change_words(change),
                "touches": list(change.touches),
            }
            for change in report.document
        ],
        "dimensions": [_dimension(item) for item in report.dimensions],
        "parts": [_part(part) for part in report.parts],
        "features": [_feature(item) for item in report.features],
        "joints": [to_plain(item) for item in report.joints],
        "forecast": {
            "characteristics": [_outcome(row) for row in move.outcomes],
            "refused_before": move.refused_before or None,
            "refused_after": move.refused_after or None,
            "recorded_otherwise": list(move.recorded),
            "versions": list(move.versions),
            "order": list(move.order),
        },
        "rules": to_plain(report.bench),
    }


def _side(side: Side) -> dict[str, Any]:
    release = side.release
    return {
        "name": side.name,
        "letter": None if release is None else release.letter,
        "record": None if release is None else release.record,
        "at": None if release is None else release.at,
        "program_version": None if release is None else release.program_version,
        "unread_parts": list(side.unread),
        "damaged_copies": [to_plain(fault) for fault in side.faults],
        "notes": list(side.notes),
    }


def _piece(piece: PieceFate) -> dict[str, Any]:
    return {
        "part": piece.part,
        "print": piece.print.record,
        "release": piece.print.release or None,
        "state": piece.state,
        "reasons": list(piece.reasons),
        "hours": _amount(piece.hours),
        "grams": _amount(piece.grams),
    }


def _to_come(row: ToCome) -> dict[str, Any]:
    return {"part": row.part, "again": row.is_again, "hours": _amount(row.hours), "grams": _amount(row.grams)}


def _amount(amount: Amount) -> dict[str, Any]:
    return {"value": amount.value, "estimated": amount.is_estimate, "from": amount.whence}


def _dimension(move: DimensionMove) -> dict[str, Any]:
    return {
        "id": move.id,
        "prototype_before_mm": _estimate(move.prototype_before_mm),
        "prototype_after_mm": _estimate(move.prototype_after_mm),
        "model_before_mm": _estimate(move.model_before_mm),
        "model_after_mm": _estimate(move.model_after_mm),
        "significant": move.is_significant,
        "touches": to_plain(move.touched),
    }


def _part(part: PartChange) -> dict[str, Any]:
    motion, found = part.motion, part.deviation
    return {
        "id": part.id,
        "id_before": part.old_id,
        "kind": part.kind,
        "renamed": part.is_renamed,
        "reason": part.reason,
        "motion": None
        if motion is None
        else {
            "rotation": motion.rotation.tolist(),
            "translation_mm": motion.translation_mm.tolist(),
            "turn_deg": motion.turn_deg,
            "axis": motion.axis.tolist(),
            "shift_mm": motion.shift_mm.tolist(),
        },
        "deviation": None
        if found is None
        else {
            "largest_mm": found.largest_mm,
            "rms_mm": found.rms_mm,
            "added_mm": found.added_mm,
            "removed_mm": found.removed_mm,
            "area_mm2": sum(region.area_mm2 for region in part.regions),
            "spacing_mm": found.spacing_mm,
            "signed": found.is_signed,
        },
        "regions": [_region(region) for region in part.regions],
        "unit_factor": None if part.factor is None else part.factor[0],
        "facets_mm": part.facets_mm,
    }


def _region(region: Region) -> dict[str, Any]:
    return {
        "largest_mm": region.largest_mm,
        "place_mm": region.place_mm.tolist(),
        "box_mm": region.box_mm.tolist(),
        "area_mm2": region.area_mm2,
        "normal": region.normal.tolist(),
    }


def _feature(move: FeatureMove) -> dict[str, Any]:
    return {"id": move.id, "before": _measured(move.before), "after": _measured(move.after)}


def _measured(item: MeasuredFeature | None) -> dict[str, Any] | None:
    if item is None:
        return None
    return {
        "state": item.state,
        "unit": item.unit,
        "measured": item.measured,
        "nominal": _estimate(item.nominal),
        "lower": item.lower,
        "upper": item.upper,
        "reason": item.reason,
    }


def _outcome(row: OutcomeMove) -> dict[str, Any]:
    plain: dict[str, Any] = to_plain(row.change)
    return {**plain, "kind": row.kind, "state_before": row.state_before, "state_after": row.state_after}


def _estimate(value: Estimate | None) -> dict[str, float] | None:
    return None if value is None else {"value": value.value, "std": value.std}
