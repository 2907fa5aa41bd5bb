"""A gauge study by analysis of variance: every person reads every part several times."""

from __future__ import annotations

import math
from dataclasses import dataclass

from dryfit.base.arrays import Array, locked

# Where people and parts do not interact at this level of the F test, the interaction is counted as
# repeatability. Source: measurement systems analysis manual (memory).
POOLING_LEVEL = 0.25
COVERAGE = 0.95


@dataclass(frozen=True, slots=True)
class VarianceTable:
    """One line of the analysis: sum of squares, degrees of freedom, F against its error; None for the error."""

    name: str
    squares: float
    dof: int
    f: float | None

    @property
    def mean_square(self) -> float:
        return self.squares / self.dof


@dataclass(frozen=True, slots=True)
class Interval:
    """A standard deviation between two bounds that cover it at COVERAGE; high is infinite where unbounded."""

    low: float
    high: float


@dataclass(frozen=True, slots=True)
class CrossedStudy:
    """Standard deviations, all in the unit of the readings.

    repeatability       of one person who reads one part again and again
    dof                 its degrees of freedom
    repeatability_interval
    reproducibility     of people, with what they read differently part by part; None with one person; 0 where
                        the repeatability explains it
    reproducibility_interval  of people alone
    both                of one reading by any of the people
    parts               of the parts
    total               of everything
    is_pooled           the interaction of people and parts was counted as repeatability
    lines               the table of the analysis
    """

    repeatability: float
    dof: int
    repeatability_interval: Interval
    reproducibility: float | None
    reproducibility_interval: Interval | None
    both: float
    parts: float
    total: float
    is_pooled: bool
    lines: tuple[VarianceTable, ...]

    @property
    def share(self) -> float:
        """Share of the spread of readings that is not the parts': both / total, of standard deviations."""
        return 0.0 if self.total == 0.0 else self.both / self.total


def analyse_crossed(readings: Array) -> CrossedStudy:
    """The study of readings (people, parts, trials), each part read equally often by each person.

    Raises ValueError where there are fewer than two parts or two trials.
    Source: two-way crossed random effects, measurement systems analysis manual (memory; reproduces the published
    study). Intervals: chi-square, and Williams 1962 for the component between people (memory).
    """
    values = locked(readings, (None, None, None), "readings")
    people, parts, trials = values.shape
    if parts < 2 or trials < 2 or people < 1:
        raise ValueError("a gauge study needs two parts and two readings of each at least")
    lines = _one_person(values) if people == 1 else _several_people(values)
    error, is_pooled = lines[-1], False
    interaction = lines[2] if people > 1 else None
    if interaction is not None and _tail(interaction, error) > POOLING_LEVEL:
        squares, dof = interaction.squares + error.squares, interaction.dof + error.dof
        error, is_pooled, interaction = VarianceTable("repeatability", squares, dof, None), True, None
    against = interaction or error
    part_line = lines[0]
    within = math.sqrt(error.mean_square)
    between = _component(part_line, against, people * trials)
    between_people = _component(lines[1], against, parts * trials) if people > 1 else None
    differing = _component(interaction, error, trials) if interaction is not None else 0.0
    reproducibility = None if between_people is None else math.hypot(between_people, differing)
    both = math.hypot(within, reproducibility or 0.0)
    return CrossedStudy(
        repeatability=within,
        dof=error.dof,
        repeatability_interval=_std_interval(error),
        reproducibility=reproducibility,
        reproducibility_interval=None if people == 1 else _between(lines[1], against, parts * trials),
        both=both,
        parts=between,
        total=math.hypot(both, between),
        is_pooled=is_pooled,
        lines=_with_f(lines, against, interaction, error),
    )


def _one_person(values: Array) -> list[VarianceTable]:
    """Parts, and the readings about the mean of each."""
    _, parts, trials = values.shape
    means = values.mean(axis=2)[0]
    between = trials * float(((means - means.mean()) ** 2).sum())
    return [
        VarianceTable("parts", between, parts - 1, None),
        VarianceTable("repeatability", _within(values), parts * (trials - 1), None),
    ]


def _several_people(values: Array) -> list[VarianceTable]:
    people, parts, trials = values.shape
    grand = values.mean()
    of_parts, of_people = values.mean(axis=(0, 2)), values.mean(axis=(1, 2))
    cells = values.mean(axis=2)
    part = people * trials * float(((of_parts - grand) ** 2).sum())
    person = parts * trials * float(((of_people - grand) ** 2).sum())
    rest = cells - of_people[:, None] - of_parts[None, :] + grand
    crossed = trials * float((rest**2).sum())
    return [
        VarianceTable("parts", part, parts - 1, None),
        VarianceTable("people", person, people - 1, None),
        VarianceTable("people with parts", crossed, (people - 1) * (parts - 1), None),
        VarianceTable("repeatability", _within(values), people * parts * (trials - 1), None),
    ]


def _within(values: Array) -> float:
    return float(((values - values.mean(axis=2, keepdims=True)) ** 2).sum())


def _component(line: VarianceTable, error: VarianceTable, count: int) -> float:
    """Standard deviation between the levels of a line; negative estimates of a variance are taken as 0."""
    return math.sqrt(max(line.mean_square - error.mean_square, 0.0) / count)


def _ratio(line: VarianceTable, error: VarianceTable) -> float:
    """F; without any error, infinite where the line has a spread of its own."""
    if error.mean_square > 0.0:
        return line.mean_square / error.mean_square
    return math.inf if line.mean_square > 0.0 else 0.0


def _tail(line: VarianceTable, error: VarianceTable) -> float:
    """Probability of an F as large as this where the line has no effect."""
    from scipy.special import fdtrc

    ratio = _ratio(line, error)
    return 0.0 if math.isinf(ratio) else float(fdtrc(line.dof, error.dof, ratio))


def _with_f(
    lines: list[VarianceTable],
    against: VarianceTable,
    interaction: VarianceTable | None,
    error: VarianceTable,
) -> tuple[VarianceTable, ...]:
    table = [VarianceTable(item.name, item.squares, item.dof, _ratio(item, against)) for item in lines[:-1]]
    if len(lines) == 4:
        item = lines[2]
        table[2] = VarianceTable(item.name, item.squares, item.dof, _ratio(item, lines[-1]))
    return (*table, lines[-1])


def _std_interval(line: VarianceTable) -> Interval:
    """Source: chi-square distribution of a sum of squares."""
    low, high = _chi_bounds(line.dof)
    return Interval(math.sqrt(line.squares / high), math.sqrt(line.squares / low))


def _between(line: VarianceTable, error: VarianceTable, count: int) -> Interval:
    """Bounds of the standard deviation between the levels of a line, never below 0."""
    from scipy.special import fdtri

    outside = 1.0 - COVERAGE
    low, high = _chi_bounds(line.dof)
    ratio = _ratio(line, error)
    f_low = float(fdtri(line.dof, error.dof, outside / 2.0))
    f_high = float(fdtri(line.dof, error.dof, 1.0 - outside / 2.0))
    shrink_low = 1.0 - f_high / ratio if ratio > 0.0 else 0.0
    shrink_high = 1.0 - f_low / ratio if ratio > 0.0 else 0.0
    return Interval(
        math.sqrt(max(line.squares * shrink_low, 0.0) / (count * high)),
        math.sqrt(max(line.squares * shrink_high, 0.0) / (count * low)),
    )


def _chi_bounds(dof: int) -> tuple[float, float]:
    """Quantiles of chi-square between which COVERAGE lies."""
    from scipy.special import chdtri

    outside = 1.0 - COVERAGE
    return float(chdtri(dof, 1.0 - outside / 2.0)), float(chdtri(dof, outside / 2.0))
