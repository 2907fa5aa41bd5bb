"""How thick a body is at each point of its surface."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from dryfit.base.arrays import Array, BoolArray, IntArray
from dryfit.calc.thickness.rays import RayLengths, ray_lengths
from dryfit.calc.thickness.samples import sample_surface
from dryfit.calc.thickness.solid import Solid, prepare_solid
from dryfit.calc.thickness.spheres import inscribe_spheres
from dryfit.model.mesh import TriangleMesh

Progress = Callable[[int, int], None]
DEFAULT_SAMPLES = 4000
_AT_A_TIME = 1000
# Two surfaces that meet under less than this bound a wall; those of a blunter wedge bound an edge
# (common practice, no source).
WALL_TAPER_DEG = 30.0


@dataclass(frozen=True, slots=True, eq=False)
class Thickness:
    """At k points of a surface.

    ray_mm     (k,) way of a ray opposite the outward normal through the body; nan: it never leaves it
    sphere_mm  (k,) diameter of the largest sphere inside that touches at the point; never above ray_mm;
               nan where bodies of the mesh overlap on the way of the ray
    ray_taper_deg     (k,) angle between the surface at the point and where the ray leaves; 0 when parallel
    sphere_taper_deg  (k,) angle of the wedge that holds the sphere: 0 between parallel faces, 90 beside a
                      square edge, where the sphere says nothing of a wall
    """

    ray_mm: Array
    sphere_mm: Array
    ray_taper_deg: Array
    sphere_taper_deg: Array

    @property
    def wall_mm(self) -> Array:
        """(k,) [mm] the sphere where two sides of a wall hold it, else the ray."""
        return np.where(self.sphere_taper_deg <= WALL_TAPER_DEG, self.sphere_mm, self.ray_mm)

    @property
    def is_wall(self) -> BoolArray:
        """(k,) whether the two surfaces face one another, within WALL_TAPER_DEG of parallel."""
        facing = np.minimum(self.sphere_taper_deg, self.ray_taper_deg) <= WALL_TAPER_DEG
        return np.asarray(facing & np.isfinite(self.ray_mm))

    @property
    def taper_deg(self) -> Array:
        """(k,) [deg] angle between the two surfaces that wall_mm lies between."""
        by_sphere = self.sphere_taper_deg <= WALL_TAPER_DEG
        return np.where(by_sphere, self.sphere_taper_deg, self.ray_taper_deg)


@dataclass(frozen=True, slots=True, eq=False)
class ThicknessMap:
    """Thickness over a whole surface, sample by sample.

    points     (k, 3) [mm]; triangles (k,) on which each lies; normals (k, 3) unit, outward
    area_mm2   (k,) of the surface for which each stands
    thickness  at the points
    density    in words, how densely the surface is sampled
    """

    points: Array
    triangles: IntArray
    normals: Array
    area_mm2: Array
    thickness: Thickness
    density: str

    @property
    def ray_mm(self) -> Array:
        """(k,) [mm] of Thickness."""
        return self.thickness.ray_mm

    @property
    def sphere_mm(self) -> Array:
        """(k,) [mm] of Thickness."""
        return self.thickness.sphere_mm

    @property
    def wall_mm(self) -> Array:
        """(k,) [mm] of Thickness."""
        return self.thickness.wall_mm

    @property
    def unmeasured(self) -> IntArray:
        """Numbers of the samples whose ray never left the body."""
        return np.flatnonzero(~np.isfinite(self.thickness.ray_mm))


def thickness_at(mesh: TriangleMesh, points: Array, normals: Array) -> Thickness:
    """Thickness at points (k, 3) [mm] on the surface with outward unit normals (k, 3).

    Raises ComputationRefused for a mesh that is open, not consistently oriented or inside out.
    """
    solid = prepare_solid(mesh)
    return _measure(solid, np.asarray(points, dtype=np.float64) - solid.middle, np.asarray(normals))


def thickness_map(
    mesh: TriangleMesh, samples: int = DEFAULT_SAMPLES, seed: int = 1, progress: Progress | None = None
) -> ThicknessMap:
    """Thickness at about so many samples of the surface; the same for the same mesh, number and seed.

    Raises ComputationRefused for a mesh that is open, not consistently oriented or inside out.
    """
    solid = prepare_solid(mesh)
    chosen = sample_surface(solid.mesh, samples, seed)
    pieces = []
    for start in range(0, len(chosen.points), _AT_A_TIME):
        if progress is not None:
            progress(start, len(chosen.points))
        part = slice(start, start + _AT_A_TIME)
        pieces.append(_measure(solid, chosen.points[part], chosen.normals[part]))
    names = ("ray_mm", "sphere_mm", "ray_taper_deg", "sphere_taper_deg")
    joined = [np.concatenate([getattr(piece, name) for piece in pieces]) for name in names]
    return ThicknessMap(
        points=chosen.points + solid.middle,
        triangles=chosen.triangles,
        normals=chosen.normals,
        area_mm2=chosen.area_mm2,
        thickness=Thickness(*joined),
        density=chosen.words,
    )


def _measure(solid: Solid, points: Array, normals: Array) -> Thickness:
    """At points relative to the middle of the solid."""
    rays = ray_lengths(solid, points, normals)
    # Where bodies overlap, surfaces inside the whole would hold the spheres: there the ray alone counts.
    spheres = inscribe_spheres(solid, points, normals, np.where(rays.enters, np.nan, rays.length_mm))
    return Thickness(
        rays.length_mm, spheres.diameter_mm, _ray_taper_deg(solid, normals, rays), 180.0 - spheres.span_deg
    )


def _ray_taper_deg(solid: Solid, normals: Array, rays: RayLengths) -> Array:
    cosine = -np.einsum("ij,ij->i", solid.normals[np.maximum(rays.triangles, 0)], normals)
    angle = np.degrees(np.arccos(np.clip(cosine, -1.0, 1.0)))
    return np.where(rays.triangles >= 0, angle, np.nan)
