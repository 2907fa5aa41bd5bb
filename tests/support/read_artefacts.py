"""A project whose machine has a test artefact, and readings of a simulated print of it in the ledger.

Invented: no body, machine or reading of anybody's.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np

from dryfit.app.artefact_records import ARTEFACT, artefact_payload
from dryfit.app.reading_model import Taken
from dryfit.app.reading_records import READING, Entry, reading_payload
from dryfit.model.artefact import Artefact, Planned
from dryfit.model.instrument_table import COMMON_INSTRUMENTS
from dryfit.store.ledger import LEDGER_NAME, open_ledger
from support.plain_body import PLA, measures, simulate
from support.projects import CHARACTERISTICS, document, write_project

INSTRUMENTS = tuple(COMMON_INSTRUMENTS[id] for id in ("caliper-300", "steel-rule-1000", "square-300"))
SIZE = (460.0, 460.0, 560.0)
# Leans by 0.6 degrees to +X and by 0.1 to -Y; X prints 0.15 % short.
FAULTS = (-0.0015, 0.0002, 0.0, 0.12, 0.6, -0.1, 0.05, 0.15)
UNKNOWN_MACHINE = """
[[machine]]
id = "tall"
build_volume_mm = [500, 500, 600]
upright_feet_mm = [420, 380]
gantry_width_mm = 480

[[machine]]
id = "spare"
build_volume_mm = [200, 200, 200]
"""


# Wide enough for a scatter of 0.1 mm, so that a lean of more than half a degree is what spoils the fit.
BEARABLE = CHARACTERISTICS.replace("[-0.5, 0.5]", "[-2.5, 2.5]").replace("[-0.2, 0.2]", "[-0.6, 0.5]")


def write_unknown(folder):
    """The portal on a machine of which nothing is known, beside one that prints nothing."""
    write_project(folder, document(machine=UNKNOWN_MACHINE, characteristics=BEARABLE))
    return folder


def plan_of(found, repeats=2):
    """Every measure with the first instrument that reads it."""
    steps = []
    for measure in found:
        able = [item for item in INSTRUMENTS if item.can_read(measure.kind, measure.length_mm)]
        steps.append(Planned(measure.id, able[0].id, repeats))
    return tuple(steps)


def write_artefact(folder, machine="tall", repeats=2):
    """The record of an artefact, and the artefact."""
    found = measures(SIZE)
    body = Artefact(
        machine=machine,
        build_volume_mm=(500.0, 500.0, 600.0),
        size_mm=SIZE,
        volume_mm3=2.2e5,
        mass_g=273.0,
        hours=19.0,
        material="pla",
        first_layer_height_mm=0.3,
        measures=found,
        plan=plan_of(found, repeats),
        sha256="0" * 64,
    )
    with open_ledger(folder / LEDGER_NAME) as ledger:
        return ledger.append(ARTEFACT, artefact_payload(body)).id, body


def write_readings(folder, artefact, figures=FAULTS, seed=5, changed=None, most=None, days_ago=0):
    """Record a reading for each repeat of the plan; changed: by place, what is read instead. Returns their records."""
    number, body = artefact
    instruments = {item.id: item for item in INSTRUMENTS}
    steps = [step for step in body.plan for _ in range(step.repeats)][:most]
    taken = [Taken(body.measure(step.measure), instruments[step.instrument], 21.0) for step in steps]
    values = simulate(taken, np.array(figures), 0.03, np.random.default_rng(seed), PLA)
    payloads = []
    for place, (step, value) in enumerate(zip(steps, values, strict=True)):
        shown = (changed or {}).get(place, round(float(value), 3))
        payloads.append(
            reading_payload(Entry(body.machine, number, step.measure, shown, step.instrument, temp_c=21.0))
        )
    with open_ledger(folder / LEDGER_NAME, clock=_clock(days_ago)) as ledger:
        return [record.id for record in ledger.append_all(READING, payloads)]


def _clock(days_ago):
    return lambda: datetime.now(UTC) - timedelta(days=days_ago)
