"""What a mesh without a unit would measure in each unit. Nothing is rescaled here: the user chooses."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from dryfit.base.arrays import Array, locked
from dryfit.base.units import MM_PER_UNIT, LengthUnit

# In the order in which mesh programs write them, most often first (common practice, no source).
CANDIDATE_UNITS: tuple[LengthUnit, ...] = ("mm", "m", "in", "cm")
_WORDS: dict[LengthUnit, str] = {"mm": "millimetres", "cm": "centimetres", "m": "metres", "in": "inches"}
# A size at the printer's scatter or beyond the shop cannot be a printed part (common practice, no source).
_SMALLEST_PART_MM = 1.0
_LARGEST_PART_MM = 10_000.0


@dataclass(frozen=True, slots=True, eq=False)
class UnitCandidate:
    """One reading of a mesh's size.

    size_mm               (3,) [mm] extent, were the file in this unit
    fits_build_volume     as it lies in the file, turned by quarters only; None without a build volume
    ratio_to_other_parts  longest side over the median of the other parts' longest sides; None without any
    words                 the same in one sentence
    """

    unit: LengthUnit
    size_mm: Array
    fits_build_volume: bool | None
    ratio_to_other_parts: float | None
    words: str

    def __post_init__(self) -> None:
        object.__setattr__(self, "size_mm", locked(self.size_mm, (3,), "size_mm"))


def rank_units(
    extent: Array,
    build_volume_mm: Sequence[float] | None,
    other_part_extents_mm: Sequence[Array],
) -> tuple[UnitCandidate, ...]:
    """Candidates for the unit of a mesh, best first.

    extent                 (3,) in the file's own, unknown unit
    build_volume_mm        (3,) [mm] of the machine, or None
    other_part_extents_mm  (3,) [mm] each
    A unit in which the mesh fits the build volume comes before one in which it does not, then a size
    that a part can have before one that it cannot, then the nearest to the other parts' median size (in
    ratio); the order of CANDIDATE_UNITS breaks ties.
    Raises ValueError where the extent is not three finite numbers, not all zero and none negative.
    """
    raw = locked(extent, (3,), "extent")
    if raw.min() < 0 or raw.max() <= 0:
        raise ValueError("an extent is not negative and not zero in all directions")
    longest = [float(np.max(other)) for other in other_part_extents_mm]
    median = float(np.median(longest)) if longest else None
    candidates = [_weigh(unit, raw, build_volume_mm, median) for unit in CANDIDATE_UNITS]
    return tuple(sorted(candidates, key=_rank))


def _weigh(
    unit: LengthUnit, raw: Array, build_volume_mm: Sequence[float] | None, median: float | None
) -> UnitCandidate:
    size = raw * MM_PER_UNIT[unit]
    fits = None
    if build_volume_mm is not None:
        fits = bool((np.sort(size) <= np.sort(np.asarray(build_volume_mm, dtype=np.float64))).all())
    ratio = None if median is None or median <= 0 else float(size.max()) / median
    return UnitCandidate(unit, size, fits, ratio, _say(unit, size, fits, ratio))


def _rank(candidate: UnitCandidate) -> tuple[bool, bool, float]:
    size = float(candidate.size_mm.max())
    is_absurd = not _SMALLEST_PART_MM <= size <= _LARGEST_PART_MM
    ratio = candidate.ratio_to_other_parts
    distance = 0.0 if ratio is None else abs(math.log(ratio))
    return candidate.fits_build_volume is False, is_absurd, distance


def _say(unit: LengthUnit, size: Array, fits: bool | None, ratio: float | None) -> str:
    sides = " x ".join(f"{side:.4g}" for side in size)
    words = f"as {_WORDS[unit]} it measures {sides} mm"
    if fits is not None:
        words += ", which fits the build volume" if fits else ", which does not fit the build volume"
    if ratio is not None:
        words += f", {ratio:.3g} times the median size of the other parts"
    return words
