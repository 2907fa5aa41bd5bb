"""Dry fits and bonds: enter them, list them, take them back."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from dryfit.app.bond_records import BOND, DRY_FIT, WITHDRAWS, gap_payload, read_built
from dryfit.app.joint_case import JointCase, joint_case, prints_of_joint
from dryfit.app.ledger_reading import read_records
from dryfit.app.loading import open_project
from dryfit.app.prints import read_moment
from dryfit.app.ready import HoldPoint
from dryfit.app.ready_bonding import check_joint
from dryfit.base.arrays import Array
from dryfit.base.errors import DryfitError
from dryfit.model.handwork import Bond, DryFit, GapReading
from dryfit.model.joint import GROUND
from dryfit.store.ledger import LEDGER_NAME, open_ledger

Progress = Callable[[int, int], None]
RESULTS = ("goes", "does not go")
# What a feeler gauge tells of a gap between printed faces: one standard deviation. Common practice, no source.
FEELER_STD_MM = 0.02
MOST_GAP_MM = 20.0
_GAP = re.compile(r"(?:(\d+)\s*=\s*)?([0-9.eE+-]+)")


class BondRefused(DryfitError):
    """A dry fit or a bond that cannot be entered."""


@dataclass(frozen=True, slots=True, eq=False)
class JointReport:
    """What is known of a joint by hand.

    contacts_mm  (c, 3) its face contacts, in their numbers
    expected_mm, std_mm  (c,) gap at each by all that is known but the bond itself
    entered   record that was made now; None where none was
    hold      its hold point; None where it was not asked for
    """

    joint: str
    parts: tuple[str, str]
    contacts_mm: Array
    expected_mm: Array
    std_mm: Array
    dry_fit: DryFit | None
    bond: Bond | None
    entered: int | None = None
    hold: HoldPoint | None = None


def enter_dry_fit(
    path: Path,
    joint: str,
    result: str,
    gaps: Sequence[str] = (),
    gap_std_mm: float = FEELER_STD_MM,
    note: str = "",
    by: str = "",
    progress: Progress | None = None,
) -> JointReport:
    """Enter that the two parts of a joint were put together without adhesive.

    gaps : "2=0.15" at contact 2, or "0.15" for the mean over the face
    Raises BondRefused for what cannot be, ReferenceUnknown for an unknown joint.
    """
    opened = open_project(path, progress)
    case = joint_case(opened, joint)
    if result not in RESULTS:
        raise BondRefused(
            f'"{result}" is no result of a dry fit', "--result", f"one of: {', '.join(RESULTS)}"
        )
    _check_printed(case, "dry-fitted")
    found = read_gaps(joint, gaps, gap_std_mm, len(case.contacts_mm))
    payload = _payload(case, found, {"result": result, "note": note.strip(), "by": by})
    with open_ledger(opened.folder / LEDGER_NAME) as ledger:
        number = ledger.append(DRY_FIT, payload).id
    return _report(joint_case(opened, joint), number)


def enter_bond(
    path: Path,
    joint: str,
    done_at: str | None = None,
    adhesive: str | None = None,
    gaps: Sequence[str] = (),
    gap_std_mm: float = FEELER_STD_MM,
    as_dry_fitted: bool = False,
    despite: str = "",
    because: str = "",
    temp_c: float | None = None,
    by: str = "",
    progress: Progress | None = None,
) -> JointReport:
    """Enter that a joint was bonded: from now on its gap is what it is.

    gaps : measured on the bonded joint, as of a dry fit; as_dry_fitted : those of the dry fit are those of the bond
    despite : why it was bonded although its hold point has a stop
    Raises BondRefused where it has one and no reason is given, and for what cannot be.
    """
    opened = open_project(path, progress)
    case = joint_case(opened, joint)
    _check_printed(case, "bonded")
    if case.built.bond(joint) is not None:
        number = case.built.bond(joint).record  # type: ignore[union-attr]
        do = f"take that back first, where it was not so: dryfit bond --withdraw {number}"
        raise BondRefused(f'joint "{joint}" is bonded already (record {number})', LEDGER_NAME, do)
    hold = check_joint(case, temp_c)
    stops = [check for check in hold.checks if check.state == "stop"]
    if stops and not despite.strip():
        listed = "; ".join(f"{check.topic} {check.subject}: {check.reason}" for check in stops)
        do = (
            f"{stops[0].do}; or say why all the same: --despite REASON" if stops[0].do else "--despite REASON"
        )
        raise BondRefused(f"its hold point has {len(stops)} stops: {listed}", f"joint {joint}", do)
    found = read_gaps(joint, gaps, gap_std_mm, len(case.contacts_mm))
    if as_dry_fitted:
        fit = case.built.dry_fit(joint)
        if found:
            raise BondRefused(
                "gaps are given beside those of the dry fit", "--as-dry-fitted", "give one of them"
            )
        if fit is None or not fit.gaps or fit.prints != prints_of_joint(case):
            do = "measure the bond instead: --gap MM"
            raise BondRefused("no gap was measured at a dry fit of these prints", "--as-dry-fitted", do)
        found = fit.gaps
    stated = case.joint.adhesive or "" if adhesive is None else adhesive
    payload = _payload(
        case,
        found,
        {
            "done_at": "" if done_at is None else read_moment(done_at, "--at"),
            "adhesive": stated,
            "despite": despite.strip() if stops else "",
            "because": because.strip(),
            "by": by,
        },
    )
    with open_ledger(opened.folder / LEDGER_NAME) as ledger:
        number = ledger.append(BOND, payload).id
    return _report(joint_case(opened, joint), number, hold)


def look_at_joint(path: Path, joint: str, progress: Progress | None = None) -> JointReport:
    """What is known of a joint; nothing is entered."""
    return _report(joint_case(open_project(path, progress), joint), None)


def withdraw_by_hand(path: Path, kind: str, record: int, by: str = "") -> int:
    """Take a dry fit or a bond back by a further record. Returns that record's number.

    Raises BondRefused where the record is none of that kind, or no longer counts.
    """
    opened = open_project(path)
    built = read_built(read_records(opened.folder))
    held = built.dry_fits if kind == DRY_FIT else built.bonds
    if record not in [item.record for item in held]:
        listed = ", ".join(str(item.record) for item in held)
        do = f"those that count: records {listed}" if listed else "none is entered"
        raise BondRefused(f"record {record} is no {kind} that counts", LEDGER_NAME, do)
    with open_ledger(opened.folder / LEDGER_NAME) as ledger:
        return ledger.append(kind, {WITHDRAWS: record, "by": by}).id


def list_by_hand(path: Path) -> tuple[str, tuple[DryFit, ...], tuple[Bond, ...]]:
    """Name of the project, dry fits and bonds that count."""
    opened = open_project(path)
    built = read_built(read_records(opened.folder))
    return opened.project.name, built.dry_fits, built.bonds


def read_gaps(joint: str, words: Sequence[str], std_mm: float, contacts: int) -> tuple[GapReading, ...]:
    """Gaps of words like "2=0.15" or "0.15". Raises BondRefused for others."""
    if not (math.isfinite(std_mm) and 0.0 <= std_mm <= MOST_GAP_MM):
        raise BondRefused(
            f"a standard uncertainty of {std_mm:g} mm", "--gap-std", f"state 0 to {MOST_GAP_MM:g} mm"
        )
    found: dict[int, GapReading] = {}
    for word in words:
        match = _GAP.fullmatch(word.strip())
        try:
            value = float(match.group(2)) if match else math.nan
        except ValueError:
            value = math.nan
        if match is None or not math.isfinite(value):
            raise BondRefused(
                f'"{word}" is no gap', "--gap", "write 2=0.15 for contact 2, or 0.15 for the mean"
            )
        number = int(match.group(1) or 0)
        if match.group(1) is not None and not 1 <= number <= contacts:
            raise BondRefused(
                f"there is no contact {number}", "--gap", f"joint {joint} has contacts 1 to {contacts}"
            )
        if not -MOST_GAP_MM <= value <= MOST_GAP_MM:
            raise BondRefused(f"a gap of {value:g} mm", "--gap", f"state at most {MOST_GAP_MM:g} mm")
        if number in found:
            raise BondRefused(f"two gaps for one place: {word}", "--gap", "give one for each contact")
        found[number] = GapReading(joint, number, value, std_mm)
    if 0 in found and len(found) > 1:
        raise BondRefused("a mean and single gaps are given together", "--gap", "give the one or the others")
    return tuple(found.values())


def _check_printed(case: JointCase, done: str) -> None:
    printed = case.as_built.printed
    for name in case.joint.parts:
        if name != GROUND and name not in printed:
            do = f"enter its print first: dryfit printed {name} --result good"
            raise BondRefused(f'"{name}" is not printed, and cannot be {done}', f"joint {case.joint.id}", do)


def _payload(case: JointCase, gaps: Sequence[GapReading], more: dict[str, Any]) -> dict[str, Any]:
    return {
        "joint": case.joint.id,
        "parts": list(case.joint.parts),
        "prints": list(prints_of_joint(case)),
        "gaps": gap_payload(gaps),
        **more,
    }


def _report(case: JointCase, entered: int | None, hold: HoldPoint | None = None) -> JointReport:
    return JointReport(
        case.joint.id,
        case.joint.parts,
        case.contacts_mm,
        case.expected_mm,
        case.std_mm,
        case.built.dry_fit(case.joint.id),
        case.built.bond(case.joint.id),
        entered,
        hold,
    )
