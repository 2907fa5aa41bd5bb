"""The machine of the invented observatory as nobody has measured it yet, and what its test artefact would show.

All of it is invented: the leaning upright, the bed out of square, what is left after it was trued, every reading.
"""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal, get_args

import numpy as np

from dryfit.app.artefact_simulation import simulate_readings
from dryfit.app.demo_files import DemoFiles
from dryfit.app.demo_observatory import observatory_files
from dryfit.app.instruments import instruments_for
from dryfit.app.ledger_reading import read_records
from dryfit.app.qualify_taken import latest_artefact
from dryfit.base.errors import ReferenceUnknown
from dryfit.model.machine import FIGURES
from dryfit.store.atomic import write_atomically
from dryfit.store.document import read_document

PrintedAs = Literal["as-found", "as-trued"]
PRINTED: tuple[PrintedAs, ...] = get_args(PrintedAs)
MACHINE = "tall"
SCATTER_MM = 0.03
TEMP_C = 22.0

# As the demonstration states them for the machine that was measured; and what a careful hand leaves of them.
_FOUND = {"skew_xy_deg": 0.1, "skew_xz_deg": 0.6, "boundary_offset_mm": 0.03, "first_layer_flare_mm": 0.06}
_TRUED = {"skew_xy_deg": 0.002, "skew_xz_deg": 0.005, "skew_yz_deg": 0.004, "first_layer_flare_mm": 0.01}
_FIGURES = {"as-found": _FOUND, "as-trued": _TRUED}
_SEEDS = {"as-found": 11, "as-trued": 12}

INSTRUMENTS = """
# What lies in the drawer, and a long caliper that was borrowed for the day. Figures that are not stated are
# those of the common instrument; all of it is invented.
[[instrument]]
id = "caliper-300"
like = "caliper-300"
repeatability_mm = 0.02
[[instrument]]
id = "long-caliper"
kind = "caliper"
range_mm = 1000
least_mm = 20
resolution_mm = 0.02
mpe_mm = 0.03
mpe_per_m_mm = 0.04
repeatability_mm = 0.03
[[instrument]]
id = "square-300"
like = "square-300"
repeatability_mm = 0.02
"""
_FEET = """\
upright_feet_mm = [420, 520]
foot_pitch_mm = 1.25
gantry_width_mm = 560
"""


@dataclass(frozen=True, slots=True)
class InventedReadings:
    """A table of invented readings.

    file      where it lies   artefact  ledger record of the body   count  of readings
    printed   "as-found" or "as-trued"
    """

    file: Path
    machine: str
    artefact: int
    printed: PrintedAs
    count: int


def unqualified_files() -> DemoFiles:
    """The observatory whose tall machine was never measured: no figures of it, but feet, gantry and instruments."""
    files = observatory_files()
    start = files.document.index("[machine.error]")
    end = files.document.index("# The desk machine")
    before = files.document[:start].replace(
        "# The tall machine prints all long parts. It was measured once: its bed axes are out of square by 0.1\n"
        "# degrees, and its upright leans by 0.6 degrees toward +X.\n",
        "# The tall machine prints all long parts. Nobody has measured it yet.\n",
    )
    document = before + _FEET + INSTRUMENTS + "\n" + files.document[end:]
    return replace(files, document=document)


def choose_print(words: str) -> PrintedAs:
    """How the artefact was printed. Raises ReferenceUnknown for another word."""
    for known in PRINTED:
        if words == known:
            return known
    raise ReferenceUnknown(
        f'"{words}" is no way in which it was printed', "--readings", f"use {' or '.join(PRINTED)}"
    )


def write_invented_readings(folder: Path, printed: PrintedAs) -> InventedReadings:
    """Write what the latest artefact of the demonstration's machine would read, as a table for `dryfit read --csv`.

    Raises ReferenceUnknown where the project is not an invented one, has no such machine, or no artefact yet.
    """
    document = read_document(folder)
    project, place = document.project, document.path.parent
    if not project.invented or MACHINE not in {machine.id for machine in project.machines}:
        raise ReferenceUnknown(
            "readings are invented for the demonstration only, never for a machine of yours",
            f"{document.path.name}: project.invented",
            "take real ones: dryfit read MACHINE",
        )
    records = read_records(place)
    artefact = latest_artefact(records, MACHINE)
    material = next(item for item in project.materials if item.id == artefact.artefact.material)
    figures = np.array([_FIGURES[printed].get(name, 0.0) for name in FIGURES])
    entries = simulate_readings(
        artefact.artefact,
        figures,
        instruments_for(project, records),
        material,
        SCATTER_MM,
        _SEEDS[printed],
        artefact.record,
        TEMP_C,
    )
    table = io.StringIO()
    writer = csv.writer(table, lineterminator="\n")
    writer.writerow(["measure", "value_mm", "instrument", "temp_c", "by"])
    for entry in entries:
        number = artefact.artefact.measure(entry.measure).number
        writer.writerow([number, f"{entry.value_mm:g}", entry.instrument, f"{TEMP_C:g}", entry.by])
    file = place / f"invented-readings-{printed}.csv"
    write_atomically(file, table.getvalue().encode("utf-8"))
    return InventedReadings(file, MACHINE, artefact.record, printed, len(entries))
