"""Does every mesh say what the drawing says? All checks of the parts, before anything is printed."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from dryfit.app.assembly_checks import check_assembly
from dryfit.app.checking_kept import (
    KeptFaces,
    KeptFeatures,
    KeptFindings,
    assembly_key,
    faces_key,
    features_key,
    kept_notes,
    open_kept,
)
from dryfit.app.contacts import active_joints, resolve_faces
from dryfit.app.examination import (
    AS_USUAL,
    Examination,
    ExaminationOptions,
    examine_parts,
    find_kept,
    hash_mesh,
)
from dryfit.app.geometry import PartShape, Shapes
from dryfit.app.health_words import health_findings
from dryfit.app.loading import Opened, open_project
from dryfit.app.measuring import measure_features
from dryfit.app.pair_memory import PairMemory
from dryfit.app.printing_checks import check_printing
from dryfit.app.weighing import Weights, weigh
from dryfit.app.workers import Workers
from dryfit.calc.likeness import Signature
from dryfit.calc.thickness import ThicknessMap
from dryfit.model.finding import Finding, MeasuredFeature, State, gravest
from dryfit.model.joint import FaceContacts
from dryfit.model.part import Part
from dryfit.model.project import Project
from dryfit.store.kept import Kept

Progress = Callable[[int, int], None]


@dataclass(frozen=True, slots=True, eq=False)
class PartCheck:
    """All that was found of one part.

    findings   of its mesh and of printing it; overlaps and likeness stand with the assembly
    thickness  of its walls; None where they are not measured, no_walls says why
    is_kept    the mesh was examined before and is unchanged since
    as_part    the part before it of which its mesh is a copy, turned, moved or mirrored: that one was examined
               for both; "" where it was examined for itself
    """

    id: str
    machine: str
    material: str
    size_mm: tuple[float, float, float]
    triangles: int
    is_closed: bool
    sha256: str
    findings: tuple[Finding, ...]
    thickness: ThicknessMap | None
    no_walls: str
    is_kept: bool
    as_part: str = ""

    @property
    def state(self) -> State:
        """The gravest of its findings."""
        return gravest(finding.state for finding in self.findings)


@dataclass(frozen=True, slots=True, eq=False)
class PartsReport:
    """Every check of the parts of a project.

    assembly  overlaps, clearances, likeness: what concerns more than one part
    notes     what was assumed, and what of the kept results could not be used
    """

    project: str
    parts: tuple[PartCheck, ...]
    features: tuple[MeasuredFeature, ...]
    assembly: tuple[Finding, ...]
    weights: Weights
    notes: tuple[str, ...]

    @property
    def findings(self) -> tuple[Finding, ...]:
        """Those of the parts, then those of the assembly."""
        return (*(finding for part in self.parts for finding in part.findings), *self.assembly)

    @property
    def state(self) -> State:
        """The gravest of all findings and features."""
        return gravest((*(item.state for item in self.findings), *(item.state for item in self.features)))

    def part(self, id: str) -> PartCheck:
        """The part of an id."""
        return next(part for part in self.parts if part.id == id)


def grouped(findings: Iterable[Finding]) -> list[tuple[Finding, list[str]]]:
    """Findings that say the same of several parts, each with the parts that it is about, in order."""
    same: dict[tuple[str, ...], tuple[Finding, list[str]]] = {}
    for item in findings:
        key = (item.topic, item.state, item.what, item.do)
        same.setdefault(key, (item, []))[1].append(" and ".join(item.parts))
    return list(same.values())


def dependents_words(names: Sequence[str], most: int | None = None) -> str:
    """Names like "part ring-1" gathered by kind: "parts ring-1, ring-2; joint ring-1:ring-2".

    most : names told of each kind; None: all of them
    """
    kinds: dict[str, list[str]] = {}
    for name in names:
        kind, _, rest = name.partition(" ")
        kinds.setdefault(kind, []).append(rest)
    told = []
    for kind, members in kinds.items():
        shown = members if most is None else members[:most]
        more = f" and {len(members) - len(shown)} more" if len(shown) < len(members) else ""
        told.append(f"{kind}{'' if len(members) == 1 else 's'} {', '.join(shown)}{more}")
    return "; ".join(told)


def check_folder(path: Path, fresh: bool = False, progress: Progress | None = None) -> PartsReport:
    """Check the parts of a project folder. fresh: use no kept result, measure everything anew.

    Raises what opening the project and finding the contact faces raise.
    """
    return check_parts(open_project(path), fresh=fresh, progress=progress)


def check_parts(
    opened: Opened,
    faces: Mapping[str, FaceContacts] | None = None,
    options: ExaminationOptions = AS_USUAL,
    fresh: bool = False,
    progress: Progress | None = None,
) -> PartsReport:
    """Every check of an open project. faces: contact faces by joint, where they are at hand.

    Raises what finding the contact faces raises, and what progress raises.
    """
    project, shapes = opened.project, opened.shapes
    kept = open_kept(opened.folder, fresh)
    hashes = hash_shapes(shapes)
    if faces is None:
        faces = _faces(kept, project, shapes, hashes)
    with Workers() as workers:
        found, before = examine_parts(shapes, hashes, kept, options, progress, workers)
        features = _measured(kept, project, shapes, hashes)
        memory = PairMemory(workers, kept, hashes)
        signatures = {part: found[part].figures.signature for part in shapes}
        assembly = _of_assembly(memory, kept, project, shapes, faces, progress, signatures)
    kept.forget_unused()
    return _report(opened, faces, found, before, features, assembly, kept_notes(kept))


def recall_parts(
    opened: Opened,
    faces: Mapping[str, FaceContacts],
    options: ExaminationOptions = AS_USUAL,
) -> PartsReport | None:
    """The report made of kept results alone; None where one is missing, and the parts must be checked."""
    project, shapes = opened.project, opened.shapes
    kept = open_kept(opened.folder)
    hashes = hash_shapes(shapes)
    found, missing = find_kept(shapes, hashes, kept, options)
    features = kept.find(features_key(project, hashes))
    assembly = kept.find(assembly_key(project, hashes))
    if missing or not isinstance(features, KeptFeatures) or not isinstance(assembly, KeptFindings):
        return None
    return _report(
        opened, faces, found, frozenset(found), features.measured, assembly.findings, kept_notes(kept)
    )


def hash_shapes(shapes: Shapes) -> dict[str, str]:
    """The hash of every part's mesh in the assembly."""
    return {part: hash_mesh(shape.mesh) for part, shape in shapes.items()}


def _faces(
    kept: Kept, project: Project, shapes: Shapes, hashes: Mapping[str, str]
) -> Mapping[str, FaceContacts]:
    if all(joint.faces is not None for joint in active_joints(project)):
        return resolve_faces(project, shapes)[0]
    key = faces_key(project, hashes)
    result = kept.find(key)
    if not isinstance(result, KeptFaces):
        result = KeptFaces(resolve_faces(project, shapes)[0])
        kept.keep(key, result)
    return result.faces


def _measured(
    kept: Kept, project: Project, shapes: Shapes, hashes: Mapping[str, str]
) -> tuple[MeasuredFeature, ...]:
    key = features_key(project, hashes)
    result = kept.find(key)
    if not isinstance(result, KeptFeatures):
        result = KeptFeatures(measure_features(project, shapes))
        kept.keep(key, result)
    return result.measured


def _of_assembly(
    memory: PairMemory,
    kept: Kept,
    project: Project,
    shapes: Shapes,
    faces: Mapping[str, FaceContacts],
    progress: Progress | None,
    signatures: Mapping[str, Signature | None],
) -> tuple[Finding, ...]:
    key = assembly_key(project, memory.hashes)
    result = kept.find(key)
    if not isinstance(result, KeptFindings):
        try:
            findings = check_assembly(
                project, shapes, faces, progress=progress, memory=memory, signatures=signatures
            )
        finally:
            memory.save()  # of an interrupted check as well: what was found need not be found again
        result = KeptFindings(findings)
        kept.keep(key, result)
    return result.findings


def _report(
    opened: Opened,
    faces: Mapping[str, FaceContacts],
    found: Mapping[str, Examination],
    before: frozenset[str],
    features: tuple[MeasuredFeature, ...],
    assembly: tuple[Finding, ...],
    notes: tuple[str, ...],
) -> PartsReport:
    project = opened.project
    parts = tuple(
        _part_check(project, part, opened.shapes[part.id], faces, found[part.id], features, part.id in before)
        for part in project.parts
    )
    weights = weigh(project, opened.shapes, {part: item.figures.body for part, item in found.items()})
    return PartsReport(project.name, parts, features, assembly, weights, (*opened.notes, *notes))


def _part_check(
    project: Project,
    part: Part,
    shape: PartShape,
    faces: Mapping[str, FaceContacts],
    found: Examination,
    features: Sequence[MeasuredFeature],
    is_kept: bool,
) -> PartCheck:
    walls = found.no_walls if found.thickness is None else found.thickness
    mine = [item for item in features if part.id in item.parts]
    x, y, z = (float(value) for value in shape.measures.extent_mm)
    return PartCheck(
        id=part.id,
        machine=part.machine,
        material=part.material,
        size_mm=(x, y, z),
        triangles=len(shape.mesh.faces),
        is_closed=shape.measures.is_closed,
        sha256=shape.mesh.sha256,
        findings=(
            *health_findings(part.id, found.health),
            *check_printing(project, part, shape, faces, walls, mine, found.figures.slenderness),
        ),
        thickness=found.thickness,
        no_walls=found.no_walls,
        is_kept=is_kept,
        as_part=found.as_part,
    )
