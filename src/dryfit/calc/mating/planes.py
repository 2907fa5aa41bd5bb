"""Triangles of one part gathered into flat pieces."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dryfit.base.arrays import Array, BoolArray, IntArray
from dryfit.calc.mating.surface import Surface, dots, lengths

# A flat piece: normals within this of its area-weighted normal, vertices within this of its plane.
# Common practice, no source: a print shows no difference below either.
PLANE_ANGLE_DEG = 0.5
PLANE_DISTANCE_MM = 0.01
# Pieces are grown over edges with at most this bend. A chain of small bends can run from a plane into a
# finely faceted curve; what turns out not flat is taken apart again with the next, smaller one. The first
# is for planes that wave within the distance, whose small triangles lean by more than the angle.
LINK_ANGLES_DEG = (2.0, PLANE_ANGLE_DEG, 0.1, 0.02)


@dataclass(frozen=True, slots=True, eq=False)
class FlatPieces:
    """Edge-connected flat pieces of a surface.

    labels     (m,) piece of each triangle
    normals    (p, 3) area-weighted     centroids (p, 3) [mm]
    areas      (p,) [mm2]               lower, upper (p, 3) [mm]
    order, starts   triangles sorted by piece: those of piece i are order[starts[i]:starts[i + 1]]
    """

    labels: IntArray
    normals: Array
    centroids: Array
    areas: Array
    lower: Array
    upper: Array
    order: IntArray
    starts: IntArray

    def triangles(self, piece: int) -> IntArray:
        """Triangles of one piece."""
        return self.order[self.starts[piece] : self.starts[piece + 1]]


def bend_angles(surface: Surface) -> Array:
    """(k,) [rad] angle between the normals of each pair of neighbours; exact for small angles."""
    first, second = surface.neighbours.T
    chords = lengths(surface.normals[first] - surface.normals[second])
    angles: Array = 2 * np.arcsin(np.minimum(chords / 2, 1.0))
    return angles


def connected_labels(count: int, links: IntArray) -> IntArray:
    """(count,) component of each node, links (k, 2) joining nodes."""
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import connected_components

    ones = np.ones(len(links), dtype=np.int8)
    graph = coo_matrix((ones, (links[:, 0], links[:, 1])), shape=(count, count))
    labels: IntArray = connected_components(graph, directed=False)[1].astype(np.int64)
    return labels


def flat_pieces(surface: Surface) -> FlatPieces:
    """Grow flat pieces over edges; a triangle that fits nowhere is a piece of its own."""
    count = len(surface.faces)
    slack = surface.slacks[surface.neighbours].sum(axis=1)
    angles = bend_angles(surface) - slack
    labels = np.full(count, -1, dtype=np.int64)
    for limit in np.radians(LINK_ANGLES_DEG):
        open_ = np.flatnonzero(labels < 0)
        if not len(open_):
            break
        place = np.cumsum(labels < 0) - 1
        links = surface.neighbours[(angles <= limit) & (labels[surface.neighbours] < 0).all(axis=1)]
        grown = connected_labels(len(open_), place[links])
        pieces = _pieces(surface, open_, grown)
        flat = _is_flat(surface, open_, pieces, max(limit, np.radians(PLANE_ANGLE_DEG)))
        if flat.all() and len(open_) == count:
            return pieces
        done = flat[grown]
        labels[open_[done]] = labels.max(initial=-1) + 1 + grown[done]
    rest = np.flatnonzero(labels < 0)
    labels[rest] = labels.max(initial=-1) + 1 + np.arange(len(rest))
    _, labels = np.unique(labels, return_inverse=True)
    return _pieces(surface, np.arange(count), labels.astype(np.int64))


def _pieces(surface: Surface, triangles: IntArray, labels: IntArray) -> FlatPieces:
    """Pieces of the given triangles; labels count from 0 without gaps and index into them."""
    count = int(labels.max(initial=-1)) + 1
    order = np.argsort(labels, kind="stable")
    starts = np.searchsorted(labels[order], np.arange(count + 1))
    rows, heads = triangles[order], starts[:-1]
    weights = surface.areas[rows, None]
    areas = np.add.reduceat(weights[:, 0], heads) if count else np.zeros(0)
    if not count:
        empty = np.zeros((0, 3))
        return FlatPieces(labels, empty, empty, areas, empty, empty, order, starts)
    sums = np.add.reduceat(weights * surface.normals[rows], heads)
    return FlatPieces(
        labels=labels,
        normals=sums / np.maximum(lengths(sums), 1e-300)[:, None],
        centroids=np.add.reduceat(weights * surface.centroids[rows], heads) / areas[:, None],
        areas=areas,
        lower=np.minimum.reduceat(surface.lower[rows], heads),
        upper=np.maximum.reduceat(surface.upper[rows], heads),
        order=order,
        starts=starts,
    )


def _is_flat(surface: Surface, triangles: IntArray, pieces: FlatPieces, angle_rad: float) -> BoolArray:
    """(p,) whether normals and vertices of each piece agree with its plane."""
    own, normals = pieces.labels, pieces.normals[pieces.labels]
    chords = lengths(surface.normals[triangles] - normals)
    bad = chords > angle_rad + surface.slacks[triangles]
    levels = dots(pieces.centroids, pieces.normals)[own]
    for corner in surface.faces[triangles].T:
        distances = np.abs(dots(surface.vertices[corner], normals) - levels)
        bad |= distances > PLANE_DISTANCE_MM + 2 * surface.noise_mm
    flat = np.ones(len(pieces.areas), dtype=np.bool_)
    flat[own[bad]] = False
    return flat
