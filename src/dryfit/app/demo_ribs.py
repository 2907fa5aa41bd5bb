"""Ribs that never were: what the parts of an invented machine would read on the bench, the inspection plan in hand.

Each machine has true figures of its own, which the document does not know; printed points scatter; instruments depart
within their permissible error. All of it is invented, and every reading says that nobody took it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from dryfit.app.as_built import AsBuiltParts
from dryfit.app.forecast import Chain
from dryfit.app.geometry import PartShape, to_machine
from dryfit.app.inspecting import REPEATS, InspectOptions, PartPlan, plan_inspection
from dryfit.app.part_ends import commanded, reading_directions
from dryfit.app.part_measures import part_measures
from dryfit.app.reading_model import TEMPERATURE, ReadingModel, Taken, model_readings
from dryfit.base.arrays import Array
from dryfit.base.rotation import rotation_from_euler
from dryfit.calc.errormodel import machine_gain, part_gain
from dryfit.calc.scans import NominalSurface
from dryfit.model.artefact import Measure
from dryfit.model.instrument import Instrument
from dryfit.model.machine import FIGURES
from dryfit.model.part import Part

# Of the scanner: how many points, the position of the part under it, and the cosine from which on a side is hidden.
_SCAN_POINTS, _SCAN_POSE_DEG, _SCAN_AT_MM, _HIDDEN = 12_000, (70.0, -25.0, 130.0), (40.0, -20.0, 310.0), -0.95
_GRID_MM = 3  # decimals: points that lie closer are one


@dataclass(frozen=True, slots=True)
class TrueMachine:
    """What an invented machine really does.

    figures  of the error model, those that are not zero   scatter_mm  std of a printed point, per axis
    """

    figures: Mapping[str, float]
    scatter_mm: float


@dataclass(frozen=True, slots=True)
class Shown:
    """What an instrument showed: number of the measure on its part, value as displayed at a temperature."""

    measure: int
    value_mm: float
    instrument: str
    temp_c: float


def simulate_inspection(
    chain: Chain,
    as_built: AsBuiltParts,
    instruments: Sequence[Instrument],
    machines: Mapping[str, TrueMachine],
    temp_c: float,
    seed: int,
) -> Mapping[str, tuple[Shown, ...]]:
    """Readings of all printed parts by part, as the inspection plan asks for them: once through, then again.

    machines : by id, those that have printed
    Zero and scale of an instrument are drawn once for all parts (rectangular, within its permissible error), the
    temperature once for each; each printed point has one scatter, whatever is read from it. The same seed gives the
    same readings.
    """
    chance = np.random.default_rng(seed)
    known = {item.id: item for item in instruments}
    departures: dict[str, float] = {}
    plans = plan_inspection(chain, as_built, instruments, InspectOptions()).parts
    found = {}
    for plan in sorted(plans, key=lambda item: item.print):
        measures = _measures(chain, plan)
        taken = [_taken(chain, plan.part, measures[row], known[tool], temp_c) for row, tool in _rows(plan)]
        ends = [measures[row] for row, _ in _rows(plan)]
        part = chain.project.part(plan.part)
        true = machines[part.machine]
        model = model_readings(taken, chain.project.material(part.material))
        values = _lengths(model, true, departures, chance) + _scattered(ends, true, chance)
        values = values / model.correction + np.sqrt(model.alone) * chance.standard_normal(len(values))
        found[plan.part] = tuple(
            Shown(end.number, _displayed(value, item.instrument), item.instrument.id, temp_c)
            for end, value, item in zip(ends, values, taken, strict=True)
        )
    return found


def simulate_scan(part: Part, shape: PartShape, shrinkage: float, true: TrueMachine, seed: int) -> Array:
    """(n, 3) points [mm] as a scanner would see a print, in a position of its own.

    The side on which the part lay is not seen; one point in a hundred is dust. The same seed gives the same points.
    """
    chance = np.random.default_rng(seed)
    points, normals, _ = NominalSurface(shape.mesh).sample(_SCAN_POINTS, seed)
    turn = to_machine(part)
    gain = part_gain(
        machine_gain(np.array([true.figures.get(name, 0.0) for name in FIGURES[:6]])), turn, shrinkage
    )
    lying = points[normals @ turn[2] > _HIDDEN]
    middle = shape.measures.centroid_mm
    printed = (lying - middle) @ gain.T + true.scatter_mm * chance.standard_normal(lying.shape)
    dust = chance.uniform(printed.min(axis=0), printed.max(axis=0), (len(printed) // 100, 3))
    seen = np.concatenate([printed, dust]) @ rotation_from_euler(_SCAN_POSE_DEG).T + np.array(_SCAN_AT_MM)
    return chance.permutation(seen)


def _rows(plan: PartPlan) -> Iterator[tuple[int, str]]:
    for _ in range(REPEATS):
        for row in plan.readings:
            yield row.number, row.instrument


def _measures(chain: Chain, plan: PartPlan) -> dict[int, Measure]:
    found = part_measures(chain.project, chain.shapes, chain.structure, plan.part)
    return {item.measure.number: item.measure for item in found}


def _taken(chain: Chain, id: str, measure: Measure, instrument: Instrument, temp_c: float) -> Taken:
    part = chain.project.part(id)
    layer = chain.project.machine(part.machine).error.first_layer_height_mm
    return Taken(commanded(measure, part, chain.shapes[id], layer), instrument, temp_c)


def _lengths(
    model: ReadingModel, true: TrueMachine, departures: dict[str, float], chance: np.random.Generator
) -> Array:
    """(n,) lengths at 20 C that the true figures and the instruments make, without scatter."""
    unknowns = np.zeros(len(model.names))
    unknowns[: len(FIGURES)] = [true.figures.get(name, 0.0) for name in FIGURES]
    own: dict[str, float] = {}
    for place, mean, std in zip(model.prior_index, model.prior_mean, model.prior_std, strict=True):
        name = model.names[place]
        kept = own if name == TEMPERATURE else departures
        if name not in kept:
            is_within = name.endswith((" zero", " scale"))
            drawn = np.sqrt(3.0) * chance.uniform(-1.0, 1.0) if is_within else chance.standard_normal()
            kept[name] = float(mean + std * drawn)
        unknowns[place] = kept[name]
    values, _ = model.predict(unknowns)
    return values


def _scattered(ends: Sequence[Measure], true: TrueMachine, chance: np.random.Generator) -> Array:
    """(n,) by how much each reading is longer because its two points scatter."""
    off: dict[tuple[float, ...], Array] = {}
    found = np.zeros(len(ends))
    for row, measure in enumerate(ends):
        points = np.array([measure.first, measure.second])
        for point, direction in zip(points, reading_directions(measure), strict=True):
            key = tuple(np.round(point, _GRID_MM).tolist())
            if key not in off:
                off[key] = true.scatter_mm * chance.standard_normal(3)
            found[row] += float(off[key] @ direction)
    return found


def _displayed(value: float, instrument: Instrument) -> float:
    """As a display shows it: no digits beyond its step."""
    step = instrument.resolution_mm
    return round(round(value / step) * step, 6) if step > 0 else round(float(value), 6)
