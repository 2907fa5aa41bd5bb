"""What else must be read where the readings cannot tell the figures of a machine apart."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from dryfit.app.reading_fit import prior_of, start_of
from dryfit.app.reading_model import Taken, model_readings
from dryfit.base.errors import ComputationRefused
from dryfit.calc.adjust import Indistinct, separating_rows
from dryfit.model.artefact import Artefact, Measure
from dryfit.model.instrument import Instrument
from dryfit.model.material import Material

_SHOWN = 3


def explain_what_is_missing(
    error: Indistinct, taken: Sequence[Taken], artefact: Artefact, material: Material
) -> ComputationRefused:
    """The refusal that names what cannot be told apart, and which unread measures would tell it."""
    instruments = {item.instrument.id: item.instrument for item in taken}
    read = {item.measure.id for item in taken}
    unread = [measure for measure in artefact.measures if measure.id not in read]
    able = [
        Taken(measure, instrument)
        for measure in unread
        if (instrument := _able(measure, list(instruments.values()))) is not None
    ]
    listed = "; ".join(item.words for item in error.combinations)
    what = f"the readings cannot tell apart: {listed}"
    return ComputationRefused(
        what, f"{len(taken)} readings of {len(read)} measures", _advice(taken, able, material)
    )


def _able(measure: Measure, instruments: Sequence[Instrument]) -> Instrument | None:
    for instrument in instruments:
        if instrument.can_read(measure.kind, measure.length_mm):
            return instrument
    return None


def _advice(taken: Sequence[Taken], able: Sequence[Taken], material: Material) -> str:
    if not able:
        return "read more measures of the sheet, of other kinds and directions (dryfit read)"
    model = model_readings([*taken, *able], material)
    _, design = model.predict(start_of(model))
    count = len(taken)
    found = separating_rows(
        design[:count],
        model.alone[:count] + np.diag(model.shared)[:count] + 1e-4,
        design[count:],
        np.sqrt(model.alone[count:] + np.diag(model.shared)[count:] + 1e-4),
        prior_of(model),
    )
    if not found:
        return "none of the artefact's other measures would tell them apart with these instruments: add one"
    best = [able[item.row].measure for item in found[:_SHOWN]]
    words = "; ".join(f"{measure.number} ({measure.kind}: {measure.words})" for measure in best)
    more = "" if found[0].left == 0 else ", and others after it"
    return f"read besides, the most telling first: {words}{more}"
