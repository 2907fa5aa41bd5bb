"""What to do with a part that is off: every remedy with what it leaves at risk and what it costs."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

from dryfit.app.as_built import find_as_built
from dryfit.app.as_built_changes import CHANGE_SAMPLES
from dryfit.app.bond_records import Built
from dryfit.app.forecast import Chain, run_forecast
from dryfit.app.live_chain import chain_for
from dryfit.app.remedy_by_hand import best_levers, by_levers, gather_levers, pairs_of
from dryfit.app.remedy_by_printing import reprints, turned_parts
from dryfit.app.remedy_costs import Cost
from dryfit.app.remedy_lines import aim, depends_on, focused
from dryfit.app.remedy_report import (
    LEAST_GAIN,
    Case,
    Remedy,
    RemedyOptions,
    RemedyRefused,
    RemedyReport,
    make_remedy,
)
from dryfit.app.whatif import apply_what_if
from dryfit.model.printing import Print

__all__ = ["RemedyOptions", "RemedyRefused", "RemedyReport", "find_remedies"]

Progress = Callable[[int, int], None]

_MOST_TURNED = 2  # poses that are tried together with something else, and things tried with each
_MOST_SHORT = 6  # remedies that do not meet the risk: the best are listed


def find_remedies(
    chain: Chain,
    part: str,
    prints: Sequence[Print],
    built: Built,
    options: RemedyOptions | None = None,
    progress: Progress | None = None,
) -> RemedyReport:
    """All remedies of a printed part. prints, built: what counts of the whole ledger.

    Raises ReferenceUnknown for an unknown part, RemedyRefused for one that is not printed.
    """
    wanted = options or RemedyOptions()
    _check_options(wanted)
    if chain.as_built is None:
        raise RemedyRefused("nothing is known of the parts as built", "ledger.db", "enter a print first")
    found = find_as_built(chain.as_built, part)
    if not found.is_printed or found.print is None:
        do = f"enter its print: dryfit printed {part} --result good; before that, dryfit orient turns it"
        raise RemedyRefused(f'"{part}" is not printed as it is now', "ledger.db", do)
    before = run_forecast(chain, samples=CHANGE_SAMPLES, with_prior=False)
    number = [item.id for item in chain.project.parts].index(part)
    over = [
        i
        for i, item in enumerate(before.characteristics)
        if item.p_out is not None and item.p_out > before.risk
    ]
    over.sort(key=lambda i: -(before.characteristics[i].p_out or 0.0))
    mine = tuple(i for i in over if depends_on(chain.structure, i, number))
    others = tuple(i for i in over if i not in mine)
    aims = focused(aim(chain), others)
    case = Case(chain, part, found.print, prints, built, wanted, aims, before, mine, others)
    notes: list[str] = []
    remedies = [make_remedy(case, "as is", (), before, Cost(0.0))]
    if mine:
        remedies += _all_remedies(case, notes, progress)
    meeting = [item for item in remedies if item.meets]
    short = sorted((item for item in remedies[1:] if not item.meets and _helps(item)), key=_order)
    if len(short) > _MOST_SHORT:
        notes.append(
            f"{len(short) - _MOST_SHORT} more were worked out that do not meet the risk and leave more of it"
        )
    kept = [*meeting, *short[:_MOST_SHORT]]
    # Whatever they are worth, a builder wants to see what using it as it is and printing it again come to.
    plain = ("as is", "reprint", "reprint corrected")
    kept += [item for item in remedies if item.kind in plain and item not in kept]
    names = [item.id for item in before.characteristics]
    return RemedyReport(
        project=chain.project.name,
        part=part,
        print=found.print.record,
        risk=before.risk,
        at_risk=tuple(names[i] for i in mine),
        others=tuple(names[i] for i in over if i not in mine),
        remedies=tuple(sorted(kept, key=_order)),
        notes=tuple(notes),
        options=wanted,
    )


def _order(item: Remedy) -> tuple[bool, bool, float, float, float]:
    left = sum(row.after for row in item.outcomes)
    if item.meets:
        return False, not item.cost.is_known, item.cost.total_hours, left, 0.0
    return True, False, round(item.worst, 3), round(left, 3), item.cost.total_hours


def _helps(item: Remedy) -> bool:
    return any(row.before - row.after > LEAST_GAIN for row in item.outcomes)


def _check_options(options: RemedyOptions) -> None:
    for name in ("sand_most_mm", "shim_most_mm", "length_most_mm", "hand_std_mm", "bond_std_mm"):
        value = getattr(options, name)
        if not 0.0 <= value <= 20.0:
            raise RemedyRefused(f"{name} {value:g}", "the command line", "state 0 to 20 mm")
    if not 0.005 <= options.step_mm <= 1.0:
        raise RemedyRefused(f"steps of {options.step_mm:g} mm", "--step", "state 0.005 to 1 mm")
    for work, value in options.minutes.items():
        if not 0.0 <= value <= 10_000.0:
            raise RemedyRefused(f"{value:g} minutes for {work}", "--minutes", "state 0 to 10000")


def _all_remedies(case: Case, notes: list[str], progress: Progress | None) -> list[Remedy]:
    tick = progress or (lambda done, total: None)
    levers = gather_levers(case, notes)
    tick(1, 6)
    singles = by_levers(case, [[lever] for lever in levers])
    tick(2, 6)
    found = [*singles, *reprints(case, notes)]
    tick(3, 6)
    turned = turned_parts(case, notes)
    found += turned
    tick(4, 6)
    # Printing again mends much, at the price of a print: two things done by hand may still be cheaper.
    if not any(item.meets and not item.kind.startswith("reprint") for item in found):
        found += by_levers(case, pairs_of(case, levers))
        tick(5, 6)
        first_of_part = {item.steps[0].part: item for item in reversed(turned)}
        found += _turned_and_more(
            case, [item for item in turned if first_of_part[item.steps[0].part] is item]
        )
    tick(6, 6)
    return found


def _turned_and_more(case: Case, turned: Sequence[Remedy]) -> list[Remedy]:
    """Another pose of a part to come, and an amount somewhere else with it."""
    found = []
    for first in turned:
        project = apply_what_if(case.chain.project, [first.steps[0].change])
        chain = chain_for(case.chain, project)
        now = replace(case, chain=chain, aims=focused(aim(chain), case.others))
        levers = [[lever] for lever in best_levers(now, gather_levers(now, []), _MOST_TURNED)]
        for second in by_levers(now, levers):
            cost = Cost(first.cost.minutes + second.cost.minutes)
            both = (*first.steps, *second.steps)
            found.append(replace(second, kind="two together", steps=both, cost=cost))
    return found
