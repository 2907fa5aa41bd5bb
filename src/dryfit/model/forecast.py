"""The forecast: what is predicted of each characteristic, and on what assumptions."""

from __future__ import annotations

from dataclasses import dataclass

from dryfit.model.characteristic import Kind


@dataclass(frozen=True, slots=True)
class Contribution:
    """What one source does to one characteristic.

    variance_share  its share of the variance, 0 to 1
    mean_shift      by how much it moves the expected value, in the characteristic's unit, to first order
    """

    source: str
    variance_share: float
    mean_shift: float


@dataclass(frozen=True, slots=True)
class CharacteristicForecast:
    """The forecast of one characteristic, in its own unit.

    nominal            value in the model
    predicted          central value, by exact placement of the printed parts
    std                standard uncertainty
    low, high          95 % interval
    lower_limit, upper_limit  None where there is no limit
    p_out              probability out of limits; None where the value is undetermined
    worst_low, worst_high     every source at its worst at once
    linear_minus_exact difference of the first-order central value from the exact one
    contributions      largest first
    free_parts         parts whose free motions leave the value undetermined
    samples            number of Monte Carlo draws; 0 where every source is normal
    """

    id: str
    kind: Kind
    unit: str
    nominal: float
    predicted: float
    std: float
    low: float
    high: float
    lower_limit: float | None
    upper_limit: float | None
    p_out: float | None
    worst_low: float
    worst_high: float
    linear_minus_exact: float
    contributions: tuple[Contribution, ...]
    free_parts: tuple[str, ...] = ()
    samples: int = 0

    @property
    def band(self) -> float | None:
        """Width of the limit band; None for a one-sided limit."""
        if self.lower_limit is None or self.upper_limit is None:
            return None
        return self.upper_limit - self.lower_limit

    @property
    def is_linear_doubtful(self) -> bool:
        """Whether first order misses the exact value by more than a tenth of the limit band.

        For a one-sided limit the distance from the exact value to the limit stands for the band.
        """
        room = self.band
        if room is None:
            limit = self.lower_limit if self.lower_limit is not None else self.upper_limit
            room = abs(self.predicted - limit) if limit is not None else 0.0
        return abs(self.linear_minus_exact) > 0.1 * room


@dataclass(frozen=True, slots=True)
class PartForecast:
    """How one part is placed.

    free_motions     motions that no contact holds, in words
    residual_rms_mm  root mean square misfit of the contacts that locate it
    shift_mm         movement of its centroid from the nominal place
    turn_deg         rotation from the nominal attitude
    joints           ids of the joints that locate it
    """

    part: str
    free_motions: tuple[str, ...]
    residual_rms_mm: float
    shift_mm: tuple[float, float, float]
    turn_deg: float
    joints: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class SuspectReading:
    """Readings of one measure of a part that all the others contradict.

    records      of the readings in the ledger
    words        what was measured
    value_mm     mean of what they show
    off_mm, off_std_mm  by how much they are off what all the others let expect, and how well that is known
    is_confirmed whether the reader confirmed all of them
    """

    part: str
    records: tuple[int, ...]
    words: str
    value_mm: float
    off_mm: float
    off_std_mm: float
    is_confirmed: bool

    @property
    def normalised(self) -> float:
        """Departure over its standard uncertainty."""
        return self.off_mm / self.off_std_mm


@dataclass(frozen=True, slots=True)
class SuspectPart:
    """A print as built whose readings together contradict all others.

    count       readings of it
    chi_square  of them all, with count degrees of freedom; chance: of that much or more where all is right
    off_mm      the largest departure of one of them from what the others let expect
    """

    part: str
    count: int
    chi_square: float
    chance: float
    off_mm: float


@dataclass(frozen=True, slots=True)
class OffOfItself:
    """A print as built that was decided to be off for a reason of its own.

    record  of the decision in the ledger; std_mm: by about how much; because: the reason
    """

    part: str
    record: int
    std_mm: float
    because: str


@dataclass(frozen=True, slots=True)
class LearntFigure:
    """A figure of a machine or a material before and after the readings, in its own unit."""

    name: str
    before: float
    before_std: float
    after: float
    after_std: float


@dataclass(frozen=True, slots=True)
class AsBuiltBasis:
    """What a forecast owes to parts that were printed and read.

    printed    ids of the parts that are as they were printed
    readings   number of readings by part, of its print as built
    earlier    number of readings of earlier prints, which tell of the machine only
    left_out   number of readings that the user left out
    suspects   readings that the others contradict; limit: normalised departure from which on
    figures    of machines and materials, those that the readings tell something of
    cautions   what the builder must know of printed parts
    suspect_parts  prints whose readings together contradict all others, the worst first
    of_themselves  prints that were decided to be off for a reason of their own
    """

    printed: tuple[str, ...]
    readings: tuple[tuple[str, int], ...]
    earlier: int
    left_out: int
    suspects: tuple[SuspectReading, ...]
    limit: float
    figures: tuple[LearntFigure, ...]
    cautions: tuple[str, ...]
    suspect_parts: tuple[SuspectPart, ...] = ()
    of_themselves: tuple[OffOfItself, ...] = ()

    @property
    def count(self) -> int:
        """Of all readings that count."""
        return self.earlier + sum(count for _, count in self.readings)


@dataclass(frozen=True, slots=True)
class ForecastReport:
    """Will it go together? One finished report.

    order      parts in bonding order, the datum first
    closing    ids of the joints that only close a loop
    what_if    the departures from the document that were asked for, as given
    input_hash hash of everything that the result depends on
    prior      the same characteristics by what was known before any part was read; empty where nothing was read, or
               it was not asked for
    basis      what the forecast owes to printed parts; None where none was printed, or they were left aside
    """

    project: str
    risk: float
    characteristics: tuple[CharacteristicForecast, ...]
    placing: tuple[PartForecast, ...]
    assumptions: tuple[str, ...]
    datum: str
    order: tuple[str, ...]
    closing: tuple[str, ...]
    what_if: tuple[str, ...]
    program_version: str
    input_hash: str
    mesh_hashes: tuple[tuple[str, str], ...] = ()
    prior: tuple[CharacteristicForecast, ...] = ()
    basis: AsBuiltBasis | None = None

    @property
    def p_any_out(self) -> tuple[float, float] | None:
        """Bounds on the probability that anything is out of limits; None where something is undetermined.

        Source: the bounds of Boole and Frechet, which hold however the characteristics are correlated.
        """
        each = [item.p_out for item in self.characteristics]
        if not each or any(p is None for p in each):
            return None
        known = [p for p in each if p is not None]
        return max(known), min(1.0, sum(known))
