"""The other reports in rows and sentences: import, joints, hold point, history."""

from __future__ import annotations

from dryfit.app.history import RecordedForecast, SinceReport
from dryfit.app.importing import ImportReport
from dryfit.app.joints import JointsReport
from dryfit.app.ready import HoldPoint
from dryfit.view.blocks import Block, Heading, Sentence, Table
from dryfit.view.digits import NONE, write_estimate, write_number, write_probability, write_vector


def import_blocks(report: ImportReport) -> list[Block]:
    """What was found and assumed in importing."""
    count = len(report.parts)
    rows = tuple(
        (
            item.id,
            write_vector(item.size_mm),
            str(item.triangles),
            "closed" if item.is_closed else "open",
            f"{item.volume_mm3 / 1000.0:.1f}" if item.is_closed else NONE,
            "taken again" if item.renewed else "new",
        )
        for item in report.parts
    )
    heads = ("part", "size in mm", "triangles", "surface", "volume in cm3", "")
    cautions = [Sentence(f"{item.id}: {text}.", "caution") for item in report.parts for text in item.cautions]
    return [
        Heading(
            f"{report.project}: {count} part{'' if count == 1 else 's'}"
            + (f" from {report.machine}, {report.material}" if report.machine else " taken again")
        ),
        Table(heads, rows, frozenset({1, 2, 4})),
        *cautions,
        *(Sentence(f"assumed: {note}", mark=True) for note in report.notes),
    ]


def joint_blocks(report: JointsReport) -> list[Block]:
    """Mating faces found, and what to do with them."""
    rows = tuple(
        (
            item.joint,
            item.state,
            item.shape,
            str(item.contacts),
            f"{item.area_mm2:.0f}",
            f"{item.mean_gap_mm:.3f}",
            "; ".join(item.free_motions) or "nothing",
        )
        for item in report.proposals
    )
    heads = ("joint", "state", "face", "contacts", "area in mm2", "gap in mm", "left free by its contacts")
    new = sum(1 for item in report.proposals if item.state == "proposed")
    blocks: list[Block] = [
        Heading(
            f"{report.project}: {len(rows)} mating faces within {write_number(report.max_gap_mm)} mm and "
            f"{write_number(report.max_angle_deg)} degrees, {new} of them new"
        )
    ]
    if rows:
        blocks.append(Table(heads, rows, frozenset({3, 4, 5})))
    blocks += [
        Sentence(f"{a} and {b}: not detected: {words}.", "not checked")
        for (a, b), words in report.not_detected
    ]
    blocks += [Sentence(f"{name} meets no other part.", "caution") for name in report.lonely]
    if report.written:
        blocks.append(
            Sentence(
                "Written as proposals into project.toml. Accept what is right (dryfit joints --accept ID or all), "
                'then state locators ("pin", "pin-and-slot") where something must hold the free motions.'
            )
        )
    return blocks


def hold_point_blocks(report: HoldPoint) -> list[Block]:
    """Every check, gravest not first but in the order of the work."""
    rows = tuple((item.topic, item.subject, item.state, item.reason, item.do) for item in report.checks)
    counted = ", ".join(
        f"{report.count(state)} {state}"
        for state in ("stop", "not checked", "caution", "pass")
        if report.count(state)
    )
    return [
        Heading(f"{report.project}: hold point before {report.stage}: {counted}", report.state),
        Table(
            ("check", "of", "state", "why", "what to do"),
            rows,
            states=tuple(item.state for item in report.checks),
        ),
    ]


def since_blocks(report: SinceReport) -> list[Block]:
    """Two forecasts compared."""
    blocks: list[Block] = [
        Heading(
            f"{report.project}: forecast {report.after} ({report.after_at}) against "
            f"{report.before} ({report.before_at})"
        )
    ]
    blocks += [Sentence(text, mark=True) for text in report.causes]
    if not report.causes:
        blocks.append(Sentence("Both rest on the same inputs."))
    changed = [item for item in report.characteristics if item.has_changed]
    rows = tuple(
        (
            item.id,
            _value(item.predicted_before, item.std_before, item.unit),
            _value(item.predicted_after, item.std_after, item.unit),
            write_probability(item.p_out_before) if item.predicted_before is not None else NONE,
            write_probability(item.p_out_after) if item.predicted_after is not None else NONE,
        )
        for item in changed
    )
    if rows:
        blocks.append(
            Table(("characteristic", "then", "now", "outside then", "now"), rows, frozenset({1, 2, 3, 4}))
        )
    blocks.append(
        Sentence(f"{len(report.characteristics) - len(changed)} of {len(report.characteristics)} unchanged.")
    )
    return blocks


def record_blocks(records: tuple[RecordedForecast, ...]) -> list[Block]:
    """The list of recorded forecasts."""
    rows = tuple(
        (
            str(item.id),
            item.recorded_at,
            f"{item.out} of {item.characteristics}",
            ", ".join(item.what_if) or NONE,
        )
        for item in records
    )
    return [
        Heading(f"{len(records)} recorded forecasts"),
        Table(("record", "when (UTC)", "not clear", "what if"), rows, frozenset({0})),
    ]


def _value(value: float | None, std: float | None, unit: str) -> str:
    if value is None or std is None:
        return NONE
    return f"{write_estimate(value, std)} {unit}"
