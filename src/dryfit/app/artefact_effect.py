"""Whether readings of an artefact decide the characteristics of the project: what they would leave open."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from dryfit.app.artefact_brief import Brief
from dryfit.app.artefact_plan import expected_of, reading_variance
from dryfit.app.causes import correlated_figures
from dryfit.app.forecast import Chain
from dryfit.app.reading_model import Taken
from dryfit.base.arrays import Array
from dryfit.model.artefact import Measure, Planned, Point
from dryfit.model.instrument import Instrument
from dryfit.model.machine import FIGURES, Machine
from dryfit.model.project import REFERENCE_TEMP_C

SMALL_MM = 50.0  # edge of the piece for comparison
_COUNTS = 2.0  # standard uncertainties that have to go between the limits on either side; common practice
_FEEBLE = 1e-9  # of a limit: a figure that moves a characteristic by less has no part in it


@dataclass(frozen=True, slots=True)
class Decided:
    """One characteristic, and the standard uncertainty that the figures of the machine leave it.

    now     as they are known today
    small   after the same readings of a piece of 50 mm
    body    after the planned readings of the artefact
    half_band  half the distance of its limits; None where it has not both
    is_free   depends on a motion that no joint holds: not checked
    """

    id: str
    unit: str
    now: float
    small: float
    body: float
    half_band: float | None
    is_free: bool

    @property
    def is_decided(self) -> bool | None:
        """Whether two standard uncertainties stay within half the band; None where that cannot be said."""
        if self.half_band is None or self.is_free:
            return None
        return _COUNTS * self.body <= self.half_band


def sensitivities_of(chain: Chain, machine: str, material: str) -> Array:
    """Derivatives (q, 9) of the lines of all characteristics by the figures of a machine and by a shrinkage."""
    project, motion = chain.project, chain.motion
    start = [item.id for item in project.machines].index(machine) * len(FIGURES)
    figures = motion.by_figure[:, start : start + len(FIGURES)]
    strain = motion.by_strain[:, [item.id for item in project.materials].index(material)]
    return np.hstack([figures, -strain[:, None]])


def scaled_results(chain: Chain, brief: Brief) -> Array:
    """The same, each line over half the band of its characteristic; those without limits are left out."""
    lines = sensitivities_of(chain, brief.machine.id, brief.material.id)
    bands = [_half_band(item.lower, item.upper) for item in chain.project.characteristics]
    keep = [line for line, index in enumerate(chain.structure.results) if bands[index] is not None]
    over = np.array([bands[chain.structure.results[line]] for line in keep], dtype=np.float64)
    scaled: Array = lines[keep] / over[:, None]
    return scaled


def decide(
    chain: Chain, brief: Brief, body: Array, measures: Sequence[Measure], steps: Sequence[Planned]
) -> tuple[Decided, ...]:
    """Every characteristic that the machine has a part in.

    body : (9, 9) covariance that the planned readings are expected to leave
    """
    lines = sensitivities_of(chain, brief.machine.id, brief.material.id)
    now, small = known_now(chain, brief), expected_of_small(brief, measures, steps)
    found = []
    for index, item in enumerate(chain.project.characteristics):
        mine = np.flatnonzero(chain.structure.results == index)
        half = _half_band(item.lower, item.upper)
        if not (np.abs(lines[mine]) > _FEEBLE * (half or 1.0)).any():
            continue
        before, little, after = (_largest_std(lines[mine], covariance) for covariance in (now, small, body))
        is_free = bool(chain.structure.is_free[mine].any())
        found.append(Decided(item.id, item.unit, before, little, after, half, is_free))
    return tuple(found)


def _largest_std(lines: Array, covariance: Array) -> float:
    """Of several lines, as a flatness has, the largest."""
    used = np.abs(lines).max(axis=0) > 0
    part = covariance[np.ix_(used, used)]
    if not np.isfinite(part).all():
        return math.inf
    variance = np.einsum("qi,ij,qj->q", lines[:, used], part, lines[:, used])
    return float(np.sqrt(max(variance.max(), 0.0)))


def _half_band(lower: float | None, upper: float | None) -> float | None:
    if lower is None or upper is None or not upper > lower:
        return None
    return 0.5 * (upper - lower)


def known_now(chain: Chain, brief: Brief) -> Array:
    """Covariance (9, 9) of the figures and the shrinkage as the project holds them today."""
    machine, material = brief.machine, brief.material
    std = np.array([*(machine.error.figures[name].std for name in FIGURES), material.shrinkage.std])
    names, correlation = correlated_figures(chain.project)
    wanted = [*(f"{machine.id}.{name}" for name in FIGURES), f"{material.id}.shrinkage"]
    whole = np.eye(len(wanted))
    place = {name: index for index, name in enumerate(names)}
    both = [index for index, name in enumerate(wanted) if name in place]
    held = [place[wanted[index]] for index in both]
    whole[np.ix_(both, both)] = correlation[np.ix_(held, held)]
    known: Array = whole * np.outer(std, std)
    return known


def expected_of_small(brief: Brief, measures: Sequence[Measure], steps: Sequence[Planned]) -> Array:
    """Covariance (9, 9) after the same readings of the same body, scaled down to 50 mm over all.

    Each is read with the instrument of those at hand that reads it best.
    """
    known = {measure.id: measure for measure in measures}
    largest = max(max(*measure.first, *measure.second) for measure in measures)
    factor = min(1.0, SMALL_MM / largest)
    own = {item.id: item for item in brief.instruments}
    taken = []
    for step in steps:
        small = scale_measure(known[step.measure], factor)
        taken.append(Taken(small, _best(brief.instruments, small, own[step.instrument]), REFERENCE_TEMP_C))
    repeats = [step.repeats for step in steps]
    return expected_of(taken, repeats, brief.material, brief.machine.error.repeatability_mm)


def _best(instruments: Sequence[Instrument], measure: Measure, own: Instrument) -> Instrument:
    able = [item for item in instruments if item.can_read(measure.kind, measure.length_mm)]
    return min(able, key=lambda item: reading_variance(measure, item)) if able else own


def scale_measure(measure: Measure, factor: float) -> Measure:
    """The measure of a body that is smaller by a factor."""
    return replace(measure, first=_scaled(measure.first, factor), second=_scaled(measure.second, factor))


def _scaled(point: Point, factor: float) -> Point:
    x, y, z = point
    return x * factor, y * factor, z * factor


def figure_stds(machine: Machine) -> tuple[float, ...]:
    """(8,) standard uncertainties as the project holds them today."""
    return tuple(machine.error.figures[name].std for name in FIGURES)
