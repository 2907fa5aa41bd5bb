"""Which instrument reads which length of a part, and when two lengths are the same."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from dryfit.app.artefact_plan import reading_variance
from dryfit.calc.artefact import REACHED
from dryfit.model.artefact import Measure
from dryfit.model.instrument import Instrument

_LEAST_INSIDE_MM = 10.0  # jaws closed measure this much across
_SAME_MM = 1e-3


def is_same(one: Measure, other: Measure) -> bool:
    """Whether two measures of a part are taken between the same ends, in the same way."""
    if (one.kind, one.ends) != (other.kind, other.ends):
        return False
    pairs = (
        ((one.first, other.first), (one.second, other.second)),
        ((one.first, other.second), (one.second, other.first)),
    )
    return any(all(float(np.linalg.norm(np.subtract(a, b))) <= _SAME_MM for a, b in ends) for ends in pairs)


def can_read_part(measure: Measure, instrument: Instrument) -> bool:
    """Whether an instrument reads a measure of a part. Common practice, no source: see calc.artefact.can_be_read."""
    length = measure.length_mm
    if not instrument.can_read(measure.kind, length):
        return False
    if measure.kind != "square" and length > REACHED * instrument.range_mm:
        return False
    if measure.kind == "inside":
        return instrument.kind == "caliper" and length >= _LEAST_INSIDE_MM
    return True


def best_instruments(measures: Sequence[Measure], instruments: Sequence[Instrument]) -> dict[str, str]:
    """By id of a measure the instrument that reads it with the least variance; none where none does."""
    best: dict[str, str] = {}
    for measure in measures:
        able = [item for item in instruments if can_read_part(measure, item)]
        if able:
            best[measure.id] = min(able, key=lambda item: reading_variance(measure, item)).id
    return best
