"""Readings of a print that never was: a machine with stated figures, for tests and the demonstration.

Everything that comes out of here is invented and has to say so where it is shown.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from dryfit.app.artefact_plan import reading_order
from dryfit.app.reading_model import Taken, model_readings
from dryfit.app.reading_records import Entry
from dryfit.base.arrays import Array
from dryfit.model.artefact import Artefact
from dryfit.model.instrument import Instrument
from dryfit.model.machine import FIGURES
from dryfit.model.material import Material
from dryfit.model.project import REFERENCE_TEMP_C

INVENTED = "simulated"  # who read it: nobody


def simulate_readings(
    artefact: Artefact,
    figures: Array,
    instruments: Sequence[Instrument],
    material: Material,
    scatter_mm: float,
    seed: int,
    record: int = 0,
    temp_c: float | None = REFERENCE_TEMP_C,
) -> tuple[Entry, ...]:
    """Readings of one simulated print, as the sheet asks for them: there, then back, and again.

    figures : (8,) true figures of the machine   scatter_mm : std of a printed point
    record : of the artefact in the ledger
    Instruments depart within their permissible error (rectangular), the bed, the shrinkage and the warmth as
    the model says (normal); points and hands scatter (normal), displays go by steps. The same seed gives the
    same readings. Invented, and `by` says so.
    Raises StopIteration where the plan names a measure or an instrument that is not there.
    """
    known = {item.id: item for item in instruments}
    taken = [
        Taken(artefact.measure(step.measure), known[step.instrument], temp_c)
        for step in reading_order(artefact)
    ]
    values = simulate_values(taken, figures, material, scatter_mm, np.random.default_rng(seed))
    return tuple(
        Entry(
            artefact.machine, record, item.measure.id, float(value), item.instrument.id, temp_c, by=INVENTED
        )
        for item, value in zip(taken, values, strict=True)
    )


def simulate_values(
    taken: Sequence[Taken], figures: Array, material: Material, scatter_mm: float, chance: np.random.Generator
) -> Array:
    """Displayed values (n,) of readings of one print [mm]."""
    model = model_readings(taken, material)
    unknowns = np.zeros(len(model.names))
    unknowns[: len(FIGURES)] = figures
    for place, mean, std in zip(model.prior_index, model.prior_mean, model.prior_std, strict=True):
        if model.names[place].endswith((" zero", " scale")):
            unknowns[place] = mean + std * np.sqrt(3.0) * chance.uniform(-1.0, 1.0)
        else:
            unknowns[place] = mean + std * chance.standard_normal()
    values, _ = model.predict(unknowns)
    printed = np.sqrt(2.0) * scatter_mm * chance.standard_normal(len(model.measures))
    values = (values + printed[model.measure]) / model.correction
    values = values + np.sqrt(model.alone) * chance.standard_normal(len(values))
    steps = np.array([item.instrument.resolution_mm for item in taken])
    shown = np.where(steps > 0, np.round(values / np.where(steps > 0, steps, 1.0)) * steps, values)
    # as a display shows it: no digits beyond its step
    rounded: Array = np.round(shown, 6)
    return rounded
