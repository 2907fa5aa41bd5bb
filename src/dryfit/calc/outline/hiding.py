"""What is seen of bodies that stand one before the other."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from dryfit.base.arrays import Array


@dataclass(frozen=True, slots=True, eq=False)
class Outline:
    """One body on the sheet before anything hides it.

    region  polygons that it covers
    edges   (k, 2, 2) straight edges inside the region
    depth   how near the viewer it lies
    """

    region: BaseGeometry
    edges: Array
    depth: float


@dataclass(frozen=True, slots=True, eq=False)
class Appearance:
    """What is seen of one body.

    lines   polylines (n, 2)
    rings   closed rings (n, 2) that bound what is seen of its region, holes among them
    """

    lines: tuple[Array, ...]
    rings: tuple[Array, ...]


def hide_behind(outlines: Sequence[Outline], tolerance: float) -> tuple[Appearance, ...]:
    """What is seen of each body, in the order given; nearer bodies cover farther ones as wholes.

    tolerance : length below which lines are the same line and corners are dropped
    Two bodies that reach round one another cannot be sorted as wholes; the one whose middle is nearer
    then covers the other.
    """
    seen: list[Appearance | None] = [None] * len(outlines)
    before: BaseGeometry = shapely.Polygon()
    # Among equally near bodies the first covers the others, so that the drawing does not depend on rounding.
    for index in sorted(range(len(outlines)), key=lambda i: (-round(outlines[i].depth, 6), i)):
        region = shapely.simplify(outlines[index].region, tolerance)
        edges = _with_inner_edges(region, outlines[index].edges, tolerance)
        cover = shapely.buffer(before, tolerance, quad_segs=1, join_style="mitre")
        lines = shapely.line_merge(shapely.difference(edges, cover))
        seen[index] = Appearance(
            _polylines(shapely.simplify(lines, tolerance), 4.0 * tolerance),
            _rings(shapely.difference(region, before), tolerance),
        )
        before = shapely.union(before, region)
    return tuple(item for item in seen if item is not None)


def _with_inner_edges(region: BaseGeometry, edges: Array, tolerance: float) -> BaseGeometry:
    """The boundary of a region, and of its edges what does not run along that boundary."""
    if len(edges) == 0:
        return region.boundary
    # Rounding and simplifying set an edge off the boundary by less than the tolerance: it would be drawn twice.
    along = shapely.buffer(region.boundary, tolerance, quad_segs=1)
    inner = shapely.difference(shapely.union_all(shapely.linestrings(edges)), along)
    return shapely.union_all([region.boundary, inner])


def _polylines(lines: BaseGeometry, shortest: float) -> tuple[Array, ...]:
    pieces = [piece for piece in shapely.get_parts(lines) if piece.length > shortest]
    return tuple(np.asarray(shapely.get_coordinates(piece)) for piece in pieces)


def _rings(region: BaseGeometry, tolerance: float) -> tuple[Array, ...]:
    polygons = [
        piece
        for piece in shapely.get_parts(region)
        if piece.geom_type == "Polygon" and piece.area > tolerance * piece.length
    ]
    return tuple(
        np.asarray(shapely.get_coordinates(ring))
        for polygon in polygons
        for ring in (polygon.exterior, *polygon.interiors)
    )
