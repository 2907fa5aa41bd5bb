"""How flat pieces run into one another: bend, width across, and the radius that both imply."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dryfit.base.arrays import Array, IntArray
from dryfit.calc.faces.pieces import Groups
from dryfit.calc.faces.surface import Surface, angles_between, dots, lengths, order_of

# A plane beside a round is at least so many times wider than the round's facets, and the radius that its
# half bend implies so many times larger. Common practice, no source: modellers space facets evenly within
# one round.
UNEVEN = 1.6
# One that is so many times wider than a facet beside it is a plane whatever the radii: those of a facet that
# rounding has split into single triangles say little.
MUCH_WIDER = 6.0


@dataclass(frozen=True, slots=True, eq=False)
class PieceLinks:
    """l pairs of pieces that run smoothly into one another.

    pairs      (l, 2) pieces
    directions (l, 3) unit, along the common edge
    widths     (l, 2) [mm] of each of the two pieces, across the common edge
    radii      (l,) [mm] of the round of which both would be facets
    axes       (pieces, 3) unit: direction of the tightest link of each piece
    """

    pairs: IntArray
    directions: Array
    widths: Array
    radii: Array
    axes: Array

    def tightest_beside(self, count: int) -> Array:
        """(l, 2) [mm] for each end of a link the least radius among its piece's links of like direction.

        The directions are sorted in two classes by the tightest link of the piece, so that the small radius
        of a ring's tube does not speak against the large one round its axis.
        """
        ends = self.pairs.T.reshape(-1)
        directions = np.concatenate([self.directions, self.directions])
        crosswise = np.abs(dots(directions, self.axes[ends])) < np.sqrt(0.5)
        slots = 2 * ends + crosswise
        least = np.full(2 * count, np.inf)
        np.minimum.at(least, slots, np.concatenate([self.radii, self.radii]))
        return np.asarray(least[slots].reshape(2, -1).T)


def links_of(surface: Surface, pieces: Groups, smooth_rad: float) -> PieceLinks:
    """The smooth links among pieces; each pair of pieces once, however many edges they share."""
    ends = pieces.labels[surface.neighbours]
    along = surface.vertices[surface.edges[:, 1]] - surface.vertices[surface.edges[:, 0]]
    between = ends[:, 0] != ends[:, 1]
    spans = _spans(ends[between], along[between], len(pieces))
    bends = angles_between(pieces.normals[ends[:, 0]], pieces.normals[ends[:, 1]])
    smooth = between & (bends <= smooth_rad + surface.slacks[surface.neighbours].sum(axis=1))
    pairs, bend, direction = _gather(np.sort(ends[smooth], axis=1), bends[smooth], along[smooth])
    widths = np.column_stack([_widths(pieces.areas, spans, pairs[:, side], direction) for side in (0, 1)])
    radii = widths.mean(axis=1) / np.maximum(bend, 1e-9)
    return PieceLinks(pairs, direction, widths, radii, _axes(pairs, direction, radii, len(pieces)))


def _spans(ends: IntArray, along: Array, count: int) -> Array:
    """(pieces, 3, 3) [mm] sum over the boundary edges of each piece of e e^T / |e|.

    For a rectangle, u^T S u is twice its length along u, so that 2 area / (u^T S u) is its width.
    """
    size = np.maximum(lengths(along), 1e-300)
    spans = np.zeros((count, 3, 3))
    for i in range(3):
        for j in range(i, 3):
            weights = along[:, i] * along[:, j] / size
            total = sum(np.bincount(ends[:, side], weights, count) for side in (0, 1))
            spans[:, i, j] = spans[:, j, i] = total
    return spans


def _gather(pairs: IntArray, bends: Array, along: Array) -> tuple[IntArray, Array, Array]:
    """One row per pair of pieces, with the direction of its longest common edge."""
    size = lengths(along)
    keys = pairs[:, 0] * (int(pairs.max(initial=0)) + 1) + pairs[:, 1]
    order = order_of(keys)
    is_new = np.ones(len(pairs), dtype=np.bool_)
    is_new[1:] = keys[order][1:] != keys[order][:-1]
    number = np.cumsum(is_new) - 1
    heads = np.flatnonzero(is_new)
    longest = np.maximum.reduceat(size[order], heads) if len(heads) else size
    is_longest = size[order] == longest[number]
    chosen = np.empty(len(heads), dtype=np.int64)
    chosen[number[is_longest]] = order[is_longest]
    return pairs[chosen], bends[chosen], along[chosen] / np.maximum(size[chosen], 1e-300)[:, None]


def _widths(areas: Array, spans: Array, piece: IntArray, direction: Array) -> Array:
    along = np.einsum("ij,ijk,ik->i", direction, spans[piece], direction)
    width: Array = 2 * areas[piece] / np.maximum(along, 1e-300)
    return width


def _axes(pairs: IntArray, directions: Array, radii: Array, count: int) -> Array:
    """(pieces, 3) direction of the link with the least radius; 0 for a piece without links."""
    ends = pairs.T.reshape(-1)
    both = np.concatenate([radii, radii])
    least = np.full(count, np.inf)
    np.minimum.at(least, ends, both)
    is_tightest = both == least[ends]
    axes = np.zeros((count, 3))
    axes[ends[is_tightest]] = np.concatenate([directions, directions])[is_tightest]
    return axes
