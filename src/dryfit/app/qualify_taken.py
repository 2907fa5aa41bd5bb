"""The readings that a qualification rests on, with those that the user left out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from dryfit.app.artefact_records import RecordedArtefact, recorded_artefacts
from dryfit.app.instruments import find_instrument
from dryfit.app.loading import Opened
from dryfit.app.qualify_report import Choices, LeftOut
from dryfit.app.reading_model import Taken
from dryfit.app.reading_records import readings_of
from dryfit.base.arrays import Array
from dryfit.base.errors import ComputationRefused, ReferenceUnknown
from dryfit.model.instrument import Instrument
from dryfit.model.material import Material
from dryfit.model.reading import Reading
from dryfit.store.ledger import LEDGER_NAME, LedgerRecord


@dataclass(frozen=True, slots=True, eq=False)
class TakenReadings:
    """Readings that count, ready for the adjustment, and those left out."""

    readings: tuple[Reading, ...]
    taken: tuple[Taken, ...]
    left_out: tuple[LeftOut, ...]

    @property
    def values(self) -> Array:
        return np.array([reading.value_mm for reading in self.readings])


def latest_artefact(records: Sequence[LedgerRecord], machine: str) -> RecordedArtefact:
    """The one that was designed last. Raises ReferenceUnknown where there is none."""
    found = recorded_artefacts(records, machine)
    if not found:
        raise ReferenceUnknown(
            f'no test artefact was made for machine "{machine}"',
            LEDGER_NAME,
            f"design one: dryfit artefact {machine}; print it, then take its readings: dryfit read {machine}",
        )
    return found[-1]


def material_of(opened: Opened, artefact: RecordedArtefact) -> Material:
    known = {material.id: material for material in opened.project.materials}
    wanted = artefact.artefact.material
    if wanted not in known:
        raise ReferenceUnknown(
            f'the artefact was printed in "{wanted}", which is no material of the document any more',
            f"ledger record {artefact.record}",
            f'add [[material]] with id = "{wanted}" again, or design another artefact',
        )
    return known[wanted]


def take_readings(
    opened: Opened, records: Sequence[LedgerRecord], artefact: RecordedArtefact, chosen: Choices
) -> TakenReadings:
    machine = artefact.artefact.machine
    readings = readings_of(records, machine, artefact.record)
    if not readings:
        raise ComputationRefused(
            "the artefact has not been read yet",
            f"machine {machine}, artefact of ledger record {artefact.record}",
            f"take its readings: dryfit read {machine}",
        )
    known = {reading.record for reading in readings}
    strange = [str(record) for record in chosen.without if record not in known]
    if strange:
        raise ReferenceUnknown(
            f"record {', '.join(strange)} is no reading of this artefact that counts",
            "--without",
            f"dryfit qualify {machine} --look --json lists the readings with their records",
        )
    if chosen.without and not chosen.because.strip():
        raise ReferenceUnknown(
            "a reading is left out without a reason", "--without", 'say why: --because "the jaws were tilted"'
        )
    instruments: dict[str, Instrument] = {}
    for reading in readings:
        if reading.instrument not in instruments:
            instruments[reading.instrument] = find_instrument(opened.project, records, reading.instrument)
    kept = tuple(reading for reading in readings if reading.record not in chosen.without)
    body = artefact.artefact
    return TakenReadings(
        kept,
        tuple(Taken(body.measure(item.measure), instruments[item.instrument], item.temp_c) for item in kept),
        tuple(
            LeftOut(item.record, item.measure, item.value_mm, chosen.because.strip())
            for item in readings
            if item.record in chosen.without
        ),
    )
