"""Triangles projected on a plane -> polygons, without losing any of the face."""

from __future__ import annotations

from typing import Any

import numpy as np

from dryfit.base.arrays import Array, IntArray

# Two areas of the same region may differ by rounding only.
AREA_AGREEMENT = 1e-6
# Slits narrower than twice this between pieces of one plane are seams of the mesh, not gaps in the part.
SLIT_MM = 1e-3


class OutlineError(Exception):
    """The outline of a face cannot be told; the words say why."""


def region_polygon(points: Array, triangles: IntArray) -> Any:
    """The shapely polygon(s) covered by triangles (m, 3) of points (n, 2).

    The edges used once are chained to rings. Where they do not make valid rings with the area of the
    triangles (repeated triangles, folds, touching corners), the triangles are united one by one.
    Raises OutlineError where that does not keep the area either.
    """
    areas = _areas(points, triangles)
    polygon = _polygon_from_rings(points, triangles)
    total = float(areas.sum())
    if polygon is not None and polygon.is_valid and abs(polygon.area - total) <= AREA_AGREEMENT * total:
        return polygon
    return _united_triangles(points, triangles, areas)


def unite(polygons: list[Any]) -> Any:
    """One polygon where the pieces touch or lie a seam apart; otherwise several."""
    from shapely import union_all

    union = union_all(polygons)
    if union.geom_type == "Polygon":
        return union
    closed = union.buffer(SLIT_MM, join_style="mitre").buffer(-SLIT_MM, join_style="mitre")
    return closed if len(polygon_parts(closed)) < len(polygon_parts(union)) else union


def polygon_parts(geometry: Any) -> list[Any]:
    """The polygons of any geometry, without its lines and points."""
    if geometry.geom_type == "Polygon":
        return [] if geometry.is_empty else [geometry]
    return [part for inner in getattr(geometry, "geoms", ()) for part in polygon_parts(inner)]


def signed_area(ring: Array) -> float:
    """Area of a closed ring (k, 2) given without its repeated last point; positive counter-clockwise."""
    local = ring - ring[0]
    after = np.roll(local, -1, axis=0)
    return float((local[:, 0] * after[:, 1] - local[:, 1] * after[:, 0]).sum() / 2)


def _areas(points: Array, triangles: IntArray) -> Array:
    a, b, c = (points[triangles[:, i]] for i in range(3))
    first, second = b - a, c - a
    areas: Array = np.abs(first[:, 0] * second[:, 1] - first[:, 1] * second[:, 0]) / 2
    return areas


def _polygon_from_rings(points: Array, triangles: IntArray) -> Any | None:
    """None where the boundary is not a set of plain rings."""
    from shapely import Polygon

    rings = _rings(triangles, len(points))
    if rings is None:
        return None
    loops = [points[ring] for ring in rings]
    signed = [signed_area(loop) for loop in loops]
    outer = [loop for loop, area in zip(loops, signed, strict=True) if area > 0]
    holes = [loop for loop, area in zip(loops, signed, strict=True) if area < 0]
    if len(outer) == 1:
        return Polygon(outer[0], holes)
    # From the largest ring to the smallest, so that an island within a hole is put back.
    result = Polygon()
    for place in np.argsort(-np.abs(signed), kind="stable"):
        ring = Polygon(loops[place])
        if not ring.is_valid:
            return None
        result = result.union(ring) if signed[place] > 0 else result.difference(ring)
    return result


def _rings(triangles: IntArray, vertex_count: int) -> list[list[int]] | None:
    """Boundary rings as vertex indices; None where an edge repeats or a vertex has two ways on."""
    starts, ends = triangles.reshape(-1), np.roll(triangles, -1, axis=1).reshape(-1)
    forward = np.sort(starts * vertex_count + ends)
    if (forward[1:] == forward[:-1]).any():
        return None
    reverse = ends * vertex_count + starts
    found = np.searchsorted(forward, reverse)
    inner = forward[np.minimum(found, len(forward) - 1)] == reverse
    tails, heads = starts[~inner].tolist(), ends[~inner].tolist()
    after = dict(zip(tails, heads, strict=True))
    if len(after) < len(tails):
        return None
    rings = []
    while after:
        first, here = after.popitem()
        ring = [first]
        while here != first:
            ring.append(here)
            here = after.pop(here)
        rings.append(ring)
    return rings


def _united_triangles(points: Array, triangles: IntArray, areas: Array) -> Any:
    from shapely import make_valid, polygons, union_all
    from shapely.errors import GEOSException

    real = areas > 0
    if not real.any():
        raise OutlineError("its triangles have no area on the common plane")
    try:
        union = union_all(make_valid(polygons(points[triangles[real]])))
    except GEOSException as error:
        raise OutlineError(f"its triangles cannot be united ({error})") from error
    total, largest = float(areas.sum()), float(areas.max())
    if not union.is_valid or not largest * (1 - AREA_AGREEMENT) <= union.area <= total * (1 + AREA_AGREEMENT):
        raise OutlineError("the union of its triangles does not keep their area")
    return union
