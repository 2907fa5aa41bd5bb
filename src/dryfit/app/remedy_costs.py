"""What remedies cost: minutes of handwork, hours of the machine, grams of plastic."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from statistics import median
from typing import Literal, get_args

from dryfit.app.changes_price import Amount
from dryfit.app.forecast import Chain
from dryfit.app.weighing import weigh
from dryfit.model.printing import Print

Work = Literal["sand", "shim", "wedge", "bond line", "length", "turn", "reprint", "copy"]
WORKS: tuple[Work, ...] = get_args(Work)

# Minutes of handwork: a face sanded on a block and measured, a shim cut and fitted, the same to a slope, another bond
# line set up, a face moved in the model and imported again, a pose changed, a printer made ready and cleared, the same
# with a corrected copy. Common practice, no source; --minutes states others.
MINUTES: Mapping[Work, float] = {
    "sand": 20.0,
    "shim": 15.0,
    "wedge": 35.0,
    "bond line": 5.0,
    "length": 30.0,
    "turn": 5.0,
    "reprint": 20.0,
    "copy": 30.0,
}
NOTHING = Amount(0.0, "nothing is printed")


@dataclass(frozen=True, slots=True)
class Cost:
    """minutes of handwork; hours and grams of printing, with where they come from."""

    minutes: float
    hours: Amount = NOTHING
    grams: Amount = NOTHING

    @property
    def is_known(self) -> bool:
        """Whether hours and grams are known."""
        return self.hours.value is not None and self.grams.value is not None

    @property
    def total_hours(self) -> float:
        """Of hand and machine together; what is not known counts as nothing here, see is_known."""
        return self.minutes / 60.0 + (self.hours.value or 0.0)


def printing_cost(chain: Chain, prints: Sequence[Print], part: str, minutes: float) -> Cost:
    """Of printing a part again: by its own last good print, else estimated, else not known.

    prints : all that count, in the order in which they were printed
    """
    own = [item for item in prints if item.part == part and item.result == "good"]
    grams = _last([(item.grams, item.record) for item in own]) or _weighed(chain, part)
    hours = _last([(item.hours, item.record) for item in own]) or _by_rate(chain, prints, part, grams)
    return Cost(minutes, hours, grams)


def _last(values: Sequence[tuple[float | None, int]]) -> Amount | None:
    stated = [(value, record) for value, record in values if value is not None]
    return Amount(stated[-1][0], f"print record {stated[-1][1]}") if stated else None


def _weighed(chain: Chain, part: str) -> Amount:
    project = replace(chain.project, parts=(chain.project.part(part),))
    row = weigh(project, {part: chain.shapes[part]}).parts[0]
    if row.mass_g is None:
        return Amount(None, f"not known: {row.reason}")
    words = "weight with shell and infill" if row.printed_g is not None else "weight if solid"
    return Amount(row.mass_g.value, f"estimated: {words}", True)


def _by_rate(chain: Chain, prints: Sequence[Print], part: str, grams: Amount) -> Amount:
    machine = chain.project.part(part).machine
    rates = [
        item.hours / item.grams
        for item in prints
        if item.machine == machine and item.result == "good" and item.hours and item.grams
    ]
    if not rates or grams.value is None:
        return Amount(None, f"not known: no good print of machine {machine} states hours and grams")
    rate = median(rates)
    words = f"estimated: {rate:.3g} h per g, the middle of the prints of machine {machine}"
    return Amount(rate * grams.value, words, True)
