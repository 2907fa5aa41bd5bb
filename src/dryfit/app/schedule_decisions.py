"""Decisions about the evidence: what the user leaves out or keeps knowingly, with the reason, in the ledger."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Literal, get_args

from dryfit.app.ledger_reading import read_records
from dryfit.app.schedule_problem import list_ids
from dryfit.base.errors import ReferenceUnknown
from dryfit.model.evidence import JointObservations
from dryfit.model.project import Project
from dryfit.store.ledger import LEDGER_NAME, LedgerRecord, open_ledger
from dryfit.store.words import quote, suggest

DECISION = "decision"
ABOUT = "schedule"
Verb = Literal["without", "keep", "restore"]
VERBS: tuple[Verb, ...] = get_args(Verb)


@dataclass(frozen=True, slots=True)
class Decision:
    """verb: leave it out, keep it in knowingly, or take either back; because: the user's reason."""

    id: str
    verb: Verb
    because: str
    record: int
    at: str


def read_decisions(folder: Path) -> Mapping[str, Decision]:
    """The decisions that hold, by what they are about; none where the project has no ledger yet."""
    return decisions_of(read_records(folder, DECISION))


def decisions_of(records: Sequence[LedgerRecord]) -> Mapping[str, Decision]:
    """The same, out of records of any kind: the last about each id holds, and one that restores leaves none."""
    held: dict[str, Decision] = {}
    for record in records:
        payload = record.payload
        if record.kind != DECISION or payload.get("about") != ABOUT:
            continue
        held.pop(payload["id"], None)
        if payload["verb"] != "restore":
            held[payload["id"]] = Decision(
                payload["id"], payload["verb"], payload["because"], record.id, record.recorded_at
            )
    return held


def check_decision(
    project: Project,
    held: Mapping[str, Decision],
    verb: Verb,
    ids: Sequence[str],
    because: str,
    extras: Sequence[JointObservations] = (),
) -> None:
    """Raise ReferenceUnknown where an id names nothing, the reason is missing, or there is nothing to restore."""
    where = f"dryfit schedule --{verb}"
    if verb != "restore" and not because.strip():
        do = 'say why: --because "the guide counts the weather vane"'
        raise ReferenceUnknown("a decision needs its reason", where, do)
    known = list_ids(project, extras)
    for id in ids:
        if verb == "restore" and id not in held:
            do = suggest(id, held, "decisions") if held else "no decision holds at present"
            raise ReferenceUnknown(f"no decision about {quote(id)} holds", where, do)
        if verb != "restore" and id not in known:
            do = suggest(id, known, "observations and relations")
            raise ReferenceUnknown(f"there is no observation or relation {quote(id)}", where, do)


def left_out_after(held: Mapping[str, Decision], verb: Verb | None, ids: Sequence[str]) -> frozenset[str]:
    """Ids that are left out once a decision is made; None: as they are."""
    out = frozenset(id for id, decision in held.items() if decision.verb == "without")
    return out | set(ids) if verb == "without" else out - set(ids if verb is not None else ())


def record_decision(folder: Path, verb: Verb, ids: Sequence[str], because: str) -> tuple[LedgerRecord, ...]:
    """Write one decision for each id, all or none; they have been checked."""
    payloads = [{"about": ABOUT, "id": id, "verb": verb, "because": because.strip()} for id in ids]
    with open_ledger(folder / LEDGER_NAME) as ledger:
        return ledger.append_all(DECISION, payloads)
