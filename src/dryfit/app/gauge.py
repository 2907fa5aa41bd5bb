"""What a gauge study says: how well an instrument repeats in these hands, and whether that decides."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np

from dryfit.app.gauge_records import GaugeReading
from dryfit.base.errors import ComputationRefused
from dryfit.calc.gauging import (
    LARGEST_GROUP,
    Budget,
    CrossedStudy,
    RangeStudy,
    analyse_crossed,
    analyse_ranges,
    reading_budget,
)
from dryfit.model.instrument import Instrument
from dryfit.model.project import Project

METHOD = "analysis of variance"
# Six standard deviations against a band: below a tenth the instrument decides, above three tenths it does not.
# Source: measurement systems analysis manual (memory).
SPREAD_STDS = 6.0
GOOD_SHARE, USABLE_SHARE = 0.1, 0.3
FEW_DOF = 10  # below it a standard deviation is known within no more than a factor of about 1.6


@dataclass(frozen=True, slots=True)
class Band:
    """What is to be decided: the width of a band of limits, and whose it is."""

    width_mm: float
    words: str


@dataclass(frozen=True, slots=True)
class GaugeReport:
    """A finished study.

    record   in the ledger; 0 where it was not recorded
    crossed  by analysis of variance: what is recorded
    ranges   by the range method, as a check; None where the groups are larger than its table
    band     against which the spread of readings is held; None: nothing in mm is to be decided
    budget   of one reading at the mean length of the study, with the repeatability found
    length_mm  that mean length
    """

    project: str
    instrument: Instrument
    record: int
    people: tuple[str, ...]
    parts: tuple[str, ...]
    trials: int
    crossed: CrossedStudy
    ranges: RangeStudy | None
    band: Band | None
    budget: Budget | None
    length_mm: float

    @property
    def share(self) -> float | None:
        """SPREAD_STDS standard deviations of a reading over the band."""
        return None if self.band is None else SPREAD_STDS * self.reading_std_mm / self.band.width_mm

    @property
    def reading_std_mm(self) -> float:
        """Of one reading by any of the people; never less than the step of the display lets see."""
        return max(self.crossed.both, self.instrument.resolution_mm / math.sqrt(12.0))

    @property
    def state(self) -> Literal["pass", "caution", "stop", "not checked"]:
        """Whether the instrument decides in these hands."""
        share = self.share
        if share is None:
            return "not checked"
        if share > USABLE_SHARE:
            return "stop"
        few = self.crossed.dof < FEW_DOF
        return "caution" if share > GOOD_SHARE or few else "pass"


def arrange(
    readings: Sequence[GaugeReading], people: Sequence[str], parts: Sequence[str], trials: int
) -> np.ndarray[Any, np.dtype[np.float64]]:
    """Readings as (people, parts, trials). Raises ComputationRefused where one is missing."""
    held = {(item.place.person, item.place.part, item.place.trial): item.value_mm for item in readings}
    missing = [
        f"{person}, part {part}, trial {trial}"
        for person in people
        for part in parts
        for trial in range(1, trials + 1)
        if (person, part, trial) not in held
    ]
    if missing:
        listed = "; ".join(missing[:5]) + ("; ..." if len(missing) > 5 else "")
        what = f"{len(missing)} readings of the study are missing: {listed}"
        raise ComputationRefused(what, "gauge study", "every person reads every part equally often")
    return np.array(
        [[[held[(a, b, c)] for c in range(1, trials + 1)] for b in parts] for a in people], dtype=np.float64
    )


def judge_study(
    project: Project,
    instrument: Instrument,
    readings: Sequence[GaugeReading],
    people: Sequence[str],
    parts: Sequence[str],
    trials: int,
    decide_mm: float | None = None,
) -> GaugeReport:
    """The report of a complete study, not recorded yet.

    decide_mm : width of the band that is to be decided; None: the narrowest of the project's limits in mm
    """
    values = arrange(readings, people, parts, trials)
    crossed = analyse_crossed(values)
    has_ranges = max(values.shape) <= LARGEST_GROUP
    length = float(np.abs(values).mean())
    found = _with_study(instrument, crossed)
    return GaugeReport(
        project=project.name,
        instrument=found,
        record=0,
        people=tuple(people),
        parts=tuple(parts),
        trials=trials,
        crossed=crossed,
        ranges=analyse_ranges(values) if has_ranges else None,
        band=Band(decide_mm, "stated") if decide_mm is not None else narrowest_band(project),
        budget=reading_budget(found, length) if length > 0.0 else None,
        length_mm=length,
    )


def narrowest_band(project: Project) -> Band | None:
    """The narrowest limits in mm of the project's characteristics; None where none has two."""
    bands = [
        Band(item.upper - item.lower, f"limits of {item.id}")
        for item in project.characteristics
        if item.unit == "mm" and item.lower is not None and item.upper is not None
    ]
    wide = [band for band in bands if band.width_mm > 0.0]
    return min(wide, key=lambda band: band.width_mm) if wide else None


def study_payload(
    report: GaugeReport, readings: Sequence[GaugeReading], plan: int | None, csv_sha256: str | None = None
) -> dict[str, Any]:
    """What the ledger keeps of a study: its result, and all that it rests on."""
    crossed = report.crossed
    interval = crossed.repeatability_interval
    payload: dict[str, Any] = {
        "instrument": report.instrument.id,
        "repeatability_mm": crossed.repeatability,
        "dof": crossed.dof,
        "method": METHOD,
        "repeatability_low_95_mm": interval.low,
        "repeatability_high_95_mm": interval.high,
        "reproducibility_mm": crossed.reproducibility,
        "both_mm": crossed.both,
        "interaction_is_pooled": crossed.is_pooled,
        "people": list(report.people),
        "parts": list(report.parts),
        "trials": report.trials,
        "plan": plan,
        "readings": [
            {
                "record": item.record or None,
                "person": item.place.person,
                "part": item.place.part,
                "trial": item.place.trial,
                "value_mm": item.value_mm,
            }
            for item in readings
        ],
    }
    return payload if csv_sha256 is None else {**payload, "csv_sha256": csv_sha256}


def _with_study(instrument: Instrument, crossed: CrossedStudy) -> Instrument:
    return replace(
        instrument,
        repeatability_mm=crossed.repeatability,
        repeatability_dof=float(crossed.dof),
        repeatability_from="this gauge study",
    )
