"""Bed poses and locator layouts in rows and sentences."""

from __future__ import annotations

from dryfit.app.turning import Turned
from dryfit.model.orientation import CharacteristicChange, OrientReport, PoseChange
from dryfit.model.part import Bed
from dryfit.view.blocks import Block, Heading, Sentence, State, Table
from dryfit.view.digits import write_estimate, write_number, write_probability


def orient_blocks(turned: Turned, brief: bool = False) -> list[Block]:
    """Before and after, the parts to turn with the reasons, and whether the document was changed."""
    report, risk = turned.report, turned.risk
    blocks: list[Block] = [Heading(_verdict(report, risk))]
    shown = [item for item in report.characteristics if not brief or _matters(item, risk)]
    if shown:
        blocks.append(_characteristics(shown, risk))
    if report.parts:
        blocks.append(_poses(report.parts))
    blocks += [
        Sentence(f"{item.joint}: locators along the {item.chosen} axis: {item.reason}.", mark=True)
        for item in report.joints
    ]
    if not brief:
        blocks += [Sentence(f"{part.part}: {part.reason}.", mark=True) for part in report.parts]
        blocks += [Sentence(f"left out: {text}", mark=True) for text in report.left_out]
        blocks += [Sentence(f"assumed: {text}", mark=True) for text in report.assumptions]
    blocks += _outcome(turned)
    return blocks


def _verdict(report: OrientReport, risk: float) -> str:
    before = sum(_fails(item.p_out_before, risk) for item in report.characteristics)
    after = sum(_fails(item.p_out_after, risk) for item in report.characteristics)
    count = len(report.characteristics)
    if not report.has_changes:
        return (
            f"{report.project}: the parts lie as well as they can, {before} of {count} characteristics fail"
        )
    return (
        f"{report.project}: turning {_count(len(report.parts), 'part')}"
        + (f" and moving the locators of {_count(len(report.joints), 'joint')}" if report.joints else "")
        + f" leaves {after} of {count} characteristics out of limits instead of {before}"
    )


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def _fails(p_out: float | None, risk: float) -> bool:
    return p_out is None or p_out > risk


def _matters(item: CharacteristicChange, risk: float) -> bool:
    """Whether a characteristic fails before or after."""
    return _fails(item.p_out_before, risk) or _fails(item.p_out_after, risk)


def _characteristics(items: list[CharacteristicChange], risk: float) -> Table:
    rows = tuple(
        (
            item.id,
            f"{write_estimate(item.predicted_before, item.std_before)} {item.unit}",
            f"{write_estimate(item.predicted_after, item.std_after)} {item.unit}",
            write_probability(item.p_out_before),
            write_probability(item.p_out_after),
        )
        for item in items
    )
    heads = ("characteristic", "as stated", "turned", "outside as stated", "outside turned")
    states = tuple(_state(item, risk) for item in items)
    return Table(heads, rows, frozenset({1, 2, 3, 4}), states)


def _state(item: CharacteristicChange, risk: float) -> State:
    if item.p_out_after is None:
        return "not checked"
    return "stop" if item.p_out_after > risk else "pass"


def _poses(parts: tuple[PoseChange, ...]) -> Table:
    """One row for all parts that are turned alike for the same kind of reason."""
    alike: dict[tuple[str, str, str], list[str]] = {}
    for part in parts:
        key = (_angles(part.stated), _angles(part.chosen), part.effect)
        alike.setdefault(key, []).append(part.part)
    words = {
        "neutral": "the fault no longer moves them",
        "cancels": "their errors cancel",
        "eases": "moves less",
    }
    rows = tuple(
        (", ".join(names), before, after, words[effect]) for (before, after, effect), names in alike.items()
    )
    return Table(("turn", "from x, y, z", "to x, y, z (deg)", "because"), rows)


def _angles(bed: Bed) -> str:
    return ", ".join(write_number(angle, 1) for angle in bed.euler_xyz_deg)


def _outcome(turned: Turned) -> list[Block]:
    if not turned.report.has_changes:
        return []
    if turned.written:
        return [Sentence("Written to project.toml.")]
    return [Sentence("Nothing was written; --write puts these poses into project.toml.")]
