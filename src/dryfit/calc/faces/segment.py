"""A mesh taken apart into planes and smoothly curved faces."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from dryfit.base.arrays import Array, BoolArray, IntArray
from dryfit.calc.faces.links import MUCH_WIDER, UNEVEN, PieceLinks, links_of
from dryfit.calc.faces.pieces import Groups, flat_pieces, group
from dryfit.calc.faces.surface import Surface, connected_labels, prepare_surface
from dryfit.model.mesh import TriangleMesh

# Facets of a round bend by less than this from one to the next: 16 facets a turn or more. Common practice,
# no source: chamfers are cut at 30 or 45 degrees, and modellers tessellate finer than 16 to the turn.
SMOOTH_ANGLE_DEG = 25.0
# A round has at least so many facets: two planes that meet at a small angle are two planes, and three too.
LEAST_FACETS = 4

Shape = Literal["plane", "curved"]


@dataclass(frozen=True, slots=True, eq=False)
class Face:
    """One face of a mesh.

    form         "plane", or "curved" whatever the curve
    triangles    (t,) indices into the mesh's triangles
    vertices_mm  (n, 3) [mm] the distinct corners of those triangles
    area_mm2     its area        centroid_mm  (3,) [mm] of that area
    normal       (3,) unit, outward; None where the face is curved
    """

    form: Shape
    triangles: IntArray
    vertices_mm: Array
    area_mm2: float
    centroid_mm: Array
    normal: Array | None


@dataclass(frozen=True, slots=True, eq=False)
class Faces:
    """Every face of a mesh.

    surface     the mesh's sound triangles
    groups      the same by face
    is_plane    (f,) form of each face
    labels      (m,) face of each triangle of the mesh, -1 for one without area
    """

    surface: Surface
    groups: Groups
    is_plane: BoolArray
    labels: IntArray

    def __len__(self) -> int:
        return len(self.is_plane)

    def face(self, index: int) -> Face:
        """One face; made on demand, since a rough scan has a face for nearly every triangle."""
        rows = self.groups.triangles(index)
        is_plane = bool(self.is_plane[index])
        return Face(
            form="plane" if is_plane else "curved",
            triangles=self.surface.rows[rows],
            vertices_mm=self.surface.vertices[np.unique(self.surface.corners[rows])],
            area_mm2=float(self.groups.areas[index]),
            centroid_mm=self.groups.centroids[index],
            normal=self.groups.normals[index] if is_plane else None,
        )


def segment_faces(mesh: TriangleMesh, smooth_angle_deg: float = SMOOTH_ANGLE_DEG) -> Faces:
    """Planes and smoothly curved faces of a mesh.

    Flat pieces are gathered first. Those that bend gently into one another and are as wide as their
    neighbours are the facets of a round; one that is wider than the curvature beside it permits is a plane
    that the round runs out into. Rounds of different form that run smoothly into one another are one curved
    face here: see grow_round.
    Holds for single-precision rounding, for noise of the vertices with a standard deviation up to 0.01 mm
    on planes, and for any tessellation with 16 facets to the turn or more.

    smooth_angle_deg : largest bend from one facet of a round to the next [deg]
    """
    surface = prepare_surface(mesh)
    pieces = flat_pieces(surface)
    links = links_of(surface, pieces, np.radians(smooth_angle_deg))
    kept = links.pairs[_run_on(links, len(pieces))]
    member = connected_labels(len(pieces), kept)
    facets = np.bincount(member, minlength=1)
    is_round = facets[member] >= LEAST_FACETS
    # Pieces of no round keep to themselves.
    own = np.where(is_round, member, len(pieces) + np.arange(len(pieces)))
    _, face_of_piece = np.unique(own, return_inverse=True)
    of_triangle = face_of_piece.reshape(-1)[pieces.labels].astype(np.int64)
    groups = group(surface, np.arange(len(surface.corners)), of_triangle)
    is_plane = np.ones(len(groups), dtype=np.bool_)
    is_plane[face_of_piece.reshape(-1)[is_round]] = False
    labels = np.full(surface.row_count, -1, dtype=np.int64)
    labels[surface.rows] = of_triangle
    return Faces(surface, groups, is_plane, labels)


def _run_on(links: PieceLinks, count: int) -> BoolArray:
    """(l,) whether a link joins two facets of one round, rather than a round and a plane it runs out into."""
    tightest = links.tightest_beside(count)
    kept = np.ones(len(links.pairs), dtype=np.bool_)
    for side in (0, 1):
        other = 1 - side
        ratio = links.widths[:, other] / np.maximum(links.widths[:, side], 1e-300)
        is_flatter = links.radii > UNEVEN * tightest[:, side]
        kept &= ~((ratio > UNEVEN) & is_flatter) & (ratio <= MUCH_WIDER)
    return kept
