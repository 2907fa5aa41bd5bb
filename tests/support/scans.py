"""Invented scans: points on a mesh, moved, with noise, outliers and missing surface."""

from __future__ import annotations

from pathlib import Path

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


DOCUMENT = """schema = 1
[project]
name = "Invented"
scale = "1:20"
[[material]]
id = "pla"
family = "PLA"
[[machine]]
id = "tall"
build_volume_mm = [500, 500, 600]
[[part]]
id = "bracket"
mesh = "bracket.ply"
unit = "mm"
machine = "tall"
material = "pla"
[[feature]]
id = "height"
kind = "distance"
faces = [{ part = "bracket", direction = [0, 0, 1] }, { part = "bracket", direction = [0, 0, -1] }]
nominal_mm = 20
nominal_std_mm = 0.05
deviations_mm = [-0.1, 0.1]
[[feature]]
id = "hole"
kind = "diameter"
faces = [{ part = "bracket", point_mm = [-24, 2, 0], normal = [-1, 0, 0], form = "cylinder", size_mm = 6 }]
nominal_mm = 12
nominal_std_mm = 0.05
deviations_mm = [-0.3, 0.3]
[[feature]]
id = "long"
kind = "extent"
parts = ["bracket"]
direction = [1, 0, 0]
nominal_mm = 100
nominal_std_mm = 0.05
deviations_mm = [-0.5, 0.5]
[[feature]]
id = "back"
kind = "flatness"
faces = [{ part = "bracket", direction = [0, -1, 0] }]
upper_mm = 0.5
"""


def write_scanned(place: Path) -> Path:
    """A project of a bracket, and a scan of it in another position: its top stands 0.2 mm too high."""
    (place / "project.toml").write_text(DOCUMENT, encoding="utf-8")
    mesh = bracket()
    head = f"ply\nformat binary_little_endian 1.0\nelement vertex {len(mesh.vertices)}\n"
    head += "".join(f"property double {axis}\n" for axis in "xyz")
    head += f"element face {len(mesh.faces)}\nproperty list uchar int vertex_indices\nend_header\n"
    rows = np.empty(len(mesh.faces), dtype=[("n", "u1"), ("c", "<i4", 3)])
    rows["n"], rows["c"] = 3, mesh.faces
    (place / "bracket.ply").write_bytes(
        head.encode() + mesh.vertices.astype("<f8").tobytes() + rows.tobytes()
    )
    points, normals, _ = NominalSurface(mesh).sample(12_000, 5)
    draw = np.random.default_rng(1)
    scan = points + 0.2 * (normals[:, 2:3] > 0.5) * normals + 0.03 * draw.normal(size=points.shape)
    scan = scan @ rotation_from_vector(np.array([1.0, 2.0, -0.5])).T + [300.0, 0.0, 40.0]
    np.savetxt(place / "scan.xyz", scan, fmt="%.5f")
    return place
