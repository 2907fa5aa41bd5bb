"""The region that a body covers on the sheet."""

from __future__ import annotations

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from dryfit.base.arrays import Array, BoolArray
from dryfit.calc.outline.edges import Surface, contour_edges
from dryfit.calc.outline.projection import Direction, project_points

_FEW = 60  # points that are tested against every triangle
_EMPTY = 1e-12  # triangles below this share of the body's extent squared are seen edge-on


def silhouette(surface: Surface, points: Array, direction: Direction) -> BaseGeometry:
    """Polygon, or polygons, covered by the projected triangles.

    points : (n, 3) where the vertices of the surface are drawn
    Only edges where the surface ends or turns away can bound the region: they cut the sheet into cells,
    and a cell belongs to the region where a triangle covers a point inside it. An open surface has its
    silhouette, too.
    """
    flat = project_points(points, direction)
    edges = contour_edges(surface, points, direction.toward)
    if len(edges) == 0:
        return shapely.Polygon()
    cells = shapely.get_parts(shapely.polygonize([shapely.union_all(shapely.linestrings(flat[edges]))]))
    if len(cells) == 0:
        return shapely.Polygon()
    inside = shapely.get_coordinates(shapely.point_on_surface(cells))
    return shapely.union_all(cells[_are_covered(inside, flat[surface.faces])])


def _are_covered(points: Array, corners: Array) -> BoolArray:
    """(p,) whether a point lies in any of the triangles (m, 3, 2)."""
    side, other = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    area = side[:, 0] * other[:, 1] - side[:, 1] * other[:, 0]
    extent = float(np.ptp(corners.reshape(-1, 2), axis=0).max())
    kept = np.abs(area) > _EMPTY * extent**2
    covered = np.zeros(len(points), dtype=bool)
    if len(points) > _FEW:
        # A rough surface turns away in thousands of places: look up the triangles near each point.
        tree = shapely.STRtree(shapely.polygons(corners[kept]))
        covered[tree.query(shapely.points(points), predicate="intersects")[0]] = True
        return covered
    origin, side, other, area = corners[kept, 0], side[kept], other[kept], area[kept]
    for index, point in enumerate(points):
        away = point - origin
        u = (away[:, 0] * other[:, 1] - away[:, 1] * other[:, 0]) / area
        v = (side[:, 0] * away[:, 1] - side[:, 1] * away[:, 0]) / area
        covered[index] = bool(((u >= 0.0) & (v >= 0.0) & (u + v <= 1.0)).any())
    return covered
