"""Photographs and their marks in words and rows."""

from __future__ import annotations

from typing import Any

from dryfit.app.photo_adding import PhotoAddReport
from dryfit.app.photo_checking import PhotoCheck, PhotoVerdict
from dryfit.app.photo_marking import MarkReport
from dryfit.app.photographs import PhotoFinding, PhotoLine, PhotoList
from dryfit.view.blocks import Block, Heading, Sentence, Table
from dryfit.view.evidence import camera_blocks
from dryfit.view.plain import to_plain

NONE = "-"


def added_blocks(report: PhotoAddReport) -> list[Block]:
    """What was added and what is to be known of it."""
    renewed = set(report.renewed)
    new = [line.id for line in report.photos if line.id not in renewed]
    words = [f"{_count(len(new), 'photograph')} added"] if new or not renewed else []
    words += [f"{_count(len(renewed), 'photograph')} taken again"] if renewed else []
    blocks: list[Block] = [Heading(f"{report.project}: {', '.join(words)}"), _table(report.photos)]
    blocks += [Sentence(note, mark=True) for note in report.notes]
    blocks += [block for line in report.photos for block in _findings(line.findings, line.id)]
    return blocks


def list_blocks(report: PhotoList) -> list[Block]:
    """All photographs of a project."""
    if not report.photos:
        return [
            Heading(f"{report.project}: no photographs yet"),
            Sentence("dryfit photo add FRONT.jpg adds one", mark=True),
        ]
    blocks: list[Block] = [
        Heading(f"{report.project}: {_count(len(report.photos), 'photograph')}", report.state),
        _table(report.photos),
    ]
    return blocks + [block for line in report.photos for block in _findings(line.findings, line.id)]


def marked_blocks(report: MarkReport) -> list[Block]:
    """What was changed in a file of marks."""
    blocks: list[Block] = [Heading(f"{report.photo}: marks saved in {report.file}")]
    for words, names in (("added", report.added), ("changed", report.changed), ("removed", report.removed)):
        if names:
            blocks.append(Sentence(f"{words}: {', '.join(names)}", mark=True))
    blocks += [Sentence(note, mark=True) for note in report.notes]
    counts = (
        (report.points, "point"),
        (report.lines, "line"),
        (report.lengths, "known length"),
        (report.planes, "plane"),
        (report.sizes, "size"),
    )
    there = ", ".join(_count(number, noun) for number, noun in counts if number)
    blocks.append(Sentence(f"There are now {there}." if there else "Nothing is marked now."))
    return blocks


def check_blocks(report: PhotoCheck) -> list[Block]:
    """Findings and methods of each photograph."""
    if not report.photos:
        return [Heading(f"{report.project}: no photographs to check", "not checked")]
    blocks: list[Block] = [
        Heading(f"{report.project}: {_count(len(report.photos), 'photograph')} checked", report.state)
    ]
    for photo in report.photos:
        blocks += _verdict(photo)
    if report.between:
        blocks.append(Heading("Between the photographs"))
        blocks += _findings(report.between)
    return blocks


def check_plain(report: PhotoCheck) -> dict[str, Any]:
    """Keys of `dryfit photo check --json`."""
    plain: dict[str, Any] = to_plain(report)
    return plain


def _verdict(photo: PhotoVerdict) -> list[Block]:
    blocks: list[Block] = [Heading(f"{photo.id} ({photo.file})", photo.state)]
    blocks += _findings(photo.findings)
    if photo.methods:
        rows = tuple(
            (line.method, line.about or NONE, "yes" if line.is_possible else "no", _reason(line.why, line.do))
            for line in photo.methods
        )
        blocks.append(Table(("camera method", "of", "possible", "why"), rows))
    if photo.camera is not None and photo.camera.method:
        # What the camera comes to is told; the state of a photograph is that of its findings and suspects.
        first, *others = camera_blocks(photo.camera)
        blocks += [Sentence(first.text) if isinstance(first, Sentence) else first, *others]
        for item in photo.camera.suspects:
            blocks.append(Sentence(f"{item.where}: {item.what}. Do: {item.do}", "stop"))
    return blocks


def _reason(why: str, do: str) -> str:
    return f"{why}: {do}" if do else why


def _table(lines: tuple[PhotoLine, ...]) -> Table:
    heads = ("photo", "file", "pixels", "stored picture", "focal length, px", "from", "points", "lines")
    rows = tuple(
        (
            line.id,
            line.file,
            NONE if line.width_px is None else f"{line.width_px} x {line.height_px}",
            line.turned or NONE,
            _focal(line),
            line.focal_from or NONE,
            str(line.points),
            str(line.lines),
        )
        for line in lines
    )
    return Table(heads, rows, frozenset({4, 6, 7}), tuple(line.state for line in lines))


def _focal(line: PhotoLine) -> str:
    if line.focal_px is None or line.focal_std_px is None:
        return NONE
    return f"{line.focal_px:.0f} +- {line.focal_std_px:.0f}"


def _findings(findings: tuple[PhotoFinding, ...], whose: str = "") -> list[Block]:
    blocks: list[Block] = []
    for item in findings:
        place = ": ".join(word for word in (whose, item.where) if word)
        words = f"{place}: {item.what}" if place else item.what
        blocks.append(Sentence(f"{words}. Do: {item.do}" if item.do else words, item.state))
    return blocks


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}{'' if number == 1 else 's'}"
