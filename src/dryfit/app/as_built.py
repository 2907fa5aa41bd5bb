"""What was printed of each part, and what was read off it: the part as built."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from dryfit.app.bond_records import bonds_of, gaps_that_count, works_of, works_that_count
from dryfit.app.geometry import Shapes
from dryfit.app.handwork import taken_off_reading
from dryfit.app.instruments import find_instrument
from dryfit.app.machine_eras import machine_of_print
from dryfit.app.part_ends import ends_in_assembly
from dryfit.app.print_records import prints_of
from dryfit.app.reading_decisions import left_out_readings, own_shapes_of
from dryfit.app.reading_records import readings_of
from dryfit.app.shape_hash import hash_shape
from dryfit.base.errors import ReferenceUnknown
from dryfit.model.artefact import Measure
from dryfit.model.handwork import FaceWork, GapReading
from dryfit.model.instrument import Instrument
from dryfit.model.machine import Machine
from dryfit.model.part import Part
from dryfit.model.printing import OwnShape, Print
from dryfit.model.project import Project
from dryfit.model.reading import Reading
from dryfit.store.ledger import LedgerRecord

BuiltState = Literal["not printed", "printed", "measured", "failed", "other shape"]


@dataclass(frozen=True, slots=True, eq=False)
class PartReading:
    """A reading of a print of a part.

    measure     what was measured, in assembly coordinates as the document has them now
    instrument  with what its gauge study found
    left_out    why the user left it out; "" where it counts
    """

    reading: Reading
    measure: Measure
    instrument: Instrument
    left_out: str = ""


@dataclass(frozen=True, slots=True, eq=False)
class PrintRead:
    """A print and the readings of it that count.

    is_as_built  whether it is the part that the assembly is made of: the last good print of the present shape
    machine  id of the machine as it was for this print, where it has moved since; "": the machine as it is now
    own_shape  how far it is off for a reason of its own, where that was decided
    """

    print: Print
    readings: tuple[PartReading, ...]
    is_as_built: bool
    machine: str = ""
    own_shape: OwnShape | None = None

    @property
    def machine_id(self) -> str:
        """Of the machine, as it was or as it is."""
        return self.machine or self.print.machine


@dataclass(frozen=True, slots=True, eq=False)
class AsBuilt:
    """One part as built.

    state     not printed; printed and not read; measured; failed: every print so far failed or was stopped; other
              shape: its good prints are of another mesh than the document's
    print     the last good print of the present shape; else the last print of all; None: never printed
    prints    all that count, in the order in which they were printed
    readings  of that print, those left out among them
    caution   what the builder must know of it, in words; "" where there is nothing
    own_shape  how far the print is off for a reason of its own, where that was decided
    """

    part: str
    state: BuiltState
    print: Print | None
    prints: tuple[Print, ...]
    readings: tuple[PartReading, ...]
    caution: str = ""
    own_shape: OwnShape | None = None

    @property
    def is_printed(self) -> bool:
        """Whether there is a good print of the present shape."""
        return self.state in ("printed", "measured")


@dataclass(frozen=True, slots=True, eq=False)
class AsBuiltParts:
    """All parts of a project as built.

    parts   one per part, in the order of the document
    prints  good prints whose readings tell of the machine: those as built, and earlier ones of the same shape
    machines  as they were for prints before they moved
    figures   the machines as they were known when this was gathered: what-ifs on their figures are of prints to come
    works   faces of the prints as built that were sanded or shimmed
    gaps    measured at joints where they were bonded
    """

    parts: tuple[AsBuilt, ...]
    prints: tuple[PrintRead, ...]
    machines: tuple[Machine, ...] = ()
    figures: tuple[Machine, ...] = ()
    works: tuple[FaceWork, ...] = ()
    gaps: tuple[GapReading, ...] = ()

    def part(self, id: str) -> AsBuilt:
        """The part of an id. Raises StopIteration where there is none."""
        return next(item for item in self.parts if item.part == id)

    @property
    def readings(self) -> tuple[PartReading, ...]:
        """All readings on which a forecast may rest, print after print."""
        return tuple(item for print in self.prints for item in print.readings)

    @property
    def printed(self) -> Mapping[str, Print]:
        """By part id: the print that the assembly is made of, where there is one."""
        return {item.print.part: item.print for item in self.prints if item.is_as_built}

    @property
    def cautions(self) -> tuple[str, ...]:
        """What the builder must know, part by part."""
        return tuple(f"{item.part}: {item.caution}" for item in self.parts if item.caution)


def gather_as_built(project: Project, shapes: Shapes, records: Sequence[LedgerRecord]) -> AsBuiltParts:
    """What the ledger knows of each part. records: of the whole ledger."""
    by_part: dict[str, list[Print]] = {part.id: [] for part in project.parts}
    for item in prints_of(records):
        if item.part in by_part:
            by_part[item.part].append(item)
    instruments: dict[str, Instrument] = {}
    left_out = left_out_readings(records)
    own_shapes = own_shapes_of(records)
    machines: dict[str, Machine] = {}
    parts, read = [], []
    for part in project.parts:
        prints = tuple(by_part[part.id])
        if not prints:
            parts.append(AsBuilt(part.id, "not printed", None, (), ()))
            continue
        present = hash_shape(shapes[part.id])
        same = [item for item in prints if item.result == "good" and item.shape_sha256 == present]
        gathered = []
        for item in same:
            was = machine_of_print(project, records, item)
            if was is not None:
                machines[was.id] = was
            gathered.append(
                PrintRead(
                    item,
                    _readings(project, part, item, records, left_out, instruments),
                    item is same[-1],
                    "" if was is None else was.id,
                    own_shapes.get(item.record),
                )
            )
        read += [replace(item, readings=_counting(item.readings)) for item in gathered]
        parts.append(_as_built(part, prints, gathered))
    past = tuple(machines.values())
    printed = {item.print.part: item.print.record for item in read if item.is_as_built}
    works = works_that_count(works_of(records), printed)
    return AsBuiltParts(
        tuple(parts),
        tuple(_before_work(item, works) for item in read),
        past,
        (*project.machines, *past),
        works,
        gaps_that_count(bonds_of(records), printed),
    )


def _before_work(item: PrintRead, works: Sequence[FaceWork]) -> PrintRead:
    """Readings that were taken after a face was worked, as they would have been before: the work counts by itself."""
    mine = [work for work in works if work.part == item.print.part]
    if not mine or not item.is_as_built:
        return item
    shifts = [taken_off_reading(row.measure, mine, row.reading.record) for row in item.readings]
    return replace(
        item,
        readings=tuple(
            row
            if shift == 0.0
            else replace(row, reading=replace(row.reading, value_mm=row.reading.value_mm + shift))
            for row, shift in zip(item.readings, shifts, strict=True)
        ),
    )


def as_printed(project: Project, as_built: AsBuiltParts) -> Project:
    """The project with each printed part as it was printed: machine, material, pose and corrected copy."""
    printed = {item.print.part: item for item in as_built.prints if item.is_as_built}
    known = {machine.id for machine in project.machines}
    whole = replace(
        project, machines=(*project.machines, *(item for item in as_built.machines if item.id not in known))
    )
    return replace(
        whole,
        parts=tuple(
            printed_part(whole, printed[part.id]) if part.id in printed else part for part in whole.parts
        ),
    )


def is_as_printed(project: Project, item: PrintRead) -> bool:
    """Whether a part is still taken as it was printed: not where a what-if turns it or prints it elsewhere."""
    if not item.is_as_built:
        return False
    part = project.part(item.print.part)
    made = printed_part(project, item)
    return (part.machine, part.material, part.bed, part.compensation) == (
        made.machine,
        made.material,
        made.bed,
        made.compensation,
    )


def printed_part(project: Project, item: PrintRead) -> Part:
    """The part of a print as that print was made; where a machine or material is gone, the present one."""
    part = project.part(item.print.part)
    machines = {machine.id for machine in project.machines}
    materials = {material.id for material in project.materials}
    return replace(
        part,
        machine=item.machine_id if item.machine_id in machines else part.machine,
        material=item.print.material if item.print.material in materials else part.material,
        bed=item.print.bed,
        compensation=item.print.compensation,
    )


def _readings(
    project: Project,
    part: Part,
    item: Print,
    records: Sequence[LedgerRecord],
    left_out: Mapping[int, str],
    instruments: dict[str, Instrument],
) -> tuple[PartReading, ...]:
    found = []
    for reading in readings_of(records, None, item.record):
        if reading.ends is None:
            continue
        if reading.instrument not in instruments:
            instruments[reading.instrument] = find_instrument(project, records, reading.instrument)
        found.append(
            PartReading(
                reading,
                ends_in_assembly(part, reading.ends),
                instruments[reading.instrument],
                left_out.get(reading.record, ""),
            )
        )
    return tuple(found)


def _counting(readings: Sequence[PartReading]) -> tuple[PartReading, ...]:
    return tuple(item for item in readings if not item.left_out)


def _as_built(part: Part, prints: tuple[Print, ...], same: Sequence[PrintRead]) -> AsBuilt:
    if same:
        latest = same[-1]
        state: BuiltState = "measured" if _counting(latest.readings) else "printed"
        caution = _caution(part, latest.print)
        return AsBuilt(part.id, state, latest.print, prints, latest.readings, caution, latest.own_shape)
    good = [item for item in prints if item.result == "good"]
    if good:
        caution = f"printed (record {good[-1].record}) of another shape than the mesh has now: it is not counted with"
        return AsBuilt(part.id, "other shape", good[-1], prints, (), caution)
    last = prints[-1]
    height = "" if last.failed_at_mm is None else f" at {last.failed_at_mm:g} mm"
    why = f": {last.because}" if last.because else ""
    return AsBuilt(part.id, "failed", last, prints, (), f"{last.result}{height}{why} (record {last.record})")


def _caution(part: Part, item: Print) -> str:
    """Where the document would have it printed otherwise than it was."""
    differs = [
        f"{name} {was} instead of {now}"
        for name, was, now in (
            ("machine", item.machine, part.machine),
            ("material", item.material, part.material),
            ("pose", _angles(item.bed.euler_xyz_deg), _angles(part.bed.euler_xyz_deg)),
        )
        if was != now
    ]
    return f"printed with {', '.join(differs)} (record {item.record})" if differs else ""


def _angles(euler: Sequence[float]) -> str:
    return ", ".join(f"{angle:g}" for angle in euler)


def find_as_built(as_built: AsBuiltParts, part: str) -> AsBuilt:
    """The part of an id. Raises ReferenceUnknown where there is none."""
    found = next((item for item in as_built.parts if item.part == part), None)
    if found is None:
        raise ReferenceUnknown(f'there is no part "{part}"', "project.toml: part", "name one of its parts")
    return found
