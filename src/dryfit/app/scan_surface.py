"""The deviations of a scan on a mesh: at the vertices of the part, or of a copy whose triangles are small enough."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dryfit.app.scan_report import ScanReport
from dryfit.base.arrays import Array, IntArray, corners_of, cross
from dryfit.calc.scans import SurfaceMap, deviations_at
from dryfit.model.mesh import TriangleMesh

_MOST_TRIANGLES = 1_500_000


@dataclass(frozen=True, slots=True, eq=False)
class ColouredMesh:
    """vertices (n, 3) [mm], faces (m, 3), values_mm (n,): deviation there, NaN where there is no scan."""

    vertices: Array
    faces: IntArray
    values_mm: Array


def vertex_deviations(mesh: TriangleMesh, found: SurfaceMap) -> Array:
    """Deviation (v,) [mm] at each vertex of the part's mesh; NaN where there is no scan. For a view.

    The normal at a vertex is that of its triangles by area: on the edge of two faces a mean of both.
    """
    a, b, c = corners_of(mesh.vertices, mesh.faces)
    weight = cross(b - a, c - a)
    total = np.zeros_like(mesh.vertices)
    for k in range(3):
        for axis in range(3):
            total[:, axis] += np.bincount(mesh.faces[:, k], weight[:, axis], len(total))
    size = np.maximum(np.linalg.norm(total, axis=1), 1e-300)
    return deviations_at(found, mesh.vertices, total / size[:, None])


def colour_mesh(report: ScanReport) -> ColouredMesh:
    """The part with its triangles divided until they are as small as the samples lie apart, each corner its own.

    Corners are not shared, so that two faces that meet at an edge keep their own deviations there.
    """
    corners = report.mesh.vertices[report.mesh.faces]
    longest = 1.5 * report.map.spacing_mm
    done: list[Array] = []
    total = 0
    while len(corners):
        sides = np.stack(
            [np.linalg.norm(corners[:, k] - corners[:, (k + 1) % 3], axis=1) for k in range(3)], axis=1
        )
        fine = sides.max(axis=1) <= longest
        done.append(corners[fine])
        total += int(fine.sum())
        coarse = corners[~fine]
        if total + 2 * len(coarse) > _MOST_TRIANGLES:
            done.append(coarse)
            break
        which = np.argmax(sides[~fine], axis=1)
        rows = np.arange(len(coarse))
        one, two, three = coarse[rows, which], coarse[rows, (which + 1) % 3], coarse[rows, (which + 2) % 3]
        middle = 0.5 * (one + two)
        corners = np.concatenate(
            [np.stack([one, middle, three], axis=1), np.stack([middle, two, three], axis=1)]
        )
    together = np.concatenate(done)
    normal = cross(together[:, 1] - together[:, 0], together[:, 2] - together[:, 0])
    size = np.linalg.norm(normal, axis=1)
    together, normal = together[size > 0.0], normal[size > 0.0] / size[size > 0.0, None]
    vertices = together.reshape(-1, 3)
    values = deviations_at(report.map, vertices, np.repeat(normal, 3, axis=0))
    return ColouredMesh(vertices, np.arange(len(vertices)).reshape(-1, 3), values)
