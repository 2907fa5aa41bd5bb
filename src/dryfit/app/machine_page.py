"""A machine on one sheet: what it is, how its figures are known, what was read since, and what they would change."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from dryfit.app.artefact_records import ARTEFACT, RecordedArtefact, recorded_artefacts
from dryfit.app.bond_records import BOND, DRY_FIT, HANDWORK
from dryfit.app.instruments import GAUGE_STUDY
from dryfit.app.ledger_reading import read_records
from dryfit.app.live import Snapshot
from dryfit.app.machines import find_machine
from dryfit.app.preflight_band import Bands, bearable_bands
from dryfit.app.preflight_records import PLANES, PREFLIGHT, Plane, preflights_of
from dryfit.app.preflight_watch import Point, Watching, points_of, watch_machine
from dryfit.app.print_records import PRINT
from dryfit.app.qualification_records import QUALIFICATION, qualifications_of
from dryfit.app.qualify import qualify_machine
from dryfit.app.qualify_report import Choices, Figure, QualifyReport
from dryfit.app.reading_decisions import OWN_SHAPE, READING_DECISION
from dryfit.app.reading_desk import ReadingDesk
from dryfit.app.reading_records import READING, readings_of
from dryfit.app.releases import RELEASE
from dryfit.app.remedying import REMEDY
from dryfit.app.scan_records import SCAN
from dryfit.app.schedule_changes import SCHEDULE
from dryfit.app.schedule_decisions import DECISION
from dryfit.app.trueing import TrueingReport, advise_trueing
from dryfit.base.arrays import Array
from dryfit.base.errors import ReferenceUnknown
from dryfit.calc.chain import expanded_uncertainty
from dryfit.model.machine import FIGURES, ErrorModel, Machine
from dryfit.model.project import Project
from dryfit.model.qualification import Qualification
from dryfit.store.ledger import LEDGER_NAME, LedgerRecord, open_ledger

# Records from which a machine is known; forecasts and visits are none of them.
_KINDS = (ARTEFACT, READING, GAUGE_STUDY, QUALIFICATION, PREFLIGHT)
# Records about parts as built, beside readings of parts.
_BUILT = (PRINT, READING_DECISION, OWN_SHAPE, HANDWORK, DRY_FIT, BOND, REMEDY, SCAN)


@dataclass(frozen=True, slots=True)
class Marks:
    """How far a ledger has come: numbers of records, 0 for none.

    latest         of any record about machines
    qualification  of the last one
    schedule       of the last decision about the evidence, or recorded schedule
    built          of the last record about a part as built: print, reading, decision, scan, remedy, handwork, dry fit
                   or bond
    released       of the last release
    """

    latest: int = 0
    qualification: int = 0
    schedule: int = 0
    built: int = 0
    released: int = 0


@dataclass(frozen=True, slots=True)
class PastFigures:
    """The figures of one qualification with their 95 % expanded uncertainty, in the order of FIGURES."""

    record: int
    at: str
    values: tuple[float, ...]
    expanded: tuple[float, ...]


@dataclass(frozen=True, slots=True, eq=False)
class MachineFacts:
    """What the document and the ledger hold of a machine.

    machines     ids of all machines of the project
    figures      those that the forecast counts with, and those of the qualification before
    covariance   (8, 8) of them, in their units
    artefact     the last one that was designed; None for none
    read, planned  readings of its plan
    counting     ledger records of the readings of the artefact that count
    fresh        how many of them the last qualification does not rest on
    qualifications  oldest first
    left_out     readings that the last qualification left out, and because
    kept         whether it kept suspects knowingly
    squares      readings of the square before long prints, by plane
    against      what the square was held to in them, by record
    """

    project: str
    machine: Machine
    machines: tuple[str, ...]
    figures: tuple[Figure, ...]
    covariance: Array
    artefact: RecordedArtefact | None
    read: int
    planned: int
    counting: tuple[int, ...]
    fresh: int
    qualifications: tuple[Qualification, ...]
    left_out: tuple[int, ...]
    because: str
    kept: bool
    squares: Mapping[Plane, tuple[Point, ...]]
    against: Mapping[int, str]

    @property
    def last(self) -> Qualification | None:
        """The last qualification."""
        return self.qualifications[-1] if self.qualifications else None

    @property
    def before(self) -> Qualification | None:
        """The last qualification that rests on another print."""
        return print_before(self.qualifications)

    @property
    def history(self) -> tuple[PastFigures, ...]:
        """Every qualification, oldest first."""
        return tuple(
            PastFigures(
                q.record,
                q.at,
                tuple(float(value) for value in q.figures),
                tuple(expanded_uncertainty(float(std), q.dof) for std in q.std),
            )
            for q in self.qualifications
        )


def read_marks(path: Path) -> Marks:
    """How far the ledger of a project has come; looking at one without a ledger makes none.

    Raises LedgerRefused where there is one that cannot be read.
    """
    file = _folder(path) / LEDGER_NAME
    if not file.exists():
        return Marks()
    with open_ledger(file) as ledger:
        kinds = (*_KINDS, *_BUILT, DECISION, SCHEDULE, RELEASE)
        found = {kind: ledger.latest(kind) for kind in kinds}
        read = [record.id for record in ledger.records(READING) if record.payload.get("part")]
    ids = {kind: 0 if record is None else record.id for kind, record in found.items()}
    return Marks(
        latest=max(ids[kind] for kind in _KINDS),
        qualification=ids[QUALIFICATION],
        schedule=max(ids[DECISION], ids[SCHEDULE]),
        built=max(*(ids[kind] for kind in _BUILT), max(read, default=0)),
        released=ids[RELEASE],
    )


def ledger_stamp(path: Path) -> tuple[int, ...]:
    """Times and sizes of the ledger's files: as long as they stay, nothing was recorded."""
    file = _folder(path) / LEDGER_NAME
    found = []
    for name in (file, file.with_name(f"{LEDGER_NAME}-wal")):
        try:
            seen = name.stat()
        except OSError:
            found += [0, 0]
        else:
            found += [seen.st_mtime_ns, seen.st_size]
    return tuple(found)


def used_machine(project: Project, wanted: str = "") -> str:
    """The machine that is asked for; else the first that prints a part, else the first.

    Raises ReferenceUnknown where there is none, or none of that id.
    """
    ids = [machine.id for machine in project.machines]
    if wanted:
        find_machine(project, wanted)
    used = [part.machine for part in project.parts]
    chosen = wanted or next((id for id in ids if id in used), ids[0] if ids else "")
    if not chosen:
        raise ReferenceUnknown(
            "the project has no machine", "project.toml", "state one as [[machine]] with its build volume"
        )
    return chosen


def gather_machine(project: Project, folder: Path, machine_id: str) -> MachineFacts:
    """What is known of a machine of an open project, its figures as the forecast has them.

    Raises LedgerRefused where the ledger cannot be read.
    """
    machine = project.machine(machine_id)
    records, artefact, (read, planned) = _read_ledger(project, folder, machine_id)
    qualifications = qualifications_of(records, machine_id)
    last = qualifications[-1] if qualifications else None
    readings = () if artefact is None else readings_of(records, machine_id, artefact.record)
    payload = {} if last is None else next(r.payload for r in records if r.id == last.record)
    left_out = payload.get("left_out", [])
    known = {reading.record for reading in readings}
    rests_on = set() if last is None else {*last.readings, *(item["record"] for item in left_out)}
    checks = preflights_of(records, machine_id)
    return MachineFacts(
        project=project.name,
        machine=machine,
        machines=tuple(item.id for item in project.machines),
        figures=figures_of(machine.error, qualifications),
        covariance=covariance_of(machine.error),
        artefact=artefact,
        read=read,
        planned=planned,
        counting=tuple(reading.record for reading in readings),
        fresh=len(known - rests_on),
        qualifications=qualifications,
        left_out=tuple(item["record"] for item in left_out if item["record"] in known),
        because="; ".join(dict.fromkeys(item["because"] for item in left_out)),
        kept=bool(payload.get("kept_suspects")),
        squares={plane: points_of(project, records, checks, plane) for plane in PLANES},
        against={check.record: check.against for check in checks},
    )


def figures_of(model: ErrorModel, qualifications: Sequence[Qualification]) -> tuple[Figure, ...]:
    """The figures of an error model; where readings estimated them, with those of the time before."""
    before = print_before(qualifications) if model.knowledge == "estimated" else None
    dof = model.estimated.dof if model.estimated is not None else math.inf
    return tuple(
        Figure(
            name=name,
            value=model.figures[name].value,
            std=model.figures[name].std,
            dof=dof,
            expanded=expanded_uncertainty(model.figures[name].std, dof),
            before=None if before is None else float(before.figures[place]),
            before_std=None if before is None else float(before.std[place]),
        )
        for place, name in enumerate(FIGURES)
    )


def print_before(qualifications: Sequence[Qualification]) -> Qualification | None:
    """The last qualification that rests on another print than the latest; None where there is none."""
    others = [item for item in qualifications if item.artefact != qualifications[-1].artefact]
    return others[-1] if others else None


def covariance_of(model: ErrorModel) -> Array:
    """(8, 8) of the figures of an error model, in their units."""
    std = np.array([model.figures[name].std for name in FIGURES])
    correlation = np.eye(len(FIGURES))
    if model.estimated is not None:
        correlation = np.array(model.estimated.correlation)
    covariance: Array = correlation * np.outer(std, std)
    return covariance


def look_at_readings(path: Path, facts: MachineFacts, choices: Choices | None = None) -> QualifyReport | None:
    """What the readings of the last artefact say, recording nothing; None where there are none yet.

    choices : default: what the last qualification left out, and kept, as long as no reading came since
    Raises what qualifying raises.
    """
    if facts.artefact is None or not facts.read:
        return None
    if choices is None:
        choices = Choices(facts.left_out, facts.because, facts.kept and not facts.fresh, record=False)
    return qualify_machine(path, facts.machine.id, choices)


def advise_on(snapshot: Snapshot, facts: MachineFacts) -> TrueingReport | None:
    """What to turn by the figures that the forecast counts with; None where they were never measured.

    Raises ComputationRefused where the parts do not settle.
    """
    if facts.machine.error.knowledge == "prior":
        return None
    values = np.array([figure.value for figure in facts.figures])
    return advise_trueing(snapshot.chain, facts.machine.id, values, facts.covariance)


def watch_on(snapshot: Snapshot, machine: str) -> tuple[Watching, Bands]:
    """What the checks before long prints say of a machine, and how far its squareness may go."""
    records = read_records(snapshot.opened.folder)
    qualifications, checks = qualifications_of(records, machine), preflights_of(records, machine)
    bands = bearable_bands(snapshot.chain, machine)
    qualified_at = qualifications[-1].at if qualifications else None
    project = snapshot.chain.project
    return watch_machine(project, records, machine, checks, bands, qualified_at), bands


def _folder(path: Path) -> Path:
    return path if path.is_dir() else path.parent


def _read_ledger(
    project: Project, folder: Path, machine: str
) -> tuple[tuple[LedgerRecord, ...], RecordedArtefact | None, tuple[int, int]]:
    """Records about machines, the last artefact, and how far its plan is read, of how much."""
    if not (folder / LEDGER_NAME).exists():
        return (), None, (0, 0)
    with open_ledger(folder / LEDGER_NAME) as ledger:
        records = tuple(record for kind in _KINDS for record in ledger.records(kind))
        artefacts = recorded_artefacts(records, machine)
        if not artefacts:
            return records, None, (0, 0)
        return records, artefacts[-1], ReadingDesk(project, ledger, machine, artefacts[-1]).progress()
