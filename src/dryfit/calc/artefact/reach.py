"""Which instrument reads which measure of a test artefact."""

from __future__ import annotations

from dryfit.calc.artefact.sizes import REACHED
from dryfit.model.artefact import Measure
from dryfit.model.instrument import Instrument

_LEAST_INSIDE_MM = 10.0  # jaws closed measure this much across
_LEVEL_MM = 1e-6


def can_be_read(measure: Measure, instrument: Instrument) -> bool:
    """Whether an instrument reads a measure, by its kind and length and by how it is held.

    Beyond what the instrument states: a print may come out longer than commanded, so that its last hundredth
    of range is not counted on; only jaws and spindles feel the first layer; a slanting diagonal is read on
    edges, where jaws find no hold; a micrometer's frame goes round blocks, not over heights; a dial is run up,
    not laid down. Common practice, no source.
    """
    length, kind = measure.length_mm, instrument.kind
    if not instrument.can_read(measure.kind, length):
        return False
    if measure.kind != "square" and length > REACHED * instrument.range_mm:
        return False
    jaws = kind in ("caliper", "micrometer")
    if measure.first_is_low or measure.second_is_low:
        return jaws
    if measure.kind == "inside":
        return length >= _LEAST_INSIDE_MM
    is_level = abs(measure.second[2] - measure.first[2]) < _LEVEL_MM
    if measure.kind == "diagonal" and not is_level:
        return not jaws
    if measure.kind == "height":
        return kind != "micrometer"
    return not (kind == "dial indicator" and is_level)
