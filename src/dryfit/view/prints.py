"""Prints in words and rows: what came off the bed."""

from __future__ import annotations

from typing import Any

from dryfit.app.prints import PrintsReport
from dryfit.model.finding import State
from dryfit.model.printing import Print
from dryfit.view.blocks import Block, Heading, Sentence, Table
from dryfit.view.digits import NONE, write_number

_STATES: dict[str, State] = {"good": "pass", "failed": "stop", "stopped": "caution"}


def prints_blocks(report: PrintsReport) -> list[Block]:
    """What was entered now, then all prints that count and what is still to be printed."""
    done = report.parts - len(report.not_printed)
    heading = f"{report.project}: {done} of {report.parts} parts printed"
    blocks: list[Block] = [Heading(heading, "pass" if done == report.parts else None)]
    if report.entered is not None:
        blocks.append(Sentence(f"Entered: {print_words(report.entered)}.", mark=True))
    if report.withdrawn is not None:
        blocks.append(Sentence(f"Taken back: {print_words(report.withdrawn)}.", mark=True))
    if report.prints:
        blocks.append(_table(report))
    other = [item for item in report.prints if item.record in report.other_shape]
    if other:
        listed = ", ".join(f"{item.part} (record {item.record})" for item in other)
        text = f"Of another shape than the mesh has now, so that the forecast does not count with them: {listed}."
        blocks.append(Sentence(text, "caution", mark=True))
    if report.not_printed and report.prints:
        blocks.append(Sentence(f"Still to be printed: {', '.join(report.not_printed)}."))
    if not report.prints:
        blocks.append(Sentence("No print is entered: dryfit printed PART --result good"))
    return blocks


def print_words(item: Print) -> str:
    """A print in one line: "record 12, ring-1 on tall, good"."""
    height = "" if item.failed_at_mm is None else f" at {write_number(item.failed_at_mm, 1)} mm"
    why = f" ({item.because})" if item.because else ""
    return f"record {item.record}, {item.part} on {item.machine}, {item.result}{height}{why}"


def prints_plain(report: PrintsReport) -> dict[str, Any]:
    """Keys of `dryfit printed --json`."""
    return {
        "project": report.project,
        "parts": report.parts,
        "not_printed": list(report.not_printed),
        "entered": None if report.entered is None else report.entered.record,
        "withdrawn": None if report.withdrawn is None else report.withdrawn.record,
        "prints": [print_plain(item, item.record in report.other_shape) for item in report.prints],
    }


def print_plain(item: Print, is_other_shape: bool) -> dict[str, Any]:
    """A print as plain keys."""
    return {
        "record": item.record,
        "at": item.at,
        "part": item.part,
        "machine": item.machine,
        "material": item.material,
        "bed_euler_xyz_deg": list(item.bed.euler_xyz_deg),
        "result": item.result,
        "release": item.release,
        "spool": item.spool,
        "started": item.started,
        "ended": item.ended,
        "failed_at_mm": item.failed_at_mm,
        "because": item.because,
        "hours": item.hours,
        "grams": item.grams,
        "is_corrected_copy": item.compensation is not None,
        "note": item.note,
        "by": item.by,
        "shape_sha256": item.shape_sha256,
        "mesh_sha256": item.mesh_sha256,
        "is_other_shape": is_other_shape,
    }


def _table(report: PrintsReport) -> Table:
    heads = ("record", "part", "machine", "pose", "result", "ended", "hours", "grams", "spool", "release")
    rows = tuple(
        (
            str(item.record),
            item.part,
            item.machine,
            ", ".join(write_number(angle) for angle in item.bed.euler_xyz_deg),
            _result(item),
            item.moment[:10],
            NONE if item.hours is None else write_number(item.hours, 1),
            NONE if item.grams is None else write_number(item.grams, 0),
            item.spool or NONE,
            item.release or NONE,
        )
        for item in report.prints
    )
    states = tuple(
        "caution" if item.record in report.other_shape else _STATES[item.result] for item in report.prints
    )
    return Table(heads, rows, frozenset({0, 6, 7}), states)


def _result(item: Print) -> str:
    return (
        item.result
        if item.failed_at_mm is None
        else f"{item.result} at {write_number(item.failed_at_mm, 1)} mm"
    )
