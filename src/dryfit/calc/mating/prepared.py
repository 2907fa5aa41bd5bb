"""A part made ready for the search: its flat pieces and curved regions near its neighbours."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dryfit.base.arrays import Array, IntArray
from dryfit.calc.mating.curved import CurvedRegion, curved_regions
from dryfit.calc.mating.planes import FlatPieces, flat_pieces
from dryfit.calc.mating.surface import Surface, surface_centroid, surface_in_boxes
from dryfit.model.mesh import TriangleMesh


@dataclass(frozen=True, slots=True, eq=False)
class PreparedPart:
    """centroid: (3,) [mm] of the whole surface.

    convex, concave  (p,) region of that sense that each flat piece is a facet of; -1 where of none
    """

    id: str
    surface: Surface
    pieces: FlatPieces
    regions: list[CurvedRegion]
    convex: IntArray
    concave: IntArray
    centroid: Array


def prepare_part(id: str, mesh: TriangleMesh, boxes: Array, min_area_mm2: float) -> PreparedPart:
    """boxes: (k, 2, 3) where the part can meet others; only triangles there are looked at."""
    surface = surface_in_boxes(mesh, boxes)
    pieces = flat_pieces(surface)
    regions = curved_regions(surface, pieces, min_area_mm2)
    member = {sense: np.full(len(pieces.areas), -1, dtype=np.int64) for sense in (True, False)}
    for place, region in enumerate(regions):
        member[region.is_convex][region.pieces] = place
    return PreparedPart(id, surface, pieces, regions, member[True], member[False], surface_centroid(mesh))
