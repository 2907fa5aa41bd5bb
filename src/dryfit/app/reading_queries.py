"""Readings that cannot well be true: asked about at once, with the reason, before the sheet is put away."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

import numpy as np

from dryfit.app.reading_model import BED_OFFSET_STD_MM
from dryfit.base.arrays import Array
from dryfit.base.estimate import Estimate
from dryfit.base.units import MM_PER_UNIT
from dryfit.calc.errormodel import UNKNOWNS, measure_arrays, read_lengths
from dryfit.calc.gauging import reading_budget
from dryfit.model.artefact import Artefact, Measure
from dryfit.model.instrument import Instrument
from dryfit.model.machine import FIGURES, WIDE_PRIOR
from dryfit.model.reading import Reading

ReasonKind = Literal[
    "decimal", "inch", "digits", "sign", "swapped", "other measure", "range", "repeat", "machine"
]

FAR_STDS = 5.0
# Common practice, no source: an unknown print flares by 0.2 mm in its first layer, and shrinks by 0.3 %, one
# standard deviation each, where the document says nothing.
FLARE_STD_MM = 0.2
UNKNOWN_SHRINKAGE = Estimate(0.0, 0.003)
# Jaws open a little beyond the last line of the scale.
_BEYOND_RANGE = 1.02
_FACTORS = (10.0, 0.1, 100.0, 0.01, 1000.0, 0.001)


@dataclass(frozen=True, slots=True)
class Reason:
    """Why a reading is queried.

    what      in words, without full stop
    would_be  the value that was meant, where the slip is of a known kind [mm]
    """

    kind: ReasonKind
    what: str
    would_be: float | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Expected:
    """What the measures of a body are expected to read.

    values_mm, std_mm  (n,) in the order of the body's measures
    most_stds  a reading further off than so many std is queried
    whence     what the values are, and words: what the std is made of
    """

    values_mm: Array
    std_mm: Array
    most_stds: float = FAR_STDS
    whence: str = "nominal"
    words: str = "what an unknown machine and the instrument may be off by"


def expect_readings(
    artefact: Artefact, instrument: Instrument, shrinkage: Estimate = UNKNOWN_SHRINKAGE
) -> Expected:
    """Expected readings and how far a machine, the print and the instrument may move them, one std."""
    lengths = read_lengths(
        measure_arrays(artefact.measures), np.zeros(len(FIGURES)), shrinkage=shrinkage.value
    )
    prior = [WIDE_PRIOR.figures[name].std for name in FIGURES]
    prior[FIGURES.index("first_layer_flare_mm")] = FLARE_STD_MM
    spread = np.array([*prior, BED_OFFSET_STD_MM, shrinkage.std])
    if len(spread) != len(UNKNOWNS):
        raise ValueError("the unknowns of a length have changed")
    of_machine = ((lengths.derivatives * spread) ** 2).sum(axis=1) + 2.0 * WIDE_PRIOR.repeatability_mm**2
    of_reading = [reading_budget(instrument, measure.length_mm).std_mm ** 2 for measure in artefact.measures]
    return Expected(lengths.values_mm, np.sqrt(of_machine + np.array(of_reading)))


def query_reading(
    artefact: Artefact,
    measure: str,
    value_mm: float,
    earlier: Sequence[Reading],
    instrument: Instrument,
    shrinkage: Estimate = UNKNOWN_SHRINKAGE,
    expected: Expected | None = None,
) -> tuple[Reason, ...]:
    """Why a reading should be looked at again; nothing where it may well be true.

    earlier : readings of this artefact that count, in any order
    shrinkage : of the artefact's material
    expected : where more is known than of an unknown machine
    Raises StopIteration where the artefact has no such measure.
    """
    asked = artefact.measure(measure)
    known = expected or expect_readings(artefact, instrument, shrinkage)
    judge = _Judge(artefact, earlier, instrument, known)
    reasons = list(_out_of_range(asked, value_mm, instrument))
    if judge.fits(asked, value_mm):
        return tuple(reasons)
    explained = (
        _swapped(judge, asked, value_mm)
        or find_slip(value_mm, lambda other: judge.fits(asked, other), instrument)
        or _other_measure(judge, asked, value_mm)
    )
    return (*reasons, explained) if explained else (*reasons, *judge.far(asked, value_mm))


def find_slip(value_mm: float, fits: Callable[[float], bool], instrument: Instrument) -> Reason | None:
    """The slip of a known kind after which a value fits: decimal point, inch, sign of a gap, two digits."""
    for factor in _FACTORS:
        if fits(value_mm * factor):
            other = value_mm * factor
            return Reason("decimal", f"{other:g} would fit: has the decimal point slipped?", other)
    inches = value_mm * MM_PER_UNIT["in"]
    if fits(inches):
        return Reason("inch", f"{inches:.2f} would fit: was it read in inches?", inches)
    if "square" in instrument.measures and fits(-value_mm):
        return Reason("sign", f"{-value_mm:g} would fit: does the gap open at the other end?", -value_mm)
    for other in _transposed(value_mm, instrument.resolution_mm):
        if fits(other):
            return Reason("digits", f"{other:g} would fit: have two digits changed places?", other)
    return None


@dataclass(frozen=True, slots=True, eq=False)
class _Judge:
    """Whether values fit measures, by what a machine can be and by their fellows."""

    artefact: Artefact
    earlier: Sequence[Reading]
    instrument: Instrument
    expected: Expected

    def fits(self, measure: Measure, value_mm: float) -> bool:
        """A machine beyond all expectation is asked about once: what a confirmed reading says is believed."""
        is_known = self.fits_machine(measure, value_mm) or self._has_confirmed(measure)
        return is_known and self.fits_fellows(measure, value_mm)

    def fits_machine(self, measure: Measure, value_mm: float) -> bool:
        return self._departure(measure, value_mm) <= self.expected.most_stds

    def fits_fellows(self, measure: Measure, value_mm: float) -> bool:
        fellows = self.fellows(measure)
        return not fellows or abs(value_mm - _middle(fellows)) <= FAR_STDS * self._apart_std(measure, fellows)

    def fellows(self, measure: Measure) -> list[float]:
        """Values of the same measure with the same instrument that are not themselves beyond belief."""
        return [
            item.value_mm
            for item in self._same(measure)
            if item.is_confirmed or self.fits_machine(measure, item.value_mm)
        ]

    def far(self, measure: Measure, value_mm: float) -> list[Reason]:
        """That it is far off, in words, where no slip explains it."""
        reasons = []
        if not self.fits_machine(measure, value_mm):
            index = self._index(measure)
            value, std = self.expected.values_mm[index], self.expected.std_mm[index]
            reasons.append(
                Reason(
                    "machine",
                    f"{value_mm - value:+.2f} mm from {self.expected.whence} is "
                    f"{self._departure(measure, value_mm):.0f} times {self.expected.words} ({std:.2f} mm)",
                )
            )
        if not self.fits_fellows(measure, value_mm):
            fellows = self.fellows(measure)
            apart = value_mm - _middle(fellows)
            times = abs(apart) / self._apart_std(measure, fellows)
            of = "other reading" if len(fellows) == 1 else f"middle of {len(fellows)} other readings"
            what = (
                f"{apart:+.2f} mm from the {of} of it: {times:.0f} times the standard uncertainty of repeats"
            )
            reasons.append(Reason("repeat", what))
        return reasons

    def _same(self, measure: Measure) -> list[Reading]:
        return [
            item
            for item in self.earlier
            if item.measure == measure.id and item.instrument == self.instrument.id
        ]

    def _has_confirmed(self, measure: Measure) -> bool:
        return any(item.is_confirmed for item in self._same(measure))

    def _index(self, measure: Measure) -> int:
        return next(i for i, item in enumerate(self.artefact.measures) if item.id == measure.id)

    def _departure(self, measure: Measure, value_mm: float) -> float:
        index = self._index(measure)
        return float(abs(value_mm - self.expected.values_mm[index]) / self.expected.std_mm[index])

    def _apart_std(self, measure: Measure, fellows: Sequence[float]) -> float:
        """Of the difference between one reading and the middle of its fellows."""
        own = reading_budget(self.instrument, measure.length_mm).own_std_mm
        return own * math.sqrt(1.0 + 1.0 / len(fellows))


def _swapped(judge: _Judge, asked: Measure, value_mm: float) -> Reason | None:
    """That the value fits another measure, and the one that stands there fits this."""
    for item in judge.earlier:
        other = next((m for m in judge.artefact.measures if m.id == item.measure), None)
        if other is None or other.id == asked.id or judge.fits_machine(other, item.value_mm):
            continue
        if judge.fits_machine(other, value_mm) and judge.fits_machine(asked, item.value_mm):
            what = (
                f"it would fit measure {other.number}, and the {item.value_mm:g} of measure {other.number} this one: "
                "have two rows been swapped?"
            )
            return Reason("swapped", what, item.value_mm)
    return None


def _other_measure(judge: _Judge, asked: Measure, value_mm: float) -> Reason | None:
    """The measures that the value would fit, where it cannot be of this one."""
    if judge.fits_machine(asked, value_mm):
        return None
    fitting = [
        other
        for other in judge.artefact.measures
        if other.id != asked.id and other.kind in judge.instrument.measures and judge.fits(other, value_mm)
    ]
    if not fitting:
        return None
    numbers = sorted(fitting, key=lambda m: (abs(m.number - asked.number), m.number))[:3]
    listed = " or ".join(str(measure.number) for measure in numbers)
    return Reason("other measure", f"it would fit measure {listed}: has the row been mistaken?")


def _out_of_range(measure: Measure, value_mm: float, instrument: Instrument) -> list[Reason]:
    if measure.kind == "square":
        return []
    if value_mm > instrument.range_mm * _BEYOND_RANGE:
        what = f"{instrument.id} reads no further than {instrument.range_mm:g} mm"
    elif value_mm < instrument.least_mm:
        what = f"{instrument.id} reads from {instrument.least_mm:g} mm on"
    else:
        return []
    return [Reason("range", what)]


def _middle(values: Sequence[float]) -> float:
    return float(np.median(values))


def _transposed(value_mm: float, step_mm: float) -> list[float]:
    """The value as a display of that step shows it, with each two neighbouring digits exchanged."""
    decimals = max(0, math.ceil(-math.log10(step_mm) - 1e-9))
    digits = list(np.format_float_positional(value_mm, min_digits=decimals))
    places = [i for i, letter in enumerate(digits) if letter.isdigit()]
    found = []
    for a, b in pairwise(places):
        if digits[a] != digits[b]:
            swapped = digits.copy()
            swapped[a], swapped[b] = digits[b], digits[a]
            found.append(float("".join(swapped)))
    return found
