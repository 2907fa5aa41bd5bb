"""A small test artefact with a few measures of every kind, and a simulated print of it."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import numpy as np

from dryfit.app.artefact_records import ARTEFACT, artefact_payload
from dryfit.calc.errormodel import measure_arrays, read_lengths
from dryfit.model.artefact import Artefact, Measure, Planned
from dryfit.model.machine import FIGURES
from dryfit.store.ledger import LEDGER_NAME, open_ledger

OUT = (1.0, 0.0, 0.0)
BACK = (-1.0, 0.0, 0.0)

MEASURES = (
    Measure(
        1, "outside-x-280", "outside", "faces", (0, 0, 20), (280, 0, 20), BACK, OUT, words="over A and C"
    ),
    Measure(
        2, "outside-x-140", "outside", "faces", (0, 0, 20), (140, 0, 20), BACK, OUT, words="over A and B"
    ),
    Measure(
        3, "inside-x-100", "inside", "faces", (20, 0, 20), (120, 0, 20), OUT, BACK, words="between A and B"
    ),
    Measure(4, "centres-y-200", "centres", "points", (0, 0, 20), (0, 200, 20), words="posts A and D"),
    Measure(5, "height-z-250", "height", "faces", (0, 0, 0), (0, 0, 250), from_bed=True, words="post A"),
    Measure(
        *(6, "square-xz", "square", "points", (0, 0, 0), (0, 0, 250)),
        toward=(1.0, 0.0, 0.0),
        words="side of post A",
    ),
    Measure(7, "diagonal-xy", "diagonal", "points", (0, 0, 20), (200, 200, 20), words="posts A and E"),
)
PLAN = (
    Planned("outside-x-280", "caliper-300", 3),
    Planned("outside-x-140", "caliper-300", 2),
    Planned("centres-y-200", "caliper-300", 2),
    Planned("height-z-250", "caliper-300", 2),
    Planned("square-xz", "square-300", 2),
)


def artefact(machine: str = "tall") -> Artefact:
    """The artefact of a machine; invented."""
    return Artefact(
        machine=machine,
        build_volume_mm=(300.0, 300.0, 300.0),
        size_mm=(280.0, 220.0, 250.0),
        volume_mm3=400_000.0,
        mass_g=300.0,
        hours=None,
        material="pla",
        first_layer_height_mm=0.3,
        measures=MEASURES,
        plan=PLAN,
        sha256="0" * 64,
    )


def record_artefact(folder: Path, machine: str = "tall") -> int:
    """Put the artefact into the ledger of a project folder; its record."""
    with open_ledger(folder / LEDGER_NAME) as ledger:
        return ledger.append(ARTEFACT, artefact_payload(artefact(machine))).id


def printed(figures: Mapping[str, float]) -> dict[str, float]:
    """What each measure reads without any uncertainty, of a machine with these figures."""
    values = np.array([figures.get(name, 0.0) for name in FIGURES])
    lengths = read_lengths(measure_arrays(MEASURES), values).values_mm
    return {measure.id: float(value) for measure, value in zip(MEASURES, lengths, strict=True)}
