"""What the checks of machines mean at a hold point."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from dryfit.app.forecast import Chain
from dryfit.app.hold_lines import Check
from dryfit.app.preflight_judge import judge_machine, judge_overdue
from dryfit.app.preflight_records import PREFLIGHT, preflights_of
from dryfit.store.ledger import LedgerRecord, read_clock


def preflight_lines(
    chain: Chain, records: Sequence[LedgerRecord], now: datetime | None = None
) -> tuple[Check, ...]:
    """The lines of a hold point: for each machine that prints a part, whether it is fit to print now.

    chain : of the project made ready   records : of the ledger, any kind   now : with time zone; None: now
    Overdue, or a square out of the band that the project bears, is a stop. Where there was never a check the line is
    not checked, and nothing is computed for it.
    """
    moment = now or read_clock()
    used = {part.machine for part in chain.project.parts}
    lines: list[Check] = []
    for machine in chain.project.machines:
        if machine.id in used:
            lines += _machine_lines(chain, records, machine.id, moment)
    return tuple(lines)


def _machine_lines(chain: Chain, records: Sequence[LedgerRecord], machine: str, now: datetime) -> list[Check]:
    if not preflights_of(records, machine):
        return [
            Check(
                PREFLIGHT, machine, "not checked",
                "square, fasteners, belts, bed, nozzle and filament were not checked yet",
                f"before a print of more than ten hours: dryfit preflight {machine} --hours N",
            )
        ]  # fmt: skip
    watching, _, judged, _ = judge_machine(chain, records, machine)
    overdue = judge_overdue(watching, now)
    found = [] if overdue is None else [overdue]
    found += [
        Check(PREFLIGHT, machine, line.state, f"{_subject(line)}: {line.reason}", line.do)
        for line in judged
        if line.state != "pass"
    ]
    last = watching.last
    if not found and last is not None:
        found.append(
            Check(PREFLIGHT, machine, "pass", f"checked on {last.at[:10]} at {last.hours:g} h: all in order")
        )
    return found


def _subject(line: Check) -> str:
    return f"square in {line.subject}" if line.topic == "square" else line.subject
