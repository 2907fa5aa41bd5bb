"""Which readings of an artefact to take, and what they are expected to tell."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from dryfit.app.artefact_brief import MOST_OF_A_MEASURE, READ_EACH, Brief
from dryfit.app.reading_model import SHRINKAGE, Taken, model_readings
from dryfit.base.arrays import Array, IntArray
from dryfit.base.errors import ComputationRefused
from dryfit.calc.artefact import can_be_read
from dryfit.calc.design import Aim, Candidates, choose_readings, expected_covariance
from dryfit.model.artefact import Artefact, Measure, Planned
from dryfit.model.instrument import Instrument
from dryfit.model.machine import FIGURES
from dryfit.model.material import Material
from dryfit.model.project import REFERENCE_TEMP_C

# What counts as one of each figure where their variances are added: a tenth of a millimetre in half a metre,
# and what a builder sees at a surface. Common practice, no source.
USUAL_SIZE = np.array([2e-4, 2e-4, 2e-4, 0.012, 0.012, 0.012, 0.02, 0.02])
# Weight of a figure of usual size beside a characteristic whose std fills half its limits (common practice).
_OWN_WEIGHT = 0.02
_LEAST_VARIANCE_MM2 = 1e-10  # of an instrument that is stated to repeat exactly
_ORDER = ("caliper", "micrometer", "height gauge", "steel rule", "tape", "square", "dial indicator")


@dataclass(frozen=True, slots=True, eq=False)
class Plan:
    """The readings to take, in the order of the sheet, and what they are expected to tell.

    measures    all measures of the body, those to be read first, numbered anew
    covariance  (9, 9) expected: of the eight figures, then of the shrinkage of the material
    """

    measures: tuple[Measure, ...]
    steps: tuple[Planned, ...]
    covariance: Array

    @property
    def std(self) -> Array:
        """(8,) expected standard uncertainty of each figure."""
        std: Array = np.sqrt(self.covariance.diagonal()[: len(FIGURES)])
        return std


def plan_readings(
    brief: Brief, measures: Sequence[Measure], readings: int, aim: str, results: Array | None
) -> Plan:
    """Choose readings by their expected information.

    aim : "D", "A" or "project"; results : (q, 9) for "project", see artefact_effect.scaled_results
    Raises ComputationRefused where no choice with these instruments tells the eight figures apart.
    """
    taken = [
        Taken(measure, instrument, REFERENCE_TEMP_C)
        for measure in measures
        for instrument in _best_of_each_kind(measure, brief.instruments)
    ]
    if not taken:
        raise ComputationRefused(
            "none of the instruments reads any measure of the artefact",
            ", ".join(item.id for item in brief.instruments),
            "add a caliper, a steel rule and a square",
        )
    problem, of = candidates_of(taken, brief.material, brief.machine.error.repeatability_mm)
    counts = choose_readings(problem, _aim(aim, of, results), readings, READ_EACH, MOST_OF_A_MEASURE).counts
    covariance = _with_shrinkage(expected_covariance(problem, counts, of), brief.material)
    if not np.isfinite(covariance).all():
        raise _not_told_apart(brief, problem)
    return _in_order(measures, taken, counts, covariance)


def _best_of_each_kind(measure: Measure, instruments: Sequence[Instrument]) -> tuple[Instrument, ...]:
    """Of each kind the instrument that reads a measure with the least variance; none of a kind that cannot."""
    best: dict[str, Instrument] = {}
    for instrument in instruments:
        if can_be_read(measure, instrument):
            held = best.get(instrument.kind)
            if held is None or reading_variance(measure, instrument) < reading_variance(measure, held):
                best[instrument.kind] = instrument
    return tuple(best.values())


def reading_variance(measure: Measure, instrument: Instrument) -> float:
    """Variance of one reading by step, hand and permissible error [mm2]."""
    length = measure.length_mm
    share = length / instrument.range_mm if measure.kind == "square" else 1.0
    limits = (instrument.mpe_mm * share) ** 2 + (instrument.mpe_per_m_mm * length / 1000.0) ** 2
    return instrument.resolution_mm**2 / 12.0 + instrument.repeatability_mm**2 + limits / 3.0


def candidates_of(
    taken: Sequence[Taken], material: Material, repeatability_mm: float
) -> tuple[Candidates, IntArray]:
    """Readings that could be taken, with one row each, and which unknowns are of interest: figures, shrinkage.

    repeatability_mm : std of a printed point; a measure has two of them
    """
    model = model_readings(taken, material)
    start = np.zeros(len(model.names))
    start[model.prior_index] = model.prior_mean
    _, rows = model.predict(start)
    prior = np.zeros((len(start), len(start)))
    prior[model.prior_index, model.prior_index] = 1.0 / model.prior_std**2
    problem = Candidates(
        rows=rows,
        alone=np.maximum(model.alone, _LEAST_VARIANCE_MM2),
        shared=model.shared.diagonal(),
        block=model.measure,
        scatter=repeatability_mm**2 * model.scatter.diagonal(),
        prior=prior,
        cost=np.ones(len(taken)),
    )
    of = list(range(len(FIGURES)))
    if SHRINKAGE in model.names:
        of.append(model.names.index(SHRINKAGE))
    return problem, np.array(of, dtype=np.int64)


def expected_of(
    taken: Sequence[Taken], repeats: Sequence[int], material: Material, repeatability_mm: float
) -> Array:
    """Covariance (9, 9) that stated readings are expected to leave; infinite where they do not suffice."""
    problem, of = candidates_of(taken, material, repeatability_mm)
    return _with_shrinkage(expected_covariance(problem, list(repeats), of), material)


def _with_shrinkage(covariance: Array, material: Material) -> Array:
    """The shrinkage as the last unknown, also where it is known exactly."""
    if len(covariance) > len(FIGURES):
        return covariance
    whole = np.zeros((len(FIGURES) + 1, len(FIGURES) + 1))
    whole[:-1, :-1] = covariance
    return whole


def _aim(aim: str, of: IntArray, results: Array | None) -> Aim:
    figures = of[: len(FIGURES)]
    if aim == "project" and results is not None:
        # Each figure counts a little for itself: one on which the project does not hang must be told apart too.
        own = np.zeros((len(FIGURES), len(of)))
        own[:, : len(FIGURES)] = np.diag(_OWN_WEIGHT / USUAL_SIZE)
        return Aim("c", of, results=np.vstack([results[:, : len(of)], own]))
    return Aim("A", figures, scale=USUAL_SIZE) if aim == "A" else Aim("D", figures)


def _in_order(
    measures: Sequence[Measure], taken: Sequence[Taken], counts: IntArray, covariance: Array
) -> Plan:
    """One instrument after another, along the body; the sheet has them read there and back."""
    place = {measure.id: index for index, measure in enumerate(measures)}
    chosen = [(item, int(count)) for item, count in zip(taken, counts, strict=True) if count]
    chosen.sort(
        key=lambda item: (
            _ORDER.index(item[0].instrument.kind),
            item[0].instrument.id,
            place[item[0].measure.id],
        )
    )
    first = list(dict.fromkeys(item.measure.id for item, _ in chosen))
    rest = [measure.id for measure in measures if measure.id not in set(first)]
    known = {measure.id: measure for measure in measures}
    numbered = tuple(replace(known[id], number=number) for number, id in enumerate([*first, *rest], 1))
    steps = tuple(Planned(item.measure.id, item.instrument.id, count) for item, count in chosen)
    return Plan(numbered, steps, covariance)


def _not_told_apart(brief: Brief, problem: Candidates) -> ComputationRefused:
    """What the instruments miss: the figures on which no reading, or no combination of them, says anything."""
    everything = expected_covariance(problem, np.ones(len(problem), dtype=np.int64), np.arange(len(FIGURES)))
    kinds = {item.kind for item in brief.instruments}
    wanted = []
    if not kinds & {"caliper", "micrometer"}:
        wanted.append("a caliper, which alone feels the first layer")
    if not kinds & {"square", "dial indicator"}:
        wanted.append("a square with feeler gauges, or a rule that reaches along the diagonals")
    do = f"add {' and '.join(wanted)}" if wanted else "add an instrument of another kind or longer range"
    if np.isfinite(everything).all():
        do = "take more readings: --readings 48"
    return ComputationRefused(
        "these readings would not tell the eight figures of the machine apart",
        ", ".join(item.id for item in brief.instruments),
        do,
    )


def reading_order(artefact: Artefact) -> tuple[Planned, ...]:
    """One step per reading: through the plan and back again, so that a steady drift averages out."""
    order: list[Planned] = []
    for turn in range(max((step.repeats for step in artefact.plan), default=0)):
        due = [step for step in artefact.plan if step.repeats > turn]
        order += due if turn % 2 == 0 else due[::-1]
    return tuple(order)
