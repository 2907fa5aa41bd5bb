"""The faces of features as a scan shows them: points by cells, and the element through them."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from dryfit.app.measuring_forms import SeenFace
from dryfit.base.arrays import Array, IntArray
from dryfit.base.errors import ComputationRefused
from dryfit.calc.elements import (
    ConeFit,
    CylinderFit,
    PlaneFit,
    SphereFit,
    TorusFit,
    fit_cone,
    fit_cylinder,
    fit_plane,
    fit_sphere,
    fit_torus,
)
from dryfit.calc.scans import CellPoints, NominalSurface, PointDeviations, gather_cells
from dryfit.model.mesh import TriangleMesh


@dataclass(frozen=True, slots=True, eq=False)
class Scanned:
    """A scan laid on a part, ready to be measured."""

    mesh: TriangleMesh
    surface: NominalSurface
    found: PointDeviations


def cells_on(scanned: Scanned, triangles: IntArray, size_mm: float) -> CellPoints:
    """The scan on some triangles of the part's mesh."""
    wanted = np.zeros(len(scanned.mesh.faces), dtype=np.bool_)
    wanted[triangles] = True
    return gather_cells(scanned.found, wanted[scanned.surface.rows], size_mm)


def size_of(points: Array) -> float:
    """Diagonal [mm] of the box round points."""
    return float(np.linalg.norm(np.ptp(points, axis=0)))


def as_scanned(scanned: Scanned, face: SeenFace) -> tuple[SeenFace, CellPoints]:
    """The face with the element through the scan's points in place of that through its corners.

    Raises ComputationRefused where the scan shows too little of it, or its points tell no such element.
    """
    cells = cells_on(scanned, face.triangles, size_of(face.points))
    if not cells.is_enough:
        raise ComputationRefused(
            f"the scan shows too little of the face of {face.part}: {len(cells.points)} cells of it",
            face.part,
            "scan that face, too",
        )
    fit = _fit(face, cells)
    normal, centroid = face.normal, face.centroid_mm
    if isinstance(fit, PlaneFit):
        normal = fit.normal if fit.normal @ face.normal > 0 else -fit.normal
        centroid = centroid - float((centroid - fit.point_mm) @ fit.normal) * fit.normal
    return replace(face, points=cells.points, fit=fit, normal=normal, centroid_mm=centroid), cells


def _fit(face: SeenFace, cells: CellPoints) -> PlaneFit | CylinderFit | SphereFit | ConeFit | TorusFit | None:
    if face.form is None:
        return None
    if face.form == "plane":
        return fit_plane(cells.points)
    if face.form == "cylinder":
        return fit_cylinder(cells.points, cells.normals)
    if face.form == "sphere":
        return fit_sphere(cells.points, cells.normals)
    if face.form == "cone":
        return fit_cone(cells.points, cells.normals)
    return fit_torus(cells.points, cells.normals)
