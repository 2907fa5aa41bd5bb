"""Invented scans: points on a mesh, moved, with noise, outliers and missing surface."""

from __future__ import annotations

import manifold3d
import numpy as np

from dryfit.base.arrays import Array
from dryfit.base.rotation import rotation_from_vector
from dryfit.calc.scans import NominalSurface, RigidMotion
from dryfit.model.mesh import TriangleMesh


def mesh_of(body: manifold3d.Manifold) -> TriangleMesh:
    """The triangles of a solid."""
    made = body.to_mesh()
    return TriangleMesh(
        np.array(made.vert_properties[:, :3], dtype=float), np.array(made.tri_verts, dtype=np.int64)
    )


def box(
    size: tuple[float, float, float], at: tuple[float, float, float] = (0.0, 0.0, 0.0)
) -> manifold3d.Manifold:
    """A box about a middle."""
    return manifold3d.Manifold.cube(size, True).translate(at)


def bracket() -> TriangleMesh:
    """An angle of two arms with a hole: no turn lays it on itself."""
    body = box((100, 24, 20)) + box((22, 70, 16), (39, 40, -2))
    return mesh_of(body - manifold3d.Manifold.cylinder(60, 6, 6, 48, True).translate((-30, 2, 0)))


def plain_box() -> TriangleMesh:
    """A box of 100 x 60 x 30: three half turns lay it on itself."""
    return mesh_of(box((100, 60, 30)))


def stepped_box(step_mm: float) -> TriangleMesh:
    """The same with a shallow step across one end of its top: nearly symmetric."""
    return mesh_of(box((100, 60, 30)) - box((20, 60.1, 2 * step_mm), (35, 0, 15)))


def rod(facets: int = 96) -> TriangleMesh:
    """A cylinder of radius 20, 80 long, along z."""
    return mesh_of(manifold3d.Manifold.cylinder(80, 20, 20, facets, True))


def simulate_scan(
    mesh: TriangleMesh,
    count: int = 12_000,
    noise_mm: float = 0.05,
    outliers: float = 0.0,
    missing: float = 0.0,
    seed: int = 1,
) -> tuple[Array, RigidMotion]:
    """Points of a scan in its own frame, and the motion from there to the part.

    outliers : share of the points that lie anywhere in and about the box of the part
    missing : share of the surface that is cut off on one side
    """
    draw = np.random.default_rng(seed)
    surface = NominalSurface(mesh)
    points, _, _ = surface.sample(int(count * (1 - outliers) / (1 - missing)), seed)
    side = draw.normal(size=3)
    height = points @ side
    points = points[height <= np.quantile(height, 1.0 - missing)]
    points = points + noise_mm * draw.normal(size=points.shape)
    size = float((surface.bounds[1] - surface.bounds[0]).max())
    away = surface.centre_mm + 1.3 * size * (draw.random((int(count * outliers), 3)) - 0.5)
    together = draw.permutation(np.concatenate([points, away]))
    turn = rotation_from_vector(draw.normal(size=3) * 1.5)
    shift = draw.normal(size=3) * surface.diagonal_mm
    return together @ turn.T + shift, RigidMotion(turn.T, -turn.T @ shift)


def miss_of(found: RigidMotion, truth: RigidMotion, surface: NominalSurface) -> float:
    """Largest distance [mm] by which a pose misses the true one at the corners of the part's box."""
    corners = np.array(np.meshgrid(*surface.bounds.T)).reshape(3, -1).T
    back = truth.inverse().apply(corners)
    return float(np.linalg.norm(found.apply(back) - corners, axis=1).max())
