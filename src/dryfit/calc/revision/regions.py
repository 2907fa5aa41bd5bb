"""Where a surface has changed: regions of neighbouring triangles, the greatest first."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dryfit.base.arrays import Array, locked
from dryfit.base.equal_rows import first_equal_rows, without_negative_zeros
from dryfit.calc.revision.deviation import Looked
from dryfit.model.mesh import TriangleMesh

_AS_FAR = 0.999  # of the greatest deviation: counts as just as far


@dataclass(frozen=True, slots=True, eq=False)
class Region:
    """A connected patch of a surface that lies off another.

    largest_mm  greatest deviation in it, with the sign of Looked
    place_mm    (3,) [mm] where that is
    box_mm      (2, 3) [mm] lowest and highest corner of the points that are off
    area_mm2    area that is off
    normal      (3,) unit, outward at the place; 0 where the triangle has no area
    """

    largest_mm: float
    place_mm: Array
    box_mm: Array
    area_mm2: float
    normal: Array

    def __post_init__(self) -> None:
        for name, shape in (("place_mm", (3,)), ("box_mm", (2, 3)), ("normal", (3,))):
            object.__setattr__(self, name, locked(getattr(self, name), shape, name))


def find_regions(mesh: TriangleMesh, looked: Looked, above_mm: float) -> tuple[Region, ...]:
    """Patches of a mesh whose points lie farther than above_mm from the other surface, the greatest deviation first.

    looked : points of the mesh. Triangles are neighbours where they share a corner in the same place.
    """
    off = np.flatnonzero(np.abs(looked.signed_mm) > above_mm)
    if not len(off):
        return ()
    triangles, place = np.unique(looked.owners[off], return_inverse=True)
    labels = _patches(mesh, triangles)[place.reshape(-1)]
    regions = [_region(mesh, looked, off[labels == label]) for label in np.unique(labels)]
    return tuple(sorted(regions, key=lambda item: (-abs(item.largest_mm), tuple(item.place_mm))))


def _patches(mesh: TriangleMesh, triangles: np.ndarray) -> np.ndarray:
    """(k,) number of the connected patch of each triangle."""
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import connected_components

    corners = mesh.vertices[mesh.faces[triangles]].reshape(-1, 3)
    _, number = np.unique(first_equal_rows(without_negative_zeros(corners)), return_inverse=True)
    count = len(triangles)
    rows, columns = np.repeat(np.arange(count), 3), count + number.reshape(-1)
    size = count + int(number.max()) + 1
    graph = coo_matrix((np.ones(len(rows)), (rows, columns)), shape=(size, size))
    labels: np.ndarray = connected_components(graph, directed=False)[1][:count]
    return labels


def _region(mesh: TriangleMesh, looked: Looked, points: np.ndarray) -> Region:
    signed, places = looked.signed_mm[points], looked.points[points]
    # Of many that are as far off, the one in their midst: a face that moved is named by its middle.
    far = np.flatnonzero(np.abs(signed) >= _AS_FAR * np.abs(signed).max())
    worst = int(far[((places[far] - places[far].mean(axis=0)) ** 2).sum(axis=1).argmin()])
    a, b, c = mesh.vertices[mesh.faces[looked.owners[points[worst]]]]
    normal = np.cross(b - a, c - a)
    length = float(np.linalg.norm(normal))
    return Region(
        largest_mm=float(signed[worst]),
        place_mm=places[worst],
        box_mm=np.stack([places.min(axis=0), places.max(axis=0)]),
        area_mm2=float(looked.area_mm2[points].sum()),
        normal=normal / length if length > 0 else np.zeros(3),
    )
