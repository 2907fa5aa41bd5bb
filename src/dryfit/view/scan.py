"""A scan against its part, in words and rows."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from dryfit.app.scan_report import Decision, ScannedFeature, ScanReport
from dryfit.base.arrays import Array
from dryfit.calc.scans import Alternative, FreeMotion
from dryfit.model.finding import State
from dryfit.view.blocks import Block, Heading, Sentence, Table
from dryfit.view.digits import NONE, write_estimate, write_limits, write_number

STATE_OF: dict[Decision, State] = {
    "accept": "pass",
    "reject": "stop",
    "cannot tell": "caution",
    "not decided": "not checked",
}
_NUMBERS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")
_MOST_GROUPS = 7


def scan_blocks(report: ScanReport) -> list[Block]:
    """The whole report for the terminal."""
    return [
        Heading(_headline(report), report.state),
        *_fit(report),
        *_ways(report),
        *_difference(report),
        *_deviations(report),
        *_faces(report),
        *_features(report),
        *(Sentence(note, mark=True) for note in report.notes),
        *_kept(report),
    ]


def _headline(report: ScanReport) -> str:
    figures = report.statistics
    if report.is_ambiguous:
        said = f"the scan fits in {_count(len(report.alternatives) + 1)} ways"
    else:
        said = f"95 % of the surface seen lies within {write_number(figures.size_95_mm, 3)} mm of the model"
    return f"{report.project}: scan of {report.part}: {said}"


def _fit(report: ScanReport) -> list[Block]:
    gone = sum(report.left_out)
    beyond, alone, local = report.left_out
    turn, shift = _pose_std(report)
    words = "by best fit" if report.alignment == "best fit" else "by its datums"
    blocks: list[Block] = [
        Sentence(
            f"{report.points} points, laid on the part {words}; {_percent(report.share)} lie on it, with a scatter of "
            f"{write_number(report.scatter_mm, 4)} mm. The position is known to {write_number(shift, 4)} mm and "
            f"{write_number(turn, 4)} degrees (standard uncertainty, where least certain)."
        ),
        Sentence(
            f"{gone} points are left out: {beyond} too far from the part, {alone} alone in the room, {local} off their "
            f"surroundings. The scan shows {_percent(report.statistics.covered)} of the surface; of the rest nothing "
            "is said."
        ),
    ]
    if report.is_scale_off:
        scale, std = report.information.scale, report.information.scale_std
        blocks.append(
            Sentence(
                f"As a whole the scan is {write_estimate(scale, std)} times the size of the model: shrinkage, a fault "
                "of scale in the machine or in the scanner. Nothing was rescaled.",
                "caution",
            )
        )
    return blocks


def _ways(report: ScanReport) -> list[Block]:
    blocks: list[Block] = [
        Sentence(
            f"Not determined: {_free_words(motion)}. It stays where it was found, and what depends on that is chance.",
            "caution",
        )
        for motion in report.free
    ]
    if report.is_ambiguous:
        ways = _grouped(report.alternatives)
        blocks += [Sentence(f"{_capital(words)} fits as well.", "not checked") for words in ways]
        blocks.append(
            Sentence(
                "The part looks alike in these positions, so what was found may belong to another side. Mark one spot "
                "before scanning, and state where it lies: --mark SCAN_X,SCAN_Y,SCAN_Z=PART_X,PART_Y,PART_Z."
            )
        )
    elif report.runner_up is not None:
        item = report.runner_up
        rise = write_number(item.comparison.significance, 0)
        blocks.append(
            Sentence(
                f"The next best position ({alternative_words(item)}) fits clearly worse, by {rise} standard "
                "uncertainties."
            )
        )
    return blocks


def _grouped(alternatives: Sequence[Alternative]) -> list[str]:
    """The positions in words, those about one axis together, so many as one reads."""
    groups: list[list[Alternative]] = []
    for item in alternatives:
        for group in groups:
            if _is_same_axis(group[0], item):
                group.append(item)
                break
        else:
            groups.append([item])
    words = []
    for group in groups:
        first = group[0]
        if len(group) == 1:
            words.append(alternative_words(first))
            continue
        turns = sorted({round(_turn_about(first.axis, item)) % 360 for item in group})
        listed = ", ".join(str(turn) for turn in turns[:12]) + (" and more" if len(turns) > 12 else "")
        words.append(f"turned by {listed} degrees about {_axis(first.axis)} through {_place(first.point_mm)}")
    if len(words) > _MOST_GROUPS:
        rest = len(words) - _MOST_GROUPS
        words = [*words[:_MOST_GROUPS], f"{_count(rest)} more such turns about other axes: each"]
    return words


def _is_same_axis(one: Alternative, other: Alternative) -> bool:
    if min(one.angle_deg, other.angle_deg) < 0.05 or max(abs(one.along_mm), abs(other.along_mm)) > 1.0:
        return False
    apart = np.cross(other.point_mm - one.point_mm, one.axis)
    return abs(float(one.axis @ other.axis)) > 0.9995 and float(np.linalg.norm(apart)) < 2.0


def _turn_about(axis: Array, item: Alternative) -> float:
    return item.angle_deg if float(axis @ item.axis) > 0.0 else 360.0 - item.angle_deg


def alternative_words(item: Alternative) -> str:
    """Such as "turned by 180 degrees about z through (0.0, 0.0, 12.5)"."""
    if item.angle_deg < 0.05:
        return f"shifted by {write_number(item.along_mm, 2)} mm along {_axis(item.axis)}"
    angle = write_number(item.angle_deg, 1)
    words = f"turned by {angle} degrees about {_axis(item.axis)} through {_place(item.point_mm)}"
    if abs(item.along_mm) > 0.05:
        words += f" and shifted by {write_number(item.along_mm, 2)} mm along it"
    return words


def _free_words(motion: FreeMotion) -> str:
    if motion.kind == "shift":
        return f"the scan can slide along {_axis(motion.axis)}"
    if motion.kind == "screw":
        return f"the scan can screw along the axis {_axis(motion.axis)} through {_place(motion.point_mm)}"
    return f"the scan can turn about the axis {_axis(motion.axis)} through {_place(motion.point_mm)}"


def _axis(axis: Array) -> str:
    for name, unit in zip("xyz", np.eye(3), strict=True):
        along = float(axis @ unit)
        if abs(along) > 0.9998:
            return name if along > 0 else f"-{name}"
    return f"({', '.join(f'{value:.3f}' for value in axis)})"


def _place(point: Array) -> str:
    return f"({', '.join(write_number(float(value), 1) for value in point)})"


def _difference(report: ScanReport) -> list[Block]:
    if report.difference is None:
        return []
    difference = report.difference
    turn = ", ".join(f"{value:+.4f}" for value in difference.turn_deg)
    shift = ", ".join(f"{value:+.4f}" for value in difference.shift_mm)
    blocks: list[Block] = [
        Sentence(
            f"The datums lay the scan otherwise than the best fit: turned by ({turn}) degrees about x, y, z and "
            f"shifted by ({shift}) mm at the middle of the part; no corner of its box moves by more than "
            f"{write_number(difference.largest_mm, 3)} mm. All figures below are by the datums."
        ),
        Table(
            ("datum", "form", "off in the best fit, mm", "lean, degrees", "motions held"),
            tuple(
                (
                    item.feature,
                    item.form,
                    write_estimate(item.offset_mm, item.std_mm),
                    f"{item.tilt_deg:.4f}",
                    str(item.held),
                )
                for item in difference.datums
            ),
            frozenset({2, 3, 4}),
        ),
    ]
    if difference.free:
        noun = "motion is" if difference.free == 1 else "motions are"
        blocks.append(
            Sentence(
                f"{_capital(_count(difference.free))} {noun} left free by the datums and kept from the best fit.",
                "caution",
            )
        )
    if difference.faces:
        blocks.append(
            Table(
                ("face of joint", "offset by best fit, mm", "by datums, mm"),
                tuple((name, f"{one:+.3f}", f"{two:+.3f}") for name, one, two in difference.faces),
                frozenset({1, 2}),
            )
        )
    if difference.features:
        blocks.append(
            Table(
                ("feature under both", "by best fit", "by datums", "unit"),
                tuple(
                    (name, _measured(one), _measured(two), unit)
                    for name, unit, one, two in difference.features
                ),
                frozenset({1, 2}),
            )
        )
    return blocks


def _measured(value: float | None) -> str:
    return NONE if value is None else f"{value:.3f}"


def _deviations(report: ScanReport) -> list[Block]:
    figures = report.statistics
    rows = tuple(
        (
            _place(item.point_mm),
            write_estimate(item.deviation_mm, item.std_mm),
            "outside" if item.deviation_mm > 0 else "inside",
        )
        for item in report.worst
    )
    return [
        Heading("Deviations, positive where the part stands out of the model"),
        Sentence(
            f"From {write_number(figures.lowest_mm, 3)} to {write_number(figures.highest_mm, 3)} mm, mean "
            f"{write_number(figures.mean_mm, 3)} mm, root mean square {write_number(figures.rms_mm, 3)} mm."
        ),
        Table(("largest at x, y, z", "deviation, mm", "of the surface"), rows, frozenset({1})),
    ]


def _faces(report: ScanReport) -> list[Block]:
    if not report.faces:
        return []
    rows = []
    for face in report.faces:
        if face.offset_mm is None or face.std_mm is None:
            rows.append((face.joint, face.other, NONE, NONE, face.reason))
            continue
        tilt = NONE
        if face.tilt_deg is not None and face.tilt_std_deg is not None:
            tilt = ", ".join(
                write_estimate(a, b) for a, b in zip(face.tilt_deg, face.tilt_std_deg, strict=True)
            )
        rows.append((face.joint, face.other, write_estimate(face.offset_mm, face.std_mm), tilt, face.reason))
    blocks: list[Block] = [
        Heading("Faces that meet other parts"),
        Table(
            ("joint", "with", "offset, mm", "lean about the face's long and short axis, degrees", "note"),
            tuple(rows),
            frozenset({2}),
        ),
    ]
    if report.lengths:
        rows_of_lengths = tuple(
            (
                " to ".join(item.joints),
                write_number(item.nominal_mm, 3),
                write_estimate(item.change_mm, item.std_mm),
            )
            for item in report.lengths
        )
        blocks.append(
            Table(
                ("length between faces", "as modelled, mm", "longer by, mm"),
                rows_of_lengths,
                frozenset({1, 2}),
            )
        )
    return blocks


def _features(report: ScanReport) -> list[Block]:
    if not report.features:
        return []
    return [
        Heading("Features measured on the scan"),
        Table(
            ("feature", "kind", "on the scan", "as modelled", "limits", "decision", "why"),
            tuple(_feature_row(item) for item in report.features),
            frozenset({2, 3}),
            tuple(STATE_OF[item.decision] for item in report.features),
        ),
    ]


def _feature_row(item: ScannedFeature) -> tuple[str, ...]:
    value = (
        NONE
        if item.value is None or item.std is None
        else f"{write_estimate(item.value, item.std)} {item.unit}"
    )
    modelled = NONE if item.as_modelled is None else write_number(item.as_modelled)
    return (
        item.id,
        item.kind,
        value,
        modelled,
        write_limits(item.lower, item.upper),
        item.decision,
        item.reason,
    )


def _kept(report: ScanReport) -> list[Block]:
    if not report.record:
        return []
    where = f"is kept as {report.file}" if report.is_kept else "is not copied; its hash is kept"
    return [Sentence(f"Recorded in the ledger: {report.record}. The scan file {where}.", mark=True)]


def _pose_std(report: ScanReport) -> tuple[float, float]:
    """Standard uncertainty of turn [deg] and of place [mm], each in its least certain direction."""
    covariance = report.information.covariance
    turn = (
        math.sqrt(max(float(np.linalg.eigvalsh(covariance[:3, :3])[-1]), 0.0)) / report.information.length_mm
    )
    shift = math.sqrt(max(float(np.linalg.eigvalsh(covariance[3:, 3:])[-1]), 0.0))
    return math.degrees(turn), shift


def _percent(share: float) -> str:
    return f"{100.0 * share:.0f} %"


def _count(number: int) -> str:
    return _NUMBERS[number] if number < len(_NUMBERS) else str(number)


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]


def scan_plain(report: ScanReport, files: Sequence[str] = ()) -> dict[str, Any]:
    """Keys of `dryfit scan --json`."""
    turn, shift = _pose_std(report)
    beyond, alone, local = report.left_out
    return {
        "project": report.project,
        "part": report.part,
        "state": report.state,
        "file": report.file,
        "format": report.format,
        "sha256": report.sha256,
        "unit": report.unit,
        "points": report.points,
        "left_out": {"beyond_reach": beyond, "alone": alone, "off_surroundings": local},
        "share_on_part": report.share,
        "alignment": report.alignment,
        "is_ambiguous": report.is_ambiguous,
        "pose": {
            "rotation": report.motion.rotation.tolist(),
            "shift_mm": report.motion.shift_mm.tolist(),
            "turn_std_deg": turn,
            "shift_std_mm": shift,
            "covariance_mm2": report.information.covariance.tolist(),
            "about_mm": report.information.middle.tolist(),
            "turn_length_mm": report.information.length_mm,
        },
        "scatter_mm": report.scatter_mm,
        "scanner_std_mm": report.scanner_std_mm,
        "scale": report.information.scale,
        "scale_std": report.information.scale_std if math.isfinite(report.information.scale_std) else None,
        "alternatives": [_alternative_plain(item) for item in report.alternatives],
        "runner_up": None if report.runner_up is None else _alternative_plain(report.runner_up),
        "free_motions": [
            {"kind": item.kind, "axis": item.axis.tolist(), "point_mm": item.point_mm.tolist()}
            for item in report.free
        ],
        "covered_share": report.statistics.covered,
        "mean_mm": report.statistics.mean_mm,
        "rms_mm": report.statistics.rms_mm,
        "lowest_mm": report.statistics.lowest_mm,
        "highest_mm": report.statistics.highest_mm,
        "within_95_mm": report.statistics.size_95_mm,
        "worst": [
            {"at_mm": item.point_mm.tolist(), "deviation_mm": item.deviation_mm, "std_mm": item.std_mm}
            for item in report.worst
        ],
        "faces": [
            {
                "joint": face.joint,
                "with": face.other,
                "centre_mm": face.centre_mm.tolist(),
                "normal": face.normal.tolist(),
                "offset_mm": face.offset_mm,
                "std_mm": face.std_mm,
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
        "datum_difference": _difference_plain(report),
        "features": [
            {
                "id": item.id,
                "kind": item.kind,
                "unit": item.unit,
                "value": item.value,
                "std": item.std,
                "as_modelled": item.as_modelled,
                "nominal": item.nominal,
                "lower": item.lower,
                "upper": item.upper,
                "decision": item.decision,
                "reason": item.reason,
                "points": item.points,
            }
            for item in report.features
        ],
        "notes": list(report.notes),
        "record": report.record,
        "written": list(files),
    }


def _alternative_plain(item: Alternative) -> dict[str, Any]:
    return {
        "angle_deg": item.angle_deg,
        "axis": item.axis.tolist(),
        "point_mm": item.point_mm.tolist(),
        "along_mm": item.along_mm,
        "misfit_rise": item.comparison.rise,
        "significance": item.comparison.significance if math.isfinite(item.comparison.significance) else None,
    }


def _difference_plain(report: ScanReport) -> dict[str, Any] | None:
    if report.difference is None:
        return None
    difference = report.difference
    return {
        "datums": [
            {
                "feature": item.feature,
                "form": item.form,
                "offset_mm": item.offset_mm,
                "std_mm": item.std_mm,
                "tilt_deg": item.tilt_deg,
                "motions_held": item.held,
            }
            for item in difference.datums
        ],
        "turn_deg": difference.turn_deg.tolist(),
        "shift_mm": difference.shift_mm.tolist(),
        "largest_mm": difference.largest_mm,
        "faces": [
            {"joint": name, "best_fit_mm": one, "by_datums_mm": two} for name, one, two in difference.faces
        ],
        "features": [
            {"feature": name, "unit": unit, "best_fit": one, "by_datums": two}
            for name, unit, one, two in difference.features
        ],
        "motions_left_free": difference.free,
    }
