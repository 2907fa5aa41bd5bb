"""A scan of a printed part: laid on the part, compared with it, measured, and recorded."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from dryfit.app.geometry import PartShape
from dryfit.app.loading import Opened, open_project
from dryfit.app.scan_datums import align_datums
from dryfit.app.scan_faces import Scanned
from dryfit.app.scan_features import features_of, measure_on_scan
from dryfit.app.scan_input import ScanPoints, ScanRefused, load_scan
from dryfit.app.scan_joints import face_lengths, joint_faces
from dryfit.app.scan_records import SCAN, scan_payload
from dryfit.app.scan_report import AlignmentDifference, DatumFace, ScannedFace, ScannedFeature, ScanReport
from dryfit.base.arrays import Array
from dryfit.base.errors import ComputationRefused, ReferenceUnknown
from dryfit.base.units import MM_PER_UNIT, LengthUnit
from dryfit.calc.faces import Faces, segment_faces
from dryfit.calc.scans import (
    NominalSurface,
    PointDeviations,
    PoseInformation,
    Registration,
    RigidMotion,
    SurfaceMap,
    choose_pose,
    deviate_points,
    find_worst,
    map_deviations,
    register_scan,
    rotation_vector,
    summarise,
    weigh_pose,
)
from dryfit.model.project import Project
from dryfit.store.ledger import LEDGER_NAME, open_ledger

Progress = Callable[[int, int], None]

# Points farther off the part than this share of its diagonal are outliers, unless a reach is stated; one that is
# smaller than twelve times the scatter would cut off what the scan has to tell (common practice, no source).
REACH_SHARE, REACH_SCATTERS = 0.02, 12.0
# How well a mark is set by hand, as a share of the diagonal (common practice, no source).
_MARK_SHARE = 0.01


@dataclass(frozen=True, slots=True, eq=False)
class Mark:
    """One spot, on the scan (3,) in the scan's own unit and on the part (3,) [mm] in assembly coordinates."""

    on_scan: Array
    on_part: Array


@dataclass(frozen=True, slots=True, eq=False)
class ScanRequest:
    """What is asked of a scan.

    unit            of the file's numbers; None where the format states it
    scanner_std_mm  stated standard uncertainty of the scanner
    reach_mm        farther points are outliers; None: by rule
    datums          features, in order of precedence; (): best fit
    marks           spots that tell positions apart where the part is symmetric
    is_patch        the scan shows a small piece of the part on purpose
    """

    part: str
    file: Path
    unit: LengthUnit | None = None
    scanner_std_mm: float = 0.0
    reach_mm: float | None = None
    datums: tuple[str, ...] = ()
    marks: tuple[Mark, ...] = ()
    is_patch: bool = False


def scan_folder(
    path: Path, request: ScanRequest, record: bool = True, progress: Progress | None = None
) -> ScanReport:
    """Compare a scan with a part of a project folder, and record it in the ledger.

    Raises what opening the project and reading the scan raise; ScanRefused and ComputationRefused where the scan
    tells no position.
    """
    opened = open_project(path)
    report = scan_opened(opened, request, progress)
    return record_scan(opened.folder, report) if record else report


def record_scan(folder: Path, report: ScanReport) -> ScanReport:
    """The report with its number in the ledger of a project folder."""
    with open_ledger(folder / LEDGER_NAME) as ledger:
        written = ledger.append(SCAN, scan_payload(report))
    return replace(report, record=written.id)


def scan_opened(opened: Opened, request: ScanRequest, progress: Progress | None = None) -> ScanReport:
    """The same for a project that is open, without recording it."""
    _check(request)
    shape = opened.shapes.get(request.part)
    if shape is None:
        listed = ", ".join(list(opened.shapes)[:8])
        raise ReferenceUnknown(
            f"there is no part {request.part}", "the command line", f"name one of: {listed}"
        )
    tell = _steps(progress)
    scan = load_scan(request.file, request.unit, shape, request.is_patch)
    surface = NominalSurface(shape.mesh)
    registration, notes = _register(surface, scan, tell)
    registration, more = _by_marks(registration, request, scan, surface)
    return _compare(opened, request, shape, scan, surface, registration, (*notes, *more), tell)


def _check(request: ScanRequest) -> None:
    if not (np.isfinite(request.scanner_std_mm) and request.scanner_std_mm >= 0.0):
        raise ScanRefused(
            f"a standard uncertainty of {request.scanner_std_mm:g} mm cannot be",
            "--scanner-std",
            "give it in mm, 0 or more",
        )
    if request.reach_mm is not None and not (np.isfinite(request.reach_mm) and request.reach_mm > 0.0):
        raise ScanRefused(
            f"a reach of {request.reach_mm:g} mm cannot be", "--reach", "give it in mm, above 0"
        )


def _steps(progress: Progress | None) -> Callable[[int], Progress]:
    """Progress of several stages of work as one: five for laying, three for comparing."""

    def stage(before: int) -> Progress:
        def report(done: int, total: int) -> None:
            if progress is not None:
                progress(before * 100 + (100 * done) // max(total, 1), 700)

        return report

    return stage


def _register(
    surface: NominalSurface, scan: ScanPoints, tell: Callable[[int], Progress]
) -> tuple[Registration, tuple[str, ...]]:
    def report(done: int, total: int) -> None:
        tell(0)(4 * done, total)

    if scan.normals is None:
        return register_scan(surface, scan.points, None, report), ()
    try:
        return register_scan(surface, scan.points, scan.normals, report), ()
    except ComputationRefused:
        # Some scanners write triangles or normals the wrong way round: then the points alone are believed.
        registration = register_scan(surface, scan.points, None, report)
    return registration, ("with the normals of the scan no position was found: they are not used",)


def _by_marks(
    registration: Registration, request: ScanRequest, scan: ScanPoints, surface: NominalSurface
) -> tuple[Registration, tuple[str, ...]]:
    if not request.marks:
        return registration, ()
    factor = MM_PER_UNIT[request.unit or scan.file.unit_stated or "mm"]
    on_scan = np.array([mark.on_scan for mark in request.marks]) * factor
    on_part = np.array([mark.on_part for mark in request.marks])
    std = _MARK_SHARE * surface.diagonal_mm
    motion, missed = choose_pose(registration, on_scan, on_part, std)
    if missed > 10.0 * std:
        raise ScanRefused(
            f"the marks miss by {missed:.3g} mm in the position that suits them best",
            "--mark",
            "state each as the scan's x,y,z = the part's x,y,z in assembly coordinates",
        )
    chosen = len(registration.alternatives) + 1
    information = weigh_pose(surface, _some(scan.points), motion, registration.scatter_mm)
    note = (
        f"of {chosen} positions that fit as well, the marks chose the one that misses them by {missed:.2g} mm"
    )
    return replace(registration, motion=motion, information=information, alternatives=()), (
        note,
    ) if chosen > 1 else ()


def _some(points: Array) -> Array:
    return points if len(points) <= 30_000 else points[:: len(points) // 30_000]


def _compare(
    opened: Opened,
    request: ScanRequest,
    shape: PartShape,
    scan: ScanPoints,
    surface: NominalSurface,
    registration: Registration,
    notes: tuple[str, ...],
    tell: Callable[[int], Progress],
) -> ScanReport:
    project, std = opened.project, request.scanner_std_mm
    reach = request.reach_mm or max(
        REACH_SHARE * surface.diagonal_mm, REACH_SCATTERS * registration.scatter_mm
    )
    found = deviate_points(surface, scan.points, registration.motion, reach, tell(4))
    mapped = map_deviations(surface, found, registration.information, std)
    faces = _segmented(project, shape, request)
    motion, information = registration.motion, registration.information
    sides, missing = joint_faces(project, opened.shapes, shape.part.id, mapped, std)
    scanned = Scanned(shape.mesh, surface, found)
    features = () if faces is None else measure_on_scan(
        project, shape, faces, scanned, mapped, std, registration.is_ambiguous
    )  # fmt: skip
    difference: AlignmentDifference | None = None
    if request.datums:
        assert faces is not None
        laid = align_datums(
            project, shape, faces, scanned, request.datums,
            information.middle, information.length_mm, std,
        )  # fmt: skip
        motion = laid.alignment.motion.after(motion)
        information = replace(information, covariance=laid.alignment.covariance)
        found = deviate_points(surface, scan.points, motion, reach, tell(5))
        mapped = map_deviations(surface, found, information, std)
        before, features_before = sides, features
        sides, missing = joint_faces(project, opened.shapes, shape.part.id, mapped, std)
        scanned = Scanned(shape.mesh, surface, found)
        features = measure_on_scan(project, shape, faces, scanned, mapped, std, registration.is_ambiguous)
        difference = _difference(
            laid.alignment.motion,
            surface,
            laid.faces,
            (before, sides),
            (features_before, features),
            laid.alignment.free.shape[1],
        )
    tell(6)(1, 1)
    return ScanReport(
        project=project.name,
        part=shape.part.id,
        file=str(request.file),
        format=scan.file.format,
        sha256=scan.file.sha256,
        unit=request.unit or scan.file.unit_stated or "mm",
        points=len(scan.points),
        left_out=(found.beyond, found.alone, mapped.local),
        share=registration.share,
        alignment="datums" if request.datums else "best fit",
        motion=motion,
        information=information,
        scatter_mm=registration.scatter_mm,
        scanner_std_mm=std,
        alternatives=registration.alternatives,
        runner_up=registration.runner_up,
        free=registration.free,
        statistics=summarise(mapped),
        worst=find_worst(mapped),
        map=mapped,
        mesh=shape.mesh,
        features=features,
        faces=sides,
        lengths=face_lengths(sides),
        difference=difference,
        notes=(*scan.notes, *notes, *missing, *_assumed(request, reach, registration)),
    )


def _segmented(project: Project, shape: PartShape, request: ScanRequest) -> Faces | None:
    """The faces of the part where a feature or a datum needs them: a large mesh takes a while."""
    if not (request.datums or features_of(project, shape.part.id)):
        return None
    return segment_faces(shape.mesh)


def _difference(
    change: RigidMotion,
    surface: NominalSurface,
    datums: tuple[DatumFace, ...],
    faces: tuple[Sequence[ScannedFace], Sequence[ScannedFace]],
    features: tuple[Sequence[ScannedFeature], Sequence[ScannedFeature]],
    free: int,
) -> AlignmentDifference:
    """faces, features: in the best fit, and by the datums."""
    corners = np.array(np.meshgrid(*surface.bounds.T)).reshape(3, -1).T
    moved = np.linalg.norm(change.apply(corners) - corners, axis=1)
    middle = surface.centre_mm
    return AlignmentDifference(
        datums=datums,
        turn_deg=np.degrees(rotation_vector(change.rotation)),
        shift_mm=change.apply(middle[None])[0] - middle,
        largest_mm=float(moved.max()),
        faces=tuple(
            (one.joint, one.offset_mm, two.offset_mm)
            for one, two in zip(*faces, strict=True)
            if one.offset_mm is not None and two.offset_mm is not None
        ),
        features=tuple(
            (one.id, one.unit, one.value, two.value)
            for one, two in zip(*features, strict=True)
            if one.value is not None or two.value is not None
        ),
        free=free,
    )


def _assumed(request: ScanRequest, reach: float, registration: Registration) -> tuple[str, ...]:
    notes = []
    if request.scanner_std_mm == 0.0:
        notes.append(
            "no uncertainty of the scanner is stated (--scanner-std): only scatter and pose are in the figures"
        )
    if request.reach_mm is None:
        notes.append(
            f"points farther than {reach:.3g} mm from the part are taken for outliers (--reach states it)"
        )
    if not registration.is_converged:
        notes.append("the last step of the fit had not come to rest")
    return tuple(notes)


__all__ = [
    "Mark",
    "PointDeviations",
    "PoseInformation",
    "ScanRequest",
    "SurfaceMap",
    "record_scan",
    "scan_folder",
    "scan_opened",
]
