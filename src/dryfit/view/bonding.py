"""Dry fits and bonds in words and rows."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from dryfit.app.bonding import JointReport
from dryfit.app.ready import HoldPoint
from dryfit.model.handwork import Bond, DryFit, GapReading
from dryfit.view.blocks import Block, Heading, Sentence, Table
from dryfit.view.digits import NONE, write_estimate, write_number
from dryfit.view.plain import to_plain


def joint_blocks(report: JointReport) -> list[Block]:
    """What is known of a joint by hand, contact by contact."""
    state = "bonded" if report.bond else "dry-fitted" if report.dry_fit else "not dry-fitted yet"
    blocks: list[Block] = [Heading(f"{report.joint}: {state}", "pass" if report.bond else None)]
    if report.entered is not None:
        blocks.append(Sentence(f"Entered: record {report.entered}.", mark=True))
    if report.dry_fit is not None:
        blocks.append(Sentence(dry_fit_words(report.dry_fit), mark=True))
    if report.bond is not None:
        blocks.append(Sentence(bond_words(report.bond), mark=True))
    gaps = report.bond.gaps if report.bond else report.dry_fit.gaps if report.dry_fit else ()
    measured = {gap.contact: gap for gap in gaps}
    rows = tuple(
        (
            str(number),
            ", ".join(write_number(float(value), 0) for value in place),
            write_estimate(float(expected), float(std)),
            write_estimate(measured[number].value_mm, measured[number].std_mm)
            if number in measured
            else NONE,
        )
        for number, (place, expected, std) in enumerate(
            zip(report.contacts_mm, report.expected_mm, report.std_mm, strict=True), 1
        )
    )
    blocks.append(
        Table(("contact", "at, mm", "gap expected, mm", "measured, mm"), rows, frozenset({0, 2, 3}))
    )
    if 0 in measured:
        blocks.append(Sentence(f"Mean over the face: {_gap(measured[0])}.", mark=True))
    if report.bond is not None and not report.bond.gaps:
        text = (
            "No gap was measured on the bond: it no longer changes, but what it is stays as uncertain as it was. "
            "A feeler gauge at two contacts would tell."
        )
        blocks.append(Sentence(text, "not checked", mark=True))
    return blocks


def dry_fit_words(item: DryFit) -> str:
    """A dry fit in one line."""
    note = f" ({item.note})" if item.note else ""
    gaps = f", {len(item.gaps)} gaps measured" if item.gaps else ", no gap measured"
    return f"Dry fit, record {item.record}: {item.result}{gaps}{note}."


def bond_words(item: Bond) -> str:
    """A bond in one line."""
    with_ = f" with {item.adhesive}" if item.adhesive else ""
    when = f" on {item.done_at[:10]}" if item.done_at else ""
    despite = f", although its hold point had a stop: {item.despite}" if item.despite else ""
    because = f" ({item.because})" if item.because else ""
    return f"Bond, record {item.record}: {item.parts[0]} to {item.parts[1]}{with_}{when}{despite}{because}."


def list_blocks(project: str, dry_fits: Sequence[DryFit], bonds: Sequence[Bond]) -> list[Block]:
    """Every dry fit and bond that counts."""
    heading = f"{project}: {len(bonds)} joints bonded, {len(dry_fits)} dry-fitted"
    blocks: list[Block] = [Heading(heading)]
    blocks += [Sentence(f"{item.joint}. {dry_fit_words(item)}", mark=True) for item in dry_fits]
    blocks += [Sentence(f"{item.joint}. {bond_words(item)}", mark=True) for item in bonds]
    return blocks


def _gap(gap: GapReading) -> str:
    return f"{write_estimate(gap.value_mm, gap.std_mm)} mm"


def joint_plain(report: JointReport) -> dict[str, Any]:
    """Keys of `dryfit dry-fit --json` and `dryfit bond --json` for a joint."""
    return {
        "joint": report.joint,
        "parts": list(report.parts),
        "entered": report.entered,
        "contacts": [
            {
                "number": number,
                "at_mm": place.tolist(),
                "gap_expected_mm": float(gap),
                "gap_std_mm": float(std),
            }
            for number, (place, gap, std) in enumerate(
                zip(report.contacts_mm, report.expected_mm, report.std_mm, strict=True), 1
            )
        ],
        "dry_fit": None if report.dry_fit is None else dry_fit_plain(report.dry_fit),
        "bond": None if report.bond is None else bond_plain(report.bond),
        "hold_point": None if report.hold is None else _hold_plain(report.hold),
    }


def list_plain(project: str, dry_fits: Sequence[DryFit], bonds: Sequence[Bond]) -> dict[str, Any]:
    """Keys of the same commands without a joint."""
    return {
        "project": project,
        "dry_fits": [dry_fit_plain(item) for item in dry_fits],
        "bonds": [bond_plain(item) for item in bonds],
    }


def dry_fit_plain(item: DryFit) -> dict[str, Any]:
    """A dry fit as plain keys."""
    return {
        "record": item.record,
        "at": item.at,
        "joint": item.joint,
        "parts": list(item.parts),
        "prints": list(item.prints),
        "result": item.result,
        "gaps": [_gap_plain(gap) for gap in item.gaps],
        "note": item.note,
        "by": item.by,
    }


def bond_plain(item: Bond) -> dict[str, Any]:
    """A bond as plain keys."""
    return {
        "record": item.record,
        "at": item.at,
        "joint": item.joint,
        "parts": list(item.parts),
        "prints": list(item.prints),
        "done_at": item.done_at,
        "adhesive": item.adhesive,
        "gaps": [_gap_plain(gap) for gap in item.gaps],
        "despite": item.despite,
        "because": item.because,
        "by": item.by,
    }


def _hold_plain(hold: HoldPoint) -> dict[str, Any]:
    return {"before": hold.stage, "state": hold.state, "checks": [to_plain(check) for check in hold.checks]}


def _gap_plain(gap: GapReading) -> dict[str, Any]:
    return {"contact": gap.contact, "value_mm": gap.value_mm, "std_mm": gap.std_mm}
