"""What is kept of the checks of parts, and under which keys."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from dryfit import __version__
from dryfit.app.assembly_checks import PAIR_CLASSES
from dryfit.app.examination import KEPT_CLASSES, RESULTS_VERSION
from dryfit.app.fingerprint import hash_records
from dryfit.app.pair_memory import KeptPairs
from dryfit.base.estimate import Estimate
from dryfit.model.finding import Finding, MeasuredFeature
from dryfit.model.joint import FaceContacts
from dryfit.model.project import Project
from dryfit.store.kept import Kept


@dataclass(frozen=True, slots=True, eq=False)
class KeptFindings:
    """What is kept of the checks that concern more than one part."""

    findings: tuple[Finding, ...]


@dataclass(frozen=True, slots=True, eq=False)
class KeptFaces:
    """What is kept of the contact faces that were found, by joint."""

    faces: Mapping[str, FaceContacts]


@dataclass(frozen=True, slots=True, eq=False)
class KeptFeatures:
    """What is kept of the measured features."""

    measured: tuple[MeasuredFeature, ...]


def open_kept(folder: Path, fresh: bool = False) -> Kept:
    """The kept results of a project. fresh: none is found, what is made is kept."""
    own = (KeptFaces, FaceContacts, KeptFindings, KeptFeatures, Finding, MeasuredFeature, Estimate)
    classes = (*KEPT_CLASSES, *PAIR_CLASSES, KeptPairs, *own)
    return Kept(folder, classes, blind=fresh)


def kept_notes(kept: Kept) -> tuple[str, ...]:
    """What went wrong with kept results, in words; it costs time and nothing else."""
    notes = []
    if kept.unreadable:
        notes.append(f"{kept.unreadable} kept results could not be read and were made anew")
    if kept.unwritten:
        notes.append(f"{kept.unwritten} results could not be kept: the next check takes as long as this one")
    return tuple(notes)


def faces_key(project: Project, hashes: Mapping[str, str]) -> str:
    """Contact faces rest on the meshes and the joints."""
    return _key("faces", hashes, project.joints, project.search)


def features_key(project: Project, hashes: Mapping[str, str]) -> str:
    """Features rest on the meshes, the dimensions and the bonding order, not on machines or poses."""
    rest = project.features, project.dimensions, project.scale, project.joints, project.assembly
    named = [(item.id, item.joint, item.parts) for item in project.characteristics]
    return _key("features", hashes, *rest, named)


def assembly_key(project: Project, hashes: Mapping[str, str]) -> str:
    """Overlaps and likeness rest on the meshes, the joints and the clearances asked for."""
    clearances = {machine.id: machine.clearance_mm for machine in project.machines}
    machines = {part.id: part.machine for part in project.parts}
    return _key("assembly", hashes, project.joints, project.search, clearances, machines)


def _key(what: str, hashes: Mapping[str, str], *rest: object) -> str:
    return hash_records(what, __version__, RESULTS_VERSION, list(hashes.items()), *rest)
