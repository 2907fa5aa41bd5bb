"""Sizes from photographs in words and rows."""

from __future__ import annotations

from typing import Any

from dryfit.app.photo_groups import PhotoGroup
from dryfit.app.photo_size_records import NotUsed, PhotoEvidence, SizeLine
from dryfit.app.photo_sizes import PhotoSizes
from dryfit.view.blocks import Block, Heading, Sentence, State, Table
from dryfit.view.digits import write_estimate
from dryfit.view.plain import to_plain

NONE = "-"
_NAMED_CAUSES = 3


def sizes_blocks(report: PhotoSizes) -> list[Block]:
    """Every size with its method, its uncertainty and what that is made of; suspects; what is not used."""
    count = len(report.sizes)
    noun = "size" if count == 1 else "sizes"
    blocks: list[Block] = [Heading(f"{report.project}: {count} {noun} from photographs", report.state)]
    if report.sizes:
        blocks.append(_table(report.sizes))
        blocks += [Sentence(words, mark=True) for words in _notes(report.sizes)]
    blocks += _groups(report.groups)
    for item in report.suspects:
        place = f"{item.photo}: {item.where}" if item.photo else item.where
        blocks.append(Sentence(f"{place}: {item.what}. Do: {item.do}", "stop"))
    blocks += not_used_blocks(report.not_used)
    if not report.sizes and not report.not_used:
        words = "no size is marked: dryfit photo mark PHOTO --size ID=POINT:POINT,DIMENSION"
        blocks.append(Sentence(words, mark=True))
    return blocks


def _groups(groups: tuple[PhotoGroup, ...]) -> list[Block]:
    """Which photographs were adjusted together; nothing where all of them were, or none."""
    if len(groups) < 2 or all(len(item.photos) == 1 for item in groups):
        return []
    blocks: list[Block] = []
    for item in groups:
        names = ", ".join(item.photos)
        if len(item.photos) > 1:
            words = f"photographs {names} were adjusted together, by {item.points} common points"
            words += f", apart from the others: the group {item.why}" if item.why else ""
        else:
            words = f"photograph {names} was joined to no group: it {item.why}"
        blocks.append(
            Sentence(f"{words}. Do: {item.do}" if item.do else words, "caution" if item.why else "pass")
        )
    return blocks


def not_used_blocks(items: tuple[NotUsed, ...]) -> list[Block]:
    """What the schedule does not take from photographs, and why."""
    blocks: list[Block] = []
    for item in items:
        sizes = f" ({', '.join(item.sizes)})" if item.sizes else ""
        blocks.append(
            Sentence(
                f"photo {', '.join(item.photos)}{sizes} not used: {item.why}. Do: {item.do}", "not checked"
            )
        )
    return blocks


def sizes_plain(report: PhotoSizes) -> dict[str, Any]:
    """Keys of `dryfit photo sizes --json`."""
    plain: dict[str, Any] = to_plain(report)
    return {"state": report.state, **plain}


def not_used_plain(evidence: PhotoEvidence) -> dict[str, Any]:
    """What `dryfit schedule --json` says of photographs."""
    return {"photographs_not_used": [to_plain(item) for item in evidence.not_used]}


def _table(lines: tuple[SizeLine, ...]) -> Table:
    heads = (
        "size", "dimension", "photographs", "method", "prototype, mm", "made of (std, mm)", "marks off, px", "one scale"
    )  # fmt: skip
    rows = tuple(
        (
            line.id,
            line.dimension,
            ", ".join(line.photos),
            line.method + (f" {line.about}" if line.method == "plane" else ""),
            write_estimate(line.value_mm, line.std_mm),
            _causes(line),
            NONE if line.rms_px is None else f"{line.rms_px:.2f}",
            NONE if line.one_scale is None else f"{_two_digits(100.0 * line.one_scale, '+')} % off",
        )
        for line in lines
    )
    states = tuple(_state(line) for line in lines)
    return Table(heads, rows, frozenset({4, 6, 7}), states)


def _state(line: SizeLine) -> State:
    if not line.is_used:
        return "stop"
    return "caution" if line.p_value is None else "pass"


def _causes(line: SizeLine) -> str:
    told = [item for item in line.causes if item.std_mm > 0.05 * line.std_mm][:_NAMED_CAUSES]
    return "; ".join(f"{item.cause}: {_two_digits(item.std_mm)}" for item in told)


def _notes(lines: tuple[SizeLine, ...]) -> list[str]:
    """What was assumed, once for each set of photographs; why a better method was not used, once for each size."""
    notes = [f"{', '.join(line.photos)}: {note}" for line in lines for note in line.notes]
    notes += [
        f"{line.photo}: {tried.method}: not for {line.id}, {tried.why}"
        for line in lines
        for tried in line.others
    ]
    return list(dict.fromkeys(notes))


def _two_digits(value: float, sign: str = "") -> str:
    """Two digits, or all before the point. sign: "+" where it is always shown."""
    return f"{value:{sign}.0f}" if abs(value) >= 10 else f"{value:{sign}.2g}"
