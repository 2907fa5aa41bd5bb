"""Remedies as records: what is asked for, what each comes to, and what all of them are worked out from."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

from dryfit.app.as_built_changes import CHANGE_SAMPLES
from dryfit.app.bond_records import Built
from dryfit.app.forecast import Chain, run_forecast
from dryfit.app.remedy_costs import MINUTES, Cost, Work
from dryfit.app.remedy_lines import Aims
from dryfit.base.errors import DryfitError
from dryfit.model.forecast import ForecastReport
from dryfit.model.printing import Print

RemedyKind = Literal[
    "as is",
    "sand",
    "shim",
    "bond line",
    "turn another",
    "change another",
    "reprint",
    "reprint corrected",
    "two together",
]

BEST_OF_A_SORT = 3  # of each sort that are worked out exactly
LEAST_GAIN = 1e-3  # a remedy that lessens no probability by so much is not listed


class RemedyRefused(DryfitError):
    """A remedy that cannot be looked for, taken or done."""


@dataclass(frozen=True, slots=True)
class RemedyOptions:
    """Limits of what is done by hand. All are common practice, no source.

    sand_most_mm   deepest sanding of a face: it must stay within the shell
    shim_most_mm   thickest shim
    length_most_mm  most that a part to come is lengthened or shortened
    step_mm        steps in which a builder can work
    hand_std_mm    how uncertain sanding and shimming is at each contact of a face
    bond_std_mm    how uncertain a bond line is where its std is not stated
    minutes        by kind of work, instead of the usual ones
    """

    sand_most_mm: float = 1.0
    shim_most_mm: float = 1.5
    length_most_mm: float = 3.0
    step_mm: float = 0.05
    hand_std_mm: float = 0.05
    bond_std_mm: float = 0.02
    minutes: Mapping[Work, float] = field(default_factory=dict)

    def minutes_of(self, work: Work) -> float:
        """Of one piece of work."""
        return self.minutes.get(work, MINUTES[work])


@dataclass(frozen=True, slots=True)
class Outcome:
    """Probability out of limits of a characteristic before and after a remedy."""

    id: str
    before: float
    after: float


@dataclass(frozen=True, slots=True)
class Step:
    """One thing to do.

    joint, part   where; "" where it has none
    amounts_mm    of a face: taken off at each contact, negative: added; points_mm the contacts
    edges_mm      of a wedge: two places and the amount at each
    change        as a what-if of the document, "joint.bond_line_mm=0.15"; "" where it is none
    """

    kind: RemedyKind
    words: str
    joint: str = ""
    part: str = ""
    amounts_mm: tuple[float, ...] = ()
    points_mm: tuple[tuple[float, float, float], ...] = ()
    std_mm: float = 0.0
    change: str = ""


@dataclass(frozen=True, slots=True)
class Remedy:
    """A remedy, worked out exactly.

    steps    what to do, one or two things
    outcomes of the characteristics at risk of this part, then of any other that it moves
    worst    largest probability out of limits among them
    meets    whether all of them are within the stated risk afterwards, and none that was is not
    cautions what else it means
    """

    kind: RemedyKind
    steps: tuple[Step, ...]
    outcomes: tuple[Outcome, ...]
    worst: float
    meets: bool
    cost: Cost
    cautions: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class RemedyReport:
    """What can be done about a part.

    at_risk   characteristics beyond the stated risk that this part moves, the worst first
    others    beyond it as well, but this part does not move them
    remedies  those that meet the risk first, cheapest first; then the others, the least risk first
    notes     what was not looked at, and why
    """

    project: str
    part: str
    print: int
    risk: float
    at_risk: tuple[str, ...]
    others: tuple[str, ...]
    remedies: tuple[Remedy, ...]
    notes: tuple[str, ...]
    options: RemedyOptions

    @property
    def count_meeting(self) -> int:
        """How many remedies meet the stated risk."""
        return sum(item.meets for item in self.remedies)


@dataclass(frozen=True, slots=True, eq=False)
class Case:
    """What all remedies of a part are worked out from."""

    chain: Chain
    part: str
    print: Print
    prints: Sequence[Print]
    built: Built
    options: RemedyOptions
    aims: Aims
    before: ForecastReport
    at_risk: tuple[int, ...]
    others: tuple[int, ...] = ()

    @property
    def printed(self) -> frozenset[str]:
        as_built = self.chain.as_built
        return frozenset() if as_built is None else frozenset(as_built.printed)

    @property
    def bonded(self) -> frozenset[str]:
        return frozenset(bond.joint for bond in self.built.bonds)


def make_remedy(
    case: Case,
    kind: RemedyKind,
    steps: tuple[Step, ...],
    after: ForecastReport,
    cost: Cost,
    cautions: tuple[str, ...] = (),
) -> Remedy:
    pairs = list(zip(case.before.characteristics, after.characteristics, strict=True))
    rows = []
    for index, (old, new) in enumerate(pairs):
        if old.p_out is None or new.p_out is None:
            continue
        is_moved = abs(new.p_out - old.p_out) > LEAST_GAIN
        spoilt = new.p_out > case.before.risk >= old.p_out
        if index in case.at_risk or (is_moved and (spoilt or old.p_out > case.before.risk)):
            rows.append(
                (index not in case.at_risk, -old.p_out, Outcome(old.id, float(old.p_out), float(new.p_out)))
            )
    rows.sort(key=lambda row: row[:2])
    outcomes = tuple(row[2] for row in rows)
    at_risk = {case.before.characteristics[index].id for index in case.at_risk}
    judged = [row for row in outcomes if row.id in at_risk or row.after > case.before.risk >= row.before]
    worst = max((row.after for row in judged), default=0.0)
    return Remedy(kind, steps, outcomes, worst, bool(worst <= case.before.risk), cost, cautions)


def quick_forecast(chain: Chain) -> ForecastReport:
    return run_forecast(chain, samples=CHANGE_SAMPLES, most_causes=1, with_prior=False)
