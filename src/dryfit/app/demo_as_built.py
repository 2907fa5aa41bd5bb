"""The invented observatory some weeks later: released, and five of its twelve ribs printed and on the bench.

All of it is invented. What has happened until then went the way that it goes for a user, and lies in the ledger:

* the guide that printed a wrong overall height was left out, and wall and ribs were modelled to the schedule;
* the upright was set true and the machine measured again. Nothing is out of square any more, but how square X and Y
  are is known to a few hundredths of a degree only, which a ring of more than a metre does not bear;
* so the ribs were released first, whatever the hold point says of the ring, and five came off the bed in ten days;
* the fifth, rib-4, came off a machine that was lent for a week. Its owner had set it square, but nobody had measured
  how long it prints: half a per cent too short, and the crown would lie a millimetre low on that rib;
* the four of the tall machine were read, as the inspection plan asks. The readings of rib-4 lie in a table beside
  the others and are not entered yet; nor is the scan of it.

What the photographs gave stands here as observations: the pictures would only repeat the first story.
The machines' true figures are below, and nothing else of the program knows them.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Sequence
from pathlib import Path

import numpy as np

from dryfit.app.demo_files import (
    DemoFiles,
    hash_of,
    to_glb,
    write_error,
    write_faces,
    write_feature,
    write_look,
)
from dryfit.app.demo_machine import INSTRUMENTS
from dryfit.app.demo_observatory import observatory_meshes
from dryfit.app.demo_observatory_sizes import BY_THE_SCHEDULE, rib_deg
from dryfit.app.demo_observatory_text import MESH_FILE, write_observatory
from dryfit.app.demo_ribs import Shown, TrueMachine, simulate_inspection, simulate_scan
from dryfit.app.forecast import Chain
from dryfit.app.instruments import instruments_for
from dryfit.app.ledger_reading import read_records
from dryfit.app.loading import Opened, open_project
from dryfit.app.part_bench import AtHand
from dryfit.app.prediction import chain_of
from dryfit.app.print_records import PRINT, print_payload
from dryfit.app.prints import read_moment
from dryfit.app.reading_csv import record_csv
from dryfit.app.reading_desk import open_desk
from dryfit.app.releasing import ReleaseOrder, release_parts
from dryfit.app.schedule import Options, schedule_folder
from dryfit.app.shape_hash import hash_shape
from dryfit.model.printing import Print
from dryfit.store.atomic import write_atomically
from dryfit.store.ledger import LEDGER_NAME, open_ledger

# part, day on which it came off the bed, hours, grams; invented
PRINTS = (
    ("rib-12", "2026-11-09", 21.4, 512.0),
    ("rib-1", "2026-11-11", 21.5, 514.0),
    ("rib-2", "2026-11-13", 21.4, 511.0),
    ("rib-3", "2026-11-15", 21.6, 513.0),
    ("rib-4", "2026-11-15", 26.0, 509.0),
)
UNREAD = "rib-4"
TEMP_C, SEED = 21.0, 22
SHUTTER_RIBS = ("rib-1", "rib-12")
_BY = "simulated"

# Of the tall machine after it was set true: square as far as anybody knows.
_ERROR = write_error(0.0, 0.0, ["0.00002"] * 3, ["0.02", "0.01", "0.01"], "0.01")
_LENT = (
    """\
# A machine that was lent for a week. Its owner set it square; how long it prints nobody has measured.
[[machine]]
id = "lent"
build_volume_mm = [500, 500, 500]
extrusion_width_mm = 0.9
overhang_deg = 50
clearance_mm = 1
"""
    + write_error(0.0, 0.0, ["0.003", "0.003", "0.0003"], ["0.01"] * 3, "0.02")
    + "\n"
)
# And what they truly do.
_SCATTER_MM = 0.03
_TRUE_TALL = TrueMachine({"skew_xy_deg": 0.002, "skew_xz_deg": -0.005, "scale_x": 0.00001}, _SCATTER_MM)
_TRUE_LENT = TrueMachine({"scale_x": -0.0051, "scale_y": -0.0049, "scale_z": -0.0002}, _SCATTER_MM)
_RIB = f'id = "{UNREAD}"\nmesh = "meshes/{MESH_FILE}#rib"\nmachine = "{{machine}}"'
_SPREAD_WAS, _SPREAD_IS = "shrinkage_std = 0.00005", "shrinkage_std = 0.00002"
_TALL_WAS = (
    "# The tall machine prints all long parts. It was measured once: its bed axes are out of square by 0.1\n"
    "# degrees, and its upright leans by 0.6 degrees toward +X.\n"
)
_TALL_IS = (
    "# The tall machine prints all long parts. Its upright was set true, and it was measured again with a short\n"
    "# artefact: how square X and Y are is known within 0.02 degrees only.\n"
)


def as_built_files() -> DemoFiles:
    """The observatory as it was released, with what has happened since."""
    data = to_glb(observatory_meshes(BY_THE_SCHEDULE))
    text = write_observatory(hash_of(data), "\n".join(_observations()), BY_THE_SCHEDULE)
    start, end = text.index("[machine.error]"), text.index("# The desk machine")
    before = text[:start].replace(_TALL_WAS, _TALL_IS).replace(_SPREAD_WAS, _SPREAD_IS)
    after = text[end:].replace(_RIB.format(machine="tall"), _RIB.format(machine="lent"))
    document = before + _ERROR + "\n" + _LENT + INSTRUMENTS + "\n" + after
    place = document.index("[assembly]")
    document = document[:place] + "\n".join(_shutter_ribs()) + "\n" + document[place:]
    return DemoFiles(document, {MESH_FILE: data}, history=live_through)


def _observations() -> Iterator[str]:
    yield "# What five photographs gave, and the ribs beside the shutter, from an engraving. Invented."
    for id, of, value, std, source, date in (
        (
            "photo.drum",
            "drum.height",
            "3.634 m",
            "11 mm",
            "three photographs, adjusted together",
            "2026-10-12",
        ),
        ("photo.rise", "dome.rise", "8.412 m", "48 mm", "three photographs, adjusted together", "2026-10-12"),
        ("shutter-rib.engraving", "shutter-rib.width", "560 mm", "5 mm", "an engraving of the dome", "1881"),
    ):
        yield "\n".join(
            [
                "[[observation]]",
                f'id = "{id}"',
                f'of = "{of}"',
                f'value = "{value}"',
                f'std = "{std}"',
                f'source = "invented: {source}"',
                f'date = "{date}"',
                'reliability = "fair"\n',
            ]
        )
    yield '[[dimension]]\nid = "shutter-rib.width"\nsource = "invented: see its observations"\n'


def _shutter_ribs() -> Iterator[str]:
    yield "# The two ribs beside the shutter, which the others are like as far as anybody knows."
    for id in SHUTTER_RIBS:
        azimuth = np.radians(rib_deg(int(id.removeprefix("rib-"))))
        across = np.array([-np.sin(azimuth), np.cos(azimuth), 0.0])
        yield write_feature(
            f"{id}-width",
            "distance",
            write_faces(write_look(id, across), write_look(id, -across)),
            'dimension = "shutter-rib.width"',
            "deviations_mm = [-0.5, 0.5]",
        )


def live_through(folder: Path) -> None:
    """Decide, release, print and read in a folder that holds document and meshes, as the ledger tells it."""
    why = "a tenth above everything that was measured"
    schedule_folder(folder, Options("without", ("guide.overall",), why))
    first = "the ribs first: their readings will tell how square the machine is; the ring waits for that"
    release_parts(folder, ReleaseOrder(_ribs(), by=_BY, because="the ribs", despite=first))
    opened = open_project(folder)
    _enter_prints(opened)
    tables = _write_readings(opened)
    _write_scan(opened)
    at_hand = AtHand(opened)
    for part, file in tables:
        if part != UNREAD:
            with open_desk(folder, part, at_hand=at_hand) as desk:
                record_csv(desk, file)


def _ribs() -> tuple[str, ...]:
    return tuple(f"rib-{number}" for number in range(1, 13))


def _enter_prints(opened: Opened) -> None:
    payloads = []
    for id, day, hours, grams in PRINTS:
        part = opened.project.part(id)
        shape = opened.shapes[id]
        item = Print(
            record=0,
            at="",
            part=id,
            machine=part.machine,
            material=part.material,
            bed=part.bed,
            result="good",
            shape_sha256=hash_shape(shape),
            mesh_sha256=shape.mesh.sha256,
            release="A",
            spool="white 2 (invented)",
            ended=read_moment(day, "the demonstration"),
            hours=hours,
            grams=grams,
            by=_BY,
        )
        payloads.append(print_payload(item))
    with open_ledger(opened.folder / LEDGER_NAME) as ledger:
        ledger.append_all(PRINT, payloads)


def _write_readings(opened: Opened) -> list[tuple[str, Path]]:
    """A table for each print, by part."""
    chain: Chain = chain_of(opened)
    if chain.as_built is None:
        raise ValueError("nothing was printed")
    instruments = instruments_for(chain.project, read_records(opened.folder))
    machines = {"tall": _TRUE_TALL, "lent": _TRUE_LENT}
    shown = simulate_inspection(chain, chain.as_built, instruments, machines, TEMP_C, SEED)
    files = []
    for part, rows in shown.items():
        file = opened.folder / f"invented-readings-{part}.csv"
        write_atomically(file, _table(rows))
        files.append((part, file))
    return files


def _write_scan(opened: Opened) -> None:
    """A scan of the rib that was not read, as a cloud of points."""
    part = opened.project.part(UNREAD)
    shrinkage = opened.project.material(part.material).shrinkage.value
    points = simulate_scan(part, opened.shapes[UNREAD], shrinkage, _TRUE_LENT, SEED)
    lines = ["# Invented: simulated points of a print that never was, in millimetres."]
    lines += [f"{x:.2f} {y:.2f} {z:.2f}" for x, y, z in points.tolist()]
    write_atomically(opened.folder / f"invented-scan-{UNREAD}.xyz", ("\n".join(lines) + "\n").encode("utf-8"))


def _table(rows: Sequence[Shown]) -> bytes:
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(["measure", "value_mm", "instrument", "temp_c", "by"])
    for row in rows:
        writer.writerow([row.measure, f"{row.value_mm:g}", row.instrument, f"{row.temp_c:g}", _BY])
    return text.getvalue().encode("utf-8")
