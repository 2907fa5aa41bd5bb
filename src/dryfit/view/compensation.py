"""Corrected copies in rows and sentences, and the same figures for a firmware."""

from __future__ import annotations

from typing import Any

from dryfit.app.compensating import CompensationReport
from dryfit.app.compensating_copies import Copy
from dryfit.calc.compensate import AxisSettings
from dryfit.model.finding import State
from dryfit.model.machine import FIGURES
from dryfit.view.blocks import Block, Heading, Sentence, Table
from dryfit.view.digits import write_estimate, write_number, write_vector
from dryfit.view.outcome_changes import outcome_table, outcomes_plain

_NANOMETRE = 1e-6
_PICOMETRE_MM = 1e-9
_TANGENTS = (
    (
        "XY",
        "positive where Y leans toward +X, seen from above: the angle between +X and +Y is below 90 degrees",
    ),
    ("XZ", "positive where the uprights lean toward +X, seen from the front: prints lean to +X as they grow"),
    ("YZ", "positive where the uprights lean toward +Y, seen from the side: prints lean to +Y as they grow"),
)
_RULE = (
    "A firmware that prints true with these tangents drives its axes to y' = y - YZ z, x' = x - XY y' - XZ z, z' = z. "
    "Try the sign on a short print before a long one: the wrong sign doubles the fault. Use the tangents or the "
    "corrected copies, never both."
)
_POSE = (
    "Each file lies as it must lie on the bed: it may be moved there and must not be turned, mirrored or scaled. "
    "Switch off whatever turns or scales a model when it is loaded."
)


def compensation_blocks(report: CompensationReport) -> list[Block]:
    """What was corrected, how it was checked, what it does to the forecast, and what to mind."""
    stops = sum(item.state_before == "stop" for item in report.changes)
    left = sum(item.state_after == "stop" for item in report.changes)
    count = len(report.copies)
    blocks: list[Block] = [
        Heading(
            f"{report.project}: corrected copies of {count} part{'' if count == 1 else 's'} for {report.machine} leave "
            f"{left} of {len(report.changes)} characteristics out of limits instead of {stops}",
            report.state,
        ),
        Sentence(f"Made up for: {_figures(report)}.{_source(report)}"),
        _copies(report),
        Sentence(_round_trip(report.copies)),
    ]
    blocks += [_remark(copy, *remark) for copy in report.copies for remark in copy.remarks]
    if report.changes:
        blocks.append(outcome_table(report.changes, "as is", "corrected"))
        blocks.append(
            Sentence("The uncertainty of the figures stays: a copy can only make up for what is known.")
        )
    blocks += [Sentence(f"{what}. To do: {do}.", "caution", mark=True) for what, do in report.warnings]
    blocks += settings_blocks(report)
    return blocks + _outcome(report)


def _figures(report: CompensationReport) -> str:
    words = [
        f"{name} {write_estimate(value, std)}"
        for name, value, std in zip(FIGURES, report.figures, report.std, strict=True)
        if value
    ]
    words += [f"shrinkage of {name} {write_number(value, 5)}" for name, value in report.shrinkages]
    return ", ".join(words)


def _source(report: CompensationReport) -> str:
    return f" They come from ledger record {report.qualification}." if report.qualification else ""


def _copies(report: CompensationReport) -> Table:
    """One row for all copies that are alike in every figure shown."""
    alike: dict[tuple[str, ...], list[str]] = {}
    states: dict[tuple[str, ...], State] = {}
    for copy in report.copies:
        offset = "-" if copy.offset_departure_mm is None else f"{copy.offset_departure_mm:.4f}"
        key = (
            write_vector(copy.size_mm),
            f"{copy.moved_mm:.2f}",
            write_number(copy.volume_change * 1e6, 1),
            "closed" if copy.is_closed else "open",
            offset,
            copy.state,
        )
        alike.setdefault(key, []).append(copy.part)
        states[key] = copy.state
    rows = tuple((_named(names), *key[:5]) for key, names in alike.items())
    heads = (
        *("part", "size on the bed in mm", "moved by at most, mm", "volume, millionths", "surface"),
        "outline off, mm",
    )
    return Table(heads, rows, frozenset({1, 2, 3, 5}), tuple(states[key] for key in alike))


def _named(names: list[str]) -> str:
    return ", ".join(names) if len(names) <= 3 else f"{names[0]} to {names[-1]} ({len(names)})"


def _round_trip(copies: tuple[Copy, ...]) -> str:
    worst = max(copy.round_trip_mm for copy in copies)
    single = max(copy.round_trip_single_mm for copy in copies)
    exact = "less than 0.001 nm" if worst < _PICOMETRE_MM else f"{worst / _NANOMETRE:.2g} nm"
    return (
        f"Each file was read back and printed again in the model: it misses the part by {exact} at most, and by "
        f"{single / _NANOMETRE:.0f} nm where a program reads its coordinates in single precision."
    )


def _remark(copy: Copy, state: State, what: str, do: str) -> Sentence:
    return Sentence(f"{copy.part}: {what}.{f' To do: {do}.' if do else ''}", state, mark=True)


def settings_blocks(report: CompensationReport) -> list[Block]:
    """Tangents and factors with their sign convention, for a firmware that can take them."""
    return firmware_blocks(report.settings)


def firmware_blocks(settings: AxisSettings) -> list[Block]:
    """The same of any machine, whether copies were made or not."""
    rows = [
        (f"tangent {name}", write_estimate(float(value), float(std)), words)
        for (name, words), value, std in zip(_TANGENTS, settings.tangents, settings.tangents_std, strict=True)
    ]
    rows += [
        (
            f"factor {axis}",
            write_estimate(float(value), float(std)),
            f"multiply the steps per mm of {axis} by this",
        )
        for axis, value, std in zip("XYZ", settings.factors, settings.factors_std, strict=True)
    ]
    return [
        Sentence(
            "The same in the machine itself, where its firmware can take it, in place of corrected copies:"
        ),
        Table(("setting", "value", "sign and use"), tuple(rows), frozenset({1})),
        Sentence(_RULE),
    ]


def _outcome(report: CompensationReport) -> list[Block]:
    if report.written:
        return [
            Sentence(_POSE, "caution"),
            Sentence(
                f"Written to compensated/ and named in project.toml; the meshes stay the design. To go back: "
                f"dryfit compensate {report.machine} --undo."
            ),
        ]
    if report.state == "stop":
        return [Sentence("Nothing was written: a copy is not sound.", "stop")]
    return [Sentence("Nothing was written; --write makes the files and names them in project.toml.")]


def undone_blocks(machine: str, parts: tuple[str, ...]) -> list[Block]:
    """What letting copies go did."""
    count = f"{len(parts)} part{'' if len(parts) == 1 else 's'}"
    return [
        Heading(f"{machine}: the meshes themselves are printed again of {count}: {', '.join(parts)}"),
        Sentence("The copies stay in compensated/; delete them when nobody prints from them any more."),
    ]


def undone_plain(machine: str, parts: tuple[str, ...]) -> dict[str, Any]:
    """Keys of `dryfit compensate --undo --json`."""
    return {"machine": machine, "undone": list(parts)}


def compensation_plain(report: CompensationReport) -> dict[str, Any]:
    """Keys of `dryfit compensate --json`."""
    settings = report.settings
    return {
        "project": report.project,
        "machine": report.machine,
        "state": report.state,
        "written": report.written,
        "qualification": report.qualification,
        "figures": dict(zip(FIGURES, report.figures, strict=True)),
        "std": dict(zip(FIGURES, report.std, strict=True)),
        "shrinkage": [{"material": name, "value": value} for name, value in report.shrinkages],
        "copies": [_copy_plain(copy) for copy in report.copies],
        "characteristics": outcomes_plain(report.changes),
        "warnings": [{"what": what, "do": do} for what, do in report.warnings],
        "firmware": {
            "tangents": dict(zip(("xy", "xz", "yz"), settings.tangents.tolist(), strict=True)),
            "tangents_std": dict(zip(("xy", "xz", "yz"), settings.tangents_std.tolist(), strict=True)),
            "step_factors": dict(zip("xyz", settings.factors.tolist(), strict=True)),
            "step_factors_std": dict(zip("xyz", settings.factors_std.tolist(), strict=True)),
        },
        "diff": report.diff,
    }


def _copy_plain(copy: Copy) -> dict[str, Any]:
    return {
        "part": copy.part,
        "file": copy.file,
        "sha256": copy.sha256,
        "state": copy.state,
        "size_mm": list(copy.size_mm),
        "moved_mm": copy.moved_mm,
        "round_trip_mm": copy.round_trip_mm,
        "round_trip_single_precision_mm": copy.round_trip_single_mm,
        "outline_departure_mm": copy.offset_departure_mm,
        "corners": copy.corners,
        "corners_without_exact_place": copy.inexact,
        "volume_change": copy.volume_change,
        "volume_change_by_determinant": copy.volume_wanted,
        "is_closed": copy.is_closed,
        "remarks": [{"state": state, "what": what, "do": do} for state, what, do in copy.remarks],
    }
