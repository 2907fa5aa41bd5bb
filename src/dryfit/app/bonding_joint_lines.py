"""Lines before bonding about the joint itself: dry fit, gap, what is still open, jig, adhesive, temperature."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from dryfit.app.hold_lines import Check, State, fit_state
from dryfit.app.joint_case import JointCase, prints_of_joint
from dryfit.app.ready import what_would_hold, words_of
from dryfit.calc.remedies import risk_outside
from dryfit.model.adhesive import EPOXY_FILLS_MM
from dryfit.model.characteristic import JOINT_KINDS

_RESIN = {
    "epoxy": (
        "nitrile gloves and fresh air: uncured epoxy sensitises the skin for good; mix small amounts, a full cup heats "
        "itself and cuts its pot life"
    ),
    "polyurethane": "gloves and fresh air: isocyanates sensitise lungs and skin; damp makes it foam",
    "acrylic": "gloves, fresh air, no flame: its vapour is strong and burns; it gels within minutes and heats itself",
    "cyanoacrylate": "goggles and fresh air: it bonds skin at once, its fumes sting; it fills next to nothing",
    "solvent": "fresh air and no flame: the vapour burns and harms; too much softens and moves the faces",
    "other": "gloves, fresh air, no flame, as its own sheet says",
}


def dry_fit_lines(case: JointCase) -> Iterator[Check]:
    fit = case.built.dry_fit(case.joint.id)
    do = f"put them together without adhesive and enter it: dryfit dry-fit {case.joint.id} --result goes --gap 1=0.10"
    if fit is None:
        yield Check("dry fit", case.joint.id, "stop", "no dry fit is recorded", do)
        return
    if fit.prints != prints_of_joint(case):
        yield Check(
            "dry fit", case.joint.id, "stop", f"the dry fit (record {fit.record}) was of other prints", do
        )
        return
    if fit.result != "goes":
        note = f": {fit.note}" if fit.note else ""
        yield Check(
            "dry fit",
            case.joint.id,
            "stop",
            f"it did not go together (record {fit.record}){note}",
            "dryfit remedy PART",
        )
        return
    if not fit.gaps:
        why = f"it goes (record {fit.record}), but no gap was measured"
        yield Check(
            "dry fit", case.joint.id, "caution", why, "measure the gap at its contacts with a feeler gauge"
        )
        return
    low, high = case.fills_mm
    values = [gap.value_mm for gap in fit.gaps]
    words = (
        f"gaps of {min(values):.2f} to {max(values):.2f} mm measured (record {fit.record}), the adhesive fills "
        f"{low:g} to {high:g} mm"
    )
    if max(values) > high:
        yield Check(
            "dry fit",
            case.joint.id,
            "stop",
            words,
            "shim or sand the wide end (dryfit remedy PART), or use what fills more",
        )
    elif min(values) < low:
        yield Check(
            "dry fit",
            case.joint.id,
            "caution",
            words,
            "keep the faces apart by wires or beads, or the joint is starved",
        )
    else:
        yield Check("dry fit", case.joint.id, "pass", words)


def gap_lines(case: JointCase) -> Iterator[Check]:
    """The gap that readings let expect, against what the adhesive fills."""
    low, high = case.fills_mm
    wide = risk_outside(case.expected_mm, case.std_mm, np.array(-np.inf), np.array(high))
    thin = risk_outside(case.expected_mm, case.std_mm, np.array(low), np.array(np.inf))
    worst = int(np.argmax(np.maximum(wide, thin)))
    x, y, z = case.contacts_mm[worst]
    words = (
        f"expected {case.expected_mm.min():.2f} to {case.expected_mm.max():.2f} mm at its contacts, "
        f"known to {case.std_mm.max():.2f} mm (one standard deviation); the adhesive fills {low:g} to {high:g} mm"
    )
    place = f"contact {worst + 1} at ({x:.0f}, {y:.0f}, {z:.0f})"
    risk = case.report.risk
    if wide.max() > risk:
        why = f"{words}; wider with probability {words_of(float(wide.max()))} at {place}"
        do = "measure it dry; shim or sand (dryfit remedy PART), or use what fills more"
        yield Check("gap", case.joint.id, "stop", why, do)
    elif thin.max() > risk:
        why = f"{words}; thinner with probability {words_of(float(thin.max()))} at {place}"
        do = "keep the faces apart by wires or beads of the bond line's thickness"
        yield Check("gap", case.joint.id, "caution", why, do)
    else:
        yield Check("gap", case.joint.id, "pass", words)


def closing_lines(case: JointCase) -> Iterator[Check]:
    """Joints that are still open: whether they will close, given what is fixed by now."""
    bonded = {bond.joint for bond in case.built.bonds}
    open_joints = [joint for joint in case.report.closing if joint not in bonded]
    if not open_joints:
        yield Check("closing", "closing joints", "pass", "none is open any more, or the assembly has none")
        return
    for joint in open_joints:
        shown = [
            (wanted.id, item)
            for wanted, item in zip(
                case.chain.project.characteristics, case.report.characteristics, strict=True
            )
            if wanted.joint == joint and wanted.kind in JOINT_KINDS
        ]
        if not shown:
            do = "state its gap with limits as a [[characteristic]]"
            yield Check("closing", joint, "not checked", "nothing says what gap it may have", do)
        for id, item in shown:
            state = fit_state(item, case.report.risk)
            if item.p_out is None:
                do = "hold the part, or state a play for it"
                yield Check("closing", id, state, f"undetermined: {', '.join(item.free_parts)} can move", do)
                continue
            why = (
                f"out of limits with probability {words_of(item.p_out)} as far as is known now, the stated risk is "
                f"{words_of(case.report.risk)}"
            )
            do = (
                "do not fix what could still take it up: dryfit remedy PART, dryfit forecast"
                if state == "stop"
                else ""
            )
            yield Check("closing", id, state, why, do)


def jig_lines(case: JointCase) -> Iterator[Check]:
    free = [
        item
        for item in case.report.placing
        if item.part in case.parts and item.free_motions and case.joint.id in item.joints
    ]
    for item in free:
        yield Check(
            "jig",
            item.part,
            "caution",
            f"a jig is needed until it has cured: it {'; '.join(item.free_motions)}",
            what_would_hold(len(item.free_motions), item.joints),
        )
    if not free:
        yield Check(
            "jig",
            case.joint.id,
            "pass",
            "not needed to place it: contacts hold every motion; clamp it all the same",
        )


def adhesive_lines(case: JointCase) -> Iterator[Check]:
    item = case.adhesive
    if item is None:
        low, high = EPOXY_FILLS_MM
        yield Check(
            "adhesive",
            case.joint.id,
            "not checked",
            f"none is stated: {low:g} to {high:g} mm taken as filled, common for epoxy (common practice, no source)",
            'state it as [[adhesive]] with what its own sheet says, and adhesive = "ID" at the joint',
        )
    else:
        pot = "pot life not stated" if item.pot_life_min is None else f"pot life {item.pot_life_min:g} min"
        cure = "time to load not stated" if item.cure_h is None else f"no load before {item.cure_h:g} h"
        source = item.source or "no source stated"
        state: State = "pass" if item.pot_life_min is not None and item.cure_h is not None else "caution"
        do = "" if state == "pass" else "take them from the product's own sheet: pot_life_min, cure_h"
        yield Check("adhesive", item.id, state, f"{item.kind}: {pot}, {cure} ({source})", do)
    kind = "epoxy" if item is None else item.kind
    yield Check(
        "safety",
        kind,
        "caution",
        _RESIN[kind],
        "the product's own sheet rules; nothing bears load before it has cured",
    )


def temperature_lines(case: JointCase, temp_c: float | None) -> Iterator[Check]:
    wanted = None if case.adhesive is None else case.adhesive.temp_c
    if temp_c is None:
        asks = "" if wanted is None else f"; the adhesive wants {wanted[0]:g} to {wanted[1]:g} C"
        do = "measure parts and room and state --temp; let warm parts cool first"
        yield Check("temperature", case.joint.id, "not checked", f"of parts and room not stated{asks}", do)
    elif wanted is None:
        do = "compare it with the product's own sheet; state temp_c at [[adhesive]]"
        yield Check(
            "temperature",
            case.joint.id,
            "not checked",
            f"{temp_c:g} C, and nothing says what the adhesive wants",
            do,
        )
    elif not wanted[0] <= temp_c <= wanted[1]:
        why = f"{temp_c:g} C, the adhesive wants {wanted[0]:g} to {wanted[1]:g} C"
        yield Check("temperature", case.joint.id, "stop", why, "bring parts and room there first")
    else:
        yield Check(
            "temperature", case.joint.id, "pass", f"{temp_c:g} C, within {wanted[0]:g} to {wanted[1]:g} C"
        )
