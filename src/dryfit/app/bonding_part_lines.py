"""Lines before bonding about the two parts: printed, accepted, and what must be bonded before them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from dryfit.app.as_built import AsBuilt, find_as_built
from dryfit.app.hold_lines import Check, State
from dryfit.app.inspecting import InspectOptions, plan_inspection
from dryfit.app.instruments import instruments_for
from dryfit.app.joint_case import JointCase
from dryfit.app.remedying import taken_remedies
from dryfit.model.joint import GROUND


def bonded_lines(case: JointCase) -> Iterator[Check]:
    bond = case.built.bond(case.joint.id)
    if bond is not None:
        do = f"take the record back where it was not so: dryfit bond --withdraw {bond.record}"
        yield Check("bond", case.joint.id, "caution", f"bonded already (record {bond.record})", do)


def printed_lines(case: JointCase) -> Iterator[Check]:
    for name in case.parts:
        item = find_as_built(case.as_built, name)
        if item.is_printed and item.print is not None:
            state: State = "caution" if item.caution else "pass"
            why = f"a good print of its present shape (record {item.print.record})"
            if item.caution:
                why += f"; {item.caution}"
            do = "see that this is meant" if item.caution else ""
            yield Check("printed", name, state, why, do)
            continue
        yield Check(
            "printed",
            name,
            "stop",
            _not_printed(item),
            f"print it and enter it: dryfit printed {name} --result good",
        )


def _not_printed(item: AsBuilt) -> str:
    return item.caution or "no good print of its present shape is entered"


def accepted_lines(case: JointCase) -> Iterator[Check]:
    names = [name for name in case.parts if find_as_built(case.as_built, name).is_printed]
    if not names:
        return
    instruments = instruments_for(case.chain.project, case.records)
    plan = plan_inspection(case.chain, case.as_built, instruments, InspectOptions(tuple(names)))
    for name in names:
        done = [row for part in plan.parts if part.part == name for row in part.done]
        yield _accepted_part(
            case, name, [(row.words, row.done.verdict) for row in done if row.done is not None]
        )


def _accepted_part(case: JointCase, name: str, read: Sequence[tuple[str, str | None]]) -> Check:
    if not read:
        do = f"read it: dryfit inspect --part {name} says what"
        return Check("accepted", name, "not checked", "nothing was read of it", do)
    taken = taken_remedies(case.records, name)
    for verdict, words in (("reject", "out of its limits"), ("cannot tell", "too near a limit to tell")):
        bad = [text for text, found in read if found == verdict]
        if not bad:
            continue
        why = f"{len(bad)} of {len(read)} measures {words}: {bad[0]}"
        if taken:
            last = taken[-1]
            todo = (
                ""
                if last.is_done or last.kind == "as is"
                else f", still to be done (dryfit remedy {name} --done {last.record})"
            )
            return Check(
                "accepted",
                name,
                "caution",
                f"{why}; decided on: {last.kind} (record {last.record}){todo}",
                "see that it was done",
            )
        do = (
            f"see what can be done: dryfit remedy {name}"
            if verdict == "reject"
            else "read again with a better instrument"
        )
        return Check("accepted", name, "stop" if verdict == "reject" else "caution", why, do)
    judged = [text for text, found in read if found == "accept"]
    if not judged:
        return Check(
            "accepted",
            name,
            "not checked",
            "its readings have no limits to be held against",
            "state sizes: dryfit feature add",
        )
    return Check(
        "accepted",
        name,
        "pass",
        f"{len(judged)} of {len(read)} measures read lie within their narrowed limits",
    )


def order_lines(case: JointCase) -> Iterator[Check]:
    """Parts that stand before the later one of the two must be bonded to what holds them."""
    order = list(case.report.order)
    last = max((order.index(name) for name in case.parts if name in order), default=0)
    bonded = {bond.joint for bond in case.built.bonds}
    missing = []
    for item in case.report.placing:
        before = item.part in order and order.index(item.part) < last
        own = [joint for joint in item.joints if GROUND not in case.chain.project.joint(joint).parts]
        if (
            before
            and item.part != case.report.datum
            and own
            and not bonded & set(own)
            and case.joint.id not in own
        ):
            missing.append((item.part, own[0]))
    if missing:
        listed = ", ".join(f"{part} ({joint})" for part, joint in missing[:4])
        more = f" and {len(missing) - 4} more" if len(missing) > 4 else ""
        yield Check(
            "order",
            case.joint.id,
            "stop",
            f"parts that come before it are not bonded: {listed}{more}",
            "bond them first, or state another [assembly] order and forecast again",
        )
        return
    yield Check(
        "order", case.joint.id, "pass", "every part that comes before it is bonded or stands on the jig"
    )
