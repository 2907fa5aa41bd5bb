"""A scan in the ledger: where the file's points lie on the part, and what its joint faces measure."""

from __future__ import annotations

from typing import Any

from dryfit.app.scan_report import ScanReport

SCAN = "scan"


def scan_payload(report: ScanReport) -> dict[str, Any]:
    """What the ledger keeps of a scan. The file itself is not copied: its hash says which it was."""
    return {
        "part": report.part,
        "mesh_sha256": report.mesh.sha256,
        "file": report.file,
        "sha256": report.sha256,
        "unit": report.unit,
        "points": report.points,
        "share_on_part": report.share,
        "scatter_mm": report.scatter_mm,
        "scanner_std_mm": report.scanner_std_mm,
        "state": report.state,
        "is_ambiguous": report.is_ambiguous,
        "free_motions": [item.kind for item in report.free],
        "alignment": report.alignment,
        "datums": [item.feature for item in report.difference.datums] if report.difference else [],
        "rotation": report.motion.rotation.tolist(),
        "shift_mm": report.motion.shift_mm.tolist(),
        "pose_covariance_mm2": report.information.covariance.tolist(),
        "pose_middle_mm": report.information.middle.tolist(),
        "pose_length_mm": report.information.length_mm,
        "covered": report.statistics.covered,
        "rms_mm": report.statistics.rms_mm,
        "faces": [
            {
                "joint": face.joint,
                "other": face.other,
                "centre_mm": face.centre_mm.tolist(),
                "normal": face.normal.tolist(),
                "offset_mm": face.offset_mm,
                "std_mm": face.std_mm,
                "axes": None if face.axes is None else face.axes.tolist(),
                "tilt_deg": None if face.tilt_deg is None else list(face.tilt_deg),
                "tilt_std_deg": None if face.tilt_std_deg is None else list(face.tilt_std_deg),
                "reason": face.reason,
            }
            for face in report.faces
        ],
        "lengths": [
            {
                "joints": list(item.joints),
                "nominal_mm": item.nominal_mm,
                "change_mm": item.change_mm,
                "std_mm": item.std_mm,
            }
            for item in report.lengths
        ],
        "features": [
            {
                "id": item.id,
                "unit": item.unit,
                "value": item.value,
                "std": item.std,
                "decision": item.decision,
            }
            for item in report.features
        ],
    }
