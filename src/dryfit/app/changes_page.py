"""Two revisions side by side: copies of their parts for two views, and maps of where a part deviates."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from dryfit.app.changes import WORKING, ChangesReport
from dryfit.app.changes_parts import PartChange, PartKind
from dryfit.app.releases import ReleaseList
from dryfit.app.view_meshes import ViewPlacing, packed_copy, share_budget, unpack_surface, view_placing
from dryfit.app.view_walls import SIDE, divide
from dryfit.base.arrays import Array
from dryfit.calc.revision import Deviation
from dryfit.model.forecast import CharacteristicForecast
from dryfit.model.mesh import TriangleMesh

Progress = Callable[[int, int], None]
SIDE_BUDGET = 200_000  # triangles of all copies of one side together (a choice of drawing, no source)
MAP_TRIANGLES = 20_000  # of the coloured surface of one part (a choice of drawing, no source)
_LEAST_MM = 1e-4  # deviations below it are drawn as none
_ISOLINES = 6


@dataclass(frozen=True, slots=True, eq=False)
class ShownPart:
    """One part of one side: the bytes of its copy, and of its map where it deviates from the other side.

    triangles  of its exact mesh; shown: about how many the copy has
    map        twelve little-endian float32 a triangle: x, y, z [mm] and deviation [mm] of each corner; None for none
    """

    id: str
    kind: PartKind
    machine: str
    triangles: int
    shown: int
    copy: bytes
    map: bytes | None


@dataclass(frozen=True, slots=True, eq=False)
class ShownSide:
    """What one of the two views shows. name: of the state; placing: where parts stand and what joints do."""

    name: str
    parts: tuple[ShownPart, ...]
    placing: ViewPlacing


@dataclass(frozen=True, slots=True, eq=False)
class ChangesShown:
    """A comparison made ready for the eye.

    reach_mm, step_mm  end of the scale of deviations, and its isolines; 0 where no part deviates
    """

    report: ChangesReport
    before: ShownSide
    after: ShownSide
    reach_mm: float
    step_mm: float


def show_changes(report: ChangesReport, progress: Progress | None = None) -> ChangesShown:
    """Copies and maps of a comparison. progress: told how many parts are done, of how many."""
    largest = max(
        (part.deviation.largest_mm for part in report.parts if part.deviation is not None), default=0.0
    )
    step = _step(largest)
    sides = []
    total = 2 * len(report.parts)
    for number, is_after in enumerate((False, True)):
        meshes = {
            id: mesh
            for part in report.parts
            for id, mesh in (_side_of(part, is_after),)
            if id is not None and mesh is not None
        }
        targets = share_budget({id: len(mesh.faces) for id, mesh in meshes.items()}, SIDE_BUDGET)
        shown = []
        for place, part in enumerate(report.parts):
            id, mesh = _side_of(part, is_after)
            if id is not None and mesh is not None:
                shown.append(_shown(part, id, mesh, targets[id], is_after, _machine(report, id, is_after)))
            if progress is not None:
                progress(number * len(report.parts) + place + 1, total)
        side = report.after if is_after else report.before
        sides.append(ShownSide(side.name, tuple(shown), _placing(report, is_after)))
    return ChangesShown(
        report, sides[0], sides[1], step * math.ceil(largest / step - 1e-9) if step else 0.0, step
    )


def _side_of(part: PartChange, is_after: bool) -> tuple[str | None, TriangleMesh | None]:
    return (part.id, part.mesh_after) if is_after else (part.old_id, part.mesh_before)


def _machine(report: ChangesReport, id: str, is_after: bool) -> str:
    chain = report.forecast.chain_after if is_after else report.forecast.chain_before
    parts = {} if chain is None else {part.id: part.machine for part in chain.project.parts}
    return parts.get(id, "")


def _shown(
    part: PartChange, id: str, mesh: TriangleMesh, target: int, is_after: bool, machine: str
) -> ShownPart:
    copy = packed_copy(mesh.vertices, mesh.faces, target)
    deviation = part.deviation
    packed = None
    if deviation is not None and deviation.largest_mm > _LEAST_MM:
        packed = _pack_map(copy, _known(mesh, deviation, is_after), deviation.spacing_mm)
    return ShownPart(id, part.kind, machine, len(mesh.faces), min(target, len(mesh.faces)), copy, packed)


def _known(mesh: TriangleMesh, deviation: Deviation, is_after: bool) -> tuple[Array, Array, Array]:
    """(k, 3), (k, 3) and (k,) where the deviation of one side is known: points, which way they look, and its size.

    The corners of its triangles, and points within those that are large.
    """
    looked = deviation.new if is_after else deviation.old
    at_vertices = deviation.on_new_mm if is_after else deviation.on_old_mm
    corners = mesh.vertices[mesh.faces]
    normals = _normals(corners)
    points, ways = [corners.reshape(-1, 3)], [np.repeat(normals, 3, axis=0)]
    values = [at_vertices[mesh.faces].reshape(-1)]
    if looked is not None:
        inner = looked.area_mm2 > 0
        # What the old surface has and the new has not is lost: it counts as negative where sides are known.
        sign = -1.0 if deviation.is_signed and not is_after else 1.0
        points.append(looked.points[inner])
        ways.append(normals[looked.owners[inner]])
        values.append(sign * looked.signed_mm[inner])
        # Triangles that both meshes have were not looked at: they deviate by nothing.
        same = divide(
            np.delete(corners, np.unique(looked.owners), axis=0), deviation.spacing_mm, MAP_TRIANGLES
        )
        points.append(same.mean(axis=1))
        ways.append(_normals(same))
        values.append(np.zeros(len(same)))
    return np.vstack(points), np.vstack(ways), np.concatenate(values)


def _normals(corners: Array) -> Array:
    """(m, 3) unit normals of triangles (m, 3, 3); zero where one has no area."""
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    size = np.linalg.norm(normal, axis=1, keepdims=True)
    unit: Array = normal / np.where(size > 0, size, 1.0)
    return unit


def _pack_map(copy: bytes, known: tuple[Array, Array, Array], spacing_mm: float) -> bytes:
    """A copy divided finely enough to be coloured, each corner with the deviation of the nearest point that looks
    the same way.
    """
    from scipy.spatial import cKDTree

    points, ways, values = known
    spacing = max(spacing_mm, _LEAST_MM)
    positions, indices = unpack_surface(copy)
    corners = divide(positions.astype(np.float64)[indices], spacing, MAP_TRIANGLES)
    tree = cKDTree(np.hstack([points / spacing, SIDE * ways]))
    sides = np.repeat(SIDE * _normals(corners), 3, axis=0)
    flat = corners.reshape(-1, 3)
    _, nearest = tree.query(np.hstack([flat / spacing, sides]))
    return np.hstack([flat, values[nearest][:, None]]).astype("<f4").tobytes()


def _placing(report: ChangesReport, is_after: bool) -> ViewPlacing:
    move = report.forecast
    chain = move.chain_after if is_after else move.chain_before
    forecast = move.after if is_after else move.before
    if chain is None or forecast is None:
        return ViewPlacing({}, ())
    return view_placing(chain, forecast)


def _step(largest: float) -> float:
    """1, 2 or 5 times a power of ten, so that about six isolines reach the largest value; 0 for nothing."""
    if largest <= _LEAST_MM:
        return 0.0
    rough = largest / _ISOLINES
    power = 10.0 ** math.floor(math.log10(rough))
    return next(factor * power for factor in (1.0, 2.0, 5.0, 10.0) if factor * power >= rough * 0.999)


def forecast_pairs(
    report: ChangesReport,
) -> tuple[tuple[CharacteristicForecast | None, CharacteristicForecast | None], ...]:
    """Characteristics whose forecast differs, before and after; None on the side where there is none."""
    move = report.forecast
    old = {} if move.before is None else {item.id: item for item in move.before.characteristics}
    new = {} if move.after is None else {item.id: item for item in move.after.characteristics}
    was: Mapping[str, str] = {
        str(change.after): str(change.before)
        for change in report.document
        if change.table == "characteristic" and change.kind == "renamed"
    }
    changed = [row.change.id for row in move.outcomes if row.change.has_changed]
    return tuple((old.get(was.get(id, id)), new.get(id)) for id in changed)


def risk_of(shown: ChangesShown) -> float:
    """The stated risk by which figures are judged: of the later state, or of the one that could be forecast.

    Raises ValueError where neither could.
    """
    known = shown.report.forecast.after or shown.report.forecast.before
    if known is None:
        raise ValueError("neither state has a forecast")
    return known.risk


def ends_to_choose(releases: ReleaseList) -> tuple[str, ...]:
    """What two states may be chosen from: every release, the latest first, and the working state."""
    return (WORKING, *(item.letter for item in reversed(releases.releases)))
