"""Scans at a page: kept in the project once they were laid on their part, and made ready for the eye."""

from __future__ import annotations

import hashlib
import re
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from dryfit.app.ledger_reading import read_records
from dryfit.app.loading import Opened, Progress
from dryfit.app.scan_input import ScanRefused
from dryfit.app.scan_records import SCAN
from dryfit.app.scan_report import ScanReport
from dryfit.app.scanning import ScanRequest, record_scan, scan_opened
from dryfit.app.view_walls import divide
from dryfit.base.arrays import Array
from dryfit.base.errors import NotWritten
from dryfit.calc.scans import deviations_at
from dryfit.model.finding import State
from dryfit.store.atomic import write_atomically

FOLDER = "scans"
MAP_TRIANGLES = 60_000  # of the coloured surface (a choice of drawing, no source)
UNSEEN_MM = 1e9  # in the buffer: no scan there
_EDGE = 1.5  # longest edge of the coloured surface, of the distance between samples


@dataclass(frozen=True, slots=True, eq=False)
class ShownScan:
    """A scan that was laid on its part.

    map       twelve little-endian float32 a triangle: x, y, z [mm] and deviation [mm] of each corner, UNSEEN_MM where
              no scan is; in assembly coordinates
    reach_mm  end of the scale of deviations
    """

    report: ScanReport
    map: bytes
    reach_mm: float


@dataclass(frozen=True, slots=True)
class ScanLine:
    """A scan of a part as the ledger has it.

    file      as it was named; is_kept: whether it lies in the project, its content as it was
    is_shape  whether the part's mesh is still the one that it was laid on
    covered   share of the surface that it shows; rms_mm of its deviations
    """

    record: int
    at: str
    file: str
    unit: str
    alignment: str
    state: State
    points: int
    covered: float
    rms_mm: float
    scatter_mm: float
    scanner_std_mm: float
    is_kept: bool
    is_shape: bool


def lay_scan(opened: Opened, request: ScanRequest, progress: Progress | None = None) -> ScanReport:
    """Lay a scan on its part; then copy it into scans/ of the project and record it.

    A scan that is refused leaves nothing behind. Raises what scan_opened raises, ScanRefused where another scan has
    its name already, NotWritten where it cannot be copied.
    """
    data = _read(request.file)
    target = _target(opened.folder, request.file)
    _check_name(target, data)
    report = scan_opened(opened, request, progress)
    if hashlib.sha256(data).hexdigest() != report.sha256:
        do = "wait until it is written to its end, then try again"
        raise ScanRefused("the file was changed while it was read", request.file.name, do)
    if not target.exists():
        _copy(data, target)
    kept = target.relative_to(opened.folder).as_posix()
    return record_scan(opened.folder, replace(report, file=kept, is_kept=True))


def _read(file: Path) -> bytes:
    try:
        return file.read_bytes()
    except OSError as error:
        do = "check that the file is there and may be read"
        raise ScanRefused(f"the scan cannot be read: {error.strerror}", str(file), do) from error


def _target(folder: Path, file: Path) -> Path:
    """A scan that lies in the project stays where it is."""
    try:
        return folder / file.resolve().relative_to(folder.resolve())
    except ValueError:
        name = re.sub(r"[^A-Za-z0-9._+-]+", "-", file.name).lstrip("-.") or f"scan{file.suffix}"
        return folder / FOLDER / name


def _check_name(target: Path, data: bytes) -> None:
    if target.exists() and _read(target) != data:
        what = f"there is another {target.parent.name}/{target.name} already"
        raise ScanRefused(what, target.name, "rename the file, then take it again")


def _copy(data: bytes, target: Path) -> None:
    try:
        target.parent.mkdir(exist_ok=True)
    except OSError as error:
        what = f"the scan cannot be copied into the project: {error.strerror}"
        do = f"check that {FOLDER}/ is a folder that may be written to"
        raise NotWritten(what, str(target.parent), do) from error
    write_atomically(target, data)


def show_scan(report: ScanReport) -> ShownScan:
    """The deviation map as a coloured surface."""
    corners = divide(report.mesh.vertices[report.mesh.faces], _EDGE * report.map.spacing_mm, MAP_TRIANGLES)
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    size = np.linalg.norm(normal, axis=1)
    corners, unit = corners[size > 0.0], normal[size > 0.0] / size[size > 0.0, None]
    values = deviations_at(report.map, corners.reshape(-1, 3), np.repeat(unit, 3, axis=0))
    packed = np.concatenate([corners.reshape(-1, 3), values[:, None]], axis=1)
    packed[~np.isfinite(values), 3] = UNSEEN_MM
    return ShownScan(report, packed.astype("<f4").tobytes(), _reach(values))


def _reach(values: Array) -> float:
    """A size that 99 % of the deviations stay within; at least a micrometre."""
    known = np.abs(values[np.isfinite(values)])
    return max(float(np.quantile(known, 0.99)) if len(known) else 0.0, 1e-3)


def scans_of(opened: Opened, part: str) -> tuple[ScanLine, ...]:
    """The recorded scans of a part, the latest first."""
    shape = opened.shapes.get(part)
    lines = []
    for record in reversed(read_records(opened.folder, SCAN)):
        payload = record.payload
        if payload.get("part") != part:
            continue
        lines.append(
            ScanLine(
                record=record.id,
                at=record.recorded_at,
                file=str(payload["file"]),
                unit=str(payload["unit"]),
                alignment=str(payload["alignment"]),
                state=payload["state"],
                points=int(payload["points"]),
                covered=float(payload["covered"]),
                rms_mm=float(payload["rms_mm"]),
                scatter_mm=float(payload["scatter_mm"]),
                scanner_std_mm=float(payload["scanner_std_mm"]),
                is_kept=_is_kept(opened.folder, str(payload["file"]), str(payload["sha256"])),
                is_shape=shape is not None and shape.mesh.sha256 == payload["mesh_sha256"],
            )
        )
    return tuple(lines)


def _is_kept(folder: Path, file: str, sha256: str) -> bool:
    path = (folder / file).resolve()  # of a command it may be anywhere
    is_inside = path.is_relative_to(folder.resolve())
    return is_inside and path.is_file() and hashlib.sha256(path.read_bytes()).hexdigest() == sha256
