"""What readings of an artefact follow from: their rows for the adjustment, before and after they are taken.

A reading follows from the eight figures of the machine, about which nothing is assumed, and from others of
which something is known beforehand: the bed's own offset, the shrinkage and expansion of the material, the
temperature of the body, and the departures of each instrument within its permissible error. What is left is
scatter: of the printed points, shared by all readings of a measure; of the display's steps, shared by all
readings of a measure with one instrument; of the hand, of each reading alone.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from dryfit.base.arrays import Array, IntArray
from dryfit.calc.errormodel.lengths import MeasureArrays, measure_arrays, read_lengths
from dryfit.model.artefact import Measure
from dryfit.model.instrument import Instrument
from dryfit.model.machine import FIGURES
from dryfit.model.material import Material
from dryfit.model.project import REFERENCE_TEMP_C

# Common practice, no source: the first layer may be squeezed or raised by a tenth of a millimetre.
BED_OFFSET_STD_MM = 0.1
# Common practice, no source: a thermometer beside the body tells its temperature within one kelvin; without
# one a room is within three kelvin of the reference temperature (one standard deviation each).
TEMP_STD_K = 1.0
UNKNOWN_TEMP_STD_K = 3.0

_TERMS = 200  # of the Fourier series: enough to a millionth of the step squared

BED, SHRINKAGE, EXPANSION, TEMPERATURE = "bed offset", "shrinkage", "expansion", "temperature"


@dataclass(frozen=True, slots=True)
class Taken:
    """A reading that was or will be taken: of which measure, with which instrument, how warm."""

    measure: Measure
    instrument: Instrument
    temp_c: float | None = None


@dataclass(frozen=True, slots=True, eq=False)
class ReadingModel:
    """n readings of m unknowns.

    names       (u,) unknowns: the eight figures first, then those of which something is known
    prior_index (p,) which of them something is known of
    prior_mean, prior_std (p,)
    predict     of (u,) unknowns: (n,) readings at 20 C and their (n, u) derivatives
    correction  (n,) factor that brings a displayed value to 20 C
    alone       (n,) variance of each reading by itself: the hand [mm2]
    shared      (n, n) covariance that readings of one measure and instrument share: rounding to steps [mm2]
    scatter     (n, n) covariance per mm2 of variance of a printed point
    measure     (n,) index of the measure of each reading; instrument (n,) of its instrument
    measures    ids of the measures   instruments  ids of the instruments
    """

    names: tuple[str, ...]
    prior_index: IntArray
    prior_mean: Array
    prior_std: Array
    predict: Callable[[Array], tuple[Array, Array]]
    correction: Array
    alone: Array
    shared: Array
    scatter: Array
    measure: IntArray
    instrument: IntArray
    measures: tuple[str, ...]
    instruments: tuple[str, ...]

    @property
    def fixed(self) -> Array:
        """(n, n) covariance of the readings without the scatter of printed points [mm2]."""
        fixed: Array = np.diag(self.alone) + self.shared
        return fixed


def model_readings(
    taken: Sequence[Taken], material: Material, hand: Mapping[str, float] | None = None
) -> ReadingModel:
    """The rows of readings of one artefact.

    material : of the artefact
    hand : standard deviation of one reading by instrument, where repeats told it; else what the instrument says
    """
    arrays = measure_arrays([item.measure for item in taken])
    places, measures = _number([item.measure.id for item in taken])
    holders, instruments = _number([item.instrument.id for item in taken])
    extra = _Extra.of(taken, material)
    stated = {item.instrument.id: item.instrument.repeatability_mm for item in taken}
    given = {**stated, **(hand or {})}
    same_measure = places[:, None] == places[None, :]
    same_display = same_measure & (holders[:, None] == holders[None, :])
    steps = np.array(
        [shared_rounding(item.instrument.resolution_mm, given[item.instrument.id]) for item in taken]
    )
    return ReadingModel(
        names=(*FIGURES, *extra.names),
        prior_index=np.arange(len(FIGURES), len(FIGURES) + len(extra.names), dtype=np.int64),
        prior_mean=extra.mean,
        prior_std=extra.std,
        predict=_predictor(arrays, extra, material),
        correction=_corrections(taken, material),
        alone=np.array([given[item.instrument.id] ** 2 for item in taken]),
        shared=np.where(same_display, steps[:, None], 0.0),
        scatter=np.where(same_measure, 2.0, 0.0),
        measure=places,
        instrument=holders,
        measures=measures,
        instruments=instruments,
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Extra:
    """Unknowns beside the figures: their names, what is known of them, and their columns (n, p).

    The columns of bed offset and shrinkage are left at zero: the geometry of the measures gives them.
    """

    names: tuple[str, ...]
    mean: Array
    std: Array
    columns: Array

    @classmethod
    def of(cls, taken: Sequence[Taken], material: Material) -> _Extra:
        none = np.zeros(len(taken))
        found: list[tuple[str, float, float, Array]] = []
        if any(item.measure.from_bed for item in taken):
            found.append((BED, 0.0, BED_OFFSET_STD_MM, none))
        if material.shrinkage.std > 0:
            found.append((SHRINKAGE, material.shrinkage.value, material.shrinkage.std, none))
        found += _heat(taken, material)
        for id in dict.fromkeys(item.instrument.id for item in taken):
            found += _departures(taken, id)
        columns = np.array([column for *_, column in found]).reshape(len(found), len(taken)).T
        return cls(
            tuple(name for name, *_ in found),
            np.array([mean for _, mean, *_ in found]),
            np.array([std for _, _, std, _ in found]),
            columns,
        )


def _heat(taken: Sequence[Taken], material: Material) -> list[tuple[str, float, float, Array]]:
    """How a body that is warmer than thought, or expands otherwise than thought, reads longer."""
    length = np.array([0.0 if item.measure.kind == "square" else item.measure.length_mm for item in taken])
    warmer = np.array([material.expansion_per_k.value - item.instrument.expansion_per_k for item in taken])
    is_known = all(item.temp_c is not None for item in taken)
    std = TEMP_STD_K if is_known else UNKNOWN_TEMP_STD_K
    found = [(TEMPERATURE, 0.0, std, length * warmer)]
    away = np.array([_departure(item) for item in taken])
    if material.expansion_per_k.std > 0 and (length * away).any():
        found.append((EXPANSION, 0.0, material.expansion_per_k.std, length * away))
    return found


def _departure(item: Taken) -> float:
    """By how much the body was warmer than the reference temperature; 0 where nobody looked [K]."""
    return 0.0 if item.temp_c is None else item.temp_c - REFERENCE_TEMP_C


def _departures(taken: Sequence[Taken], id: str) -> list[tuple[str, float, float, Array]]:
    """What all readings of one instrument share: its zero, and its scale; rectangular within the limits.

    Of a square it is the departure at the tip of its blade, which grows along the blade.
    Source: JCGM 100:2008, 4.3.7 (limits without more knowledge).
    """
    mine = np.array([item.instrument.id == id for item in taken])
    instrument = next(item.instrument for item in taken if item.instrument.id == id)
    length = np.array([item.measure.length_mm for item in taken])
    is_square = np.array([item.measure.kind == "square" for item in taken])
    zero = np.where(is_square, length / instrument.range_mm, 1.0)
    found = []
    if instrument.mpe_mm > 0:
        found.append((f"{id} zero", 0.0, instrument.mpe_mm / math.sqrt(3.0), mine * zero))
    if instrument.mpe_per_m_mm > 0:
        per_mm = instrument.mpe_per_m_mm / 1000.0 / math.sqrt(3.0)
        found.append((f"{id} scale", 0.0, per_mm, mine * length))
    return found


def _predictor(
    arrays: MeasureArrays, extra: _Extra, material: Material
) -> Callable[[Array], tuple[Array, Array]]:
    count = len(FIGURES)
    bed = extra.names.index(BED) if BED in extra.names else None
    shrinkage = extra.names.index(SHRINKAGE) if SHRINKAGE in extra.names else None

    def predict(unknowns: Array) -> tuple[Array, Array]:
        figures, others = unknowns[:count], unknowns[count:]
        lengths = read_lengths(
            arrays,
            figures,
            0.0 if bed is None else float(others[bed]),
            material.shrinkage.value if shrinkage is None else float(others[shrinkage]),
        )
        columns = extra.columns.copy()
        values = lengths.values_mm + columns @ others
        if bed is not None:
            columns[:, bed] = lengths.derivatives[:, count]
        if shrinkage is not None:
            columns[:, shrinkage] = lengths.derivatives[:, count + 1]
        return values, np.hstack([lengths.derivatives[:, :count], columns])

    return predict


def shared_rounding(resolution_mm: float, hand_mm: float) -> float:
    """Covariance of the rounding of two repeats [mm2]: a hand that wavers by a step or so averages it out.

    resolution_mm : step of the display   hand_mm : standard deviation of one reading
    Without wavering both repeats are rounded alike: a twelfth of the step squared. What the rounding adds beyond
    this is independent from repeat to repeat, and their scatter holds it already.
    Source: Fourier series of the rounding sawtooth, averaged over a normal hand (closed form; Widrow's theory of
    quantisation, memory).
    """
    if resolution_mm == 0.0:
        return 0.0
    order = np.arange(1, _TERMS + 1)
    waver = np.exp(-((2.0 * np.pi * order * hand_mm / resolution_mm) ** 2))
    left = 1.0 / 12.0 - float((1.0 / (2.0 * np.pi**2 * order**2)).sum()) if hand_mm == 0.0 else 0.0
    return resolution_mm**2 * (float((waver / (2.0 * np.pi**2 * order**2)).sum()) + left)


def _corrections(taken: Sequence[Taken], material: Material) -> Array:
    """(n,) factor to 20 C: the body's expansion against that of the scale that reads it.

    A square's gap is an angle, which even warming does not change.
    Source: JCGM 100:2008, H.1.2 (difference of expansions times departure, first order).
    """
    return np.array(
        [
            1.0
            if item.measure.kind == "square"
            else 1.0 + (item.instrument.expansion_per_k - material.expansion_per_k.value) * _departure(item)
            for item in taken
        ]
    )


def _number(names: Sequence[str]) -> tuple[IntArray, tuple[str, ...]]:
    """Index of each name among the different ones, and these, in order of appearance."""
    different = {name: index for index, name in enumerate(dict.fromkeys(names))}
    return np.array([different[name] for name in names], dtype=np.int64), tuple(different)
