"""Triangles gathered into flat pieces: whole planes, and the facets of rounds."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dryfit.base.arrays import Array, BoolArray, IntArray
from dryfit.calc.faces.surface import Surface, angles_between, connected_labels, dots, lengths, order_of

# A flat piece: vertices within this of its plane. Common practice, no source: a print shows no difference
# below the first; the second leaves room for vertices with noise of 0.01 mm standard deviation.
EVEN_DISTANCE_MM = 0.01
ROUGH_DISTANCE_MM = 0.05
# Even pieces are grown over edges with at most this bend, and lean by no more. What turns out not flat is
# taken apart again with the next: a chain of small bends can run on into a finely faceted round.
EVEN_ANGLES_DEG = (0.1, 0.02)
# Planes with noise: their small triangles lean by several degrees.
ROUGH_ANGLES_DEG = (2.0, 10.0)
# A rough piece is made of many small even ones. Where one of them has more than this share of it, it is a
# plane, and the rest the first facet of the round beside it: those two stay apart.
LARGEST_SHARE = 0.3


@dataclass(frozen=True, slots=True, eq=False)
class Groups:
    """Triangles of a surface gathered by label.

    labels     (m,) group of each triangle, counted from 0
    normals    (g, 3) area-weighted     centroids (g, 3) [mm]     areas (g,) [mm2]
    order, starts   triangles sorted by group: those of group i are order[starts[i]:starts[i + 1]]
    """

    labels: IntArray
    normals: Array
    centroids: Array
    areas: Array
    order: IntArray
    starts: IntArray

    def __len__(self) -> int:
        return len(self.areas)

    def triangles(self, group: int) -> IntArray:
        """Triangles of one group, as rows of the surface."""
        return self.order[self.starts[group] : self.starts[group + 1]]


def group(surface: Surface, triangles: IntArray, labels: IntArray) -> Groups:
    """Sums over the given triangles by label; labels (one per triangle) count from 0 without gaps."""
    count = int(labels.max(initial=-1)) + 1
    order = order_of(labels)
    starts = np.searchsorted(labels[order], np.arange(count + 1))
    if not count:
        return Groups(labels, np.zeros((0, 3)), np.zeros((0, 3)), np.zeros(0), order, starts)
    rows, heads = triangles[order], starts[:-1]
    weights = surface.areas[rows, None]
    areas = np.add.reduceat(weights[:, 0], heads)
    sums = np.add.reduceat(weights * surface.normals[rows], heads)
    return Groups(
        labels=labels,
        normals=sums / np.maximum(lengths(sums), 1e-300)[:, None],
        centroids=np.add.reduceat(weights * surface.centroids[rows], heads) / areas[:, None],
        areas=areas,
        order=order,
        starts=starts,
    )


def flat_pieces(surface: Surface) -> Groups:
    """Grow flat pieces over edges; a triangle that fits nowhere is a piece of its own."""
    angles = surface.bends - surface.slacks[surface.neighbours].sum(axis=1)
    labels = _even_labels(surface, angles)
    even = np.bincount(labels, surface.areas)
    even_of = labels
    for limit in np.radians(ROUGH_ANGLES_DEG):
        open_ = np.flatnonzero(even[even_of] < LARGEST_SHARE * surface.areas.sum())
        flat, grown = _grow_flat(surface, angles, open_, limit, ROUGH_DISTANCE_MM)
        largest = np.zeros(len(flat))
        np.maximum.at(largest, grown, even[even_of[open_]])
        total = np.bincount(grown, surface.areas[open_], len(flat))
        accepted = flat & (largest < LARGEST_SHARE * total)
        done = accepted[grown]
        labels = labels.copy()
        labels[open_[done]] = labels.max(initial=-1) + 1 + grown[done]
    return group(surface, np.arange(len(labels)), _without_gaps(labels))


def _even_labels(surface: Surface, angles: Array) -> IntArray:
    count = len(surface.corners)
    labels = np.full(count, -1, dtype=np.int64)
    given = 0
    for limit in np.radians(EVEN_ANGLES_DEG):
        open_ = np.flatnonzero(labels < 0)
        flat, grown = _grow_flat(surface, angles, open_, limit, EVEN_DISTANCE_MM)
        # A triangle alone is flat, but with larger bends it stays alone: it is given out at the end.
        flat &= np.bincount(grown, minlength=len(flat)) > 1
        done = flat[grown]
        labels[open_[done]] = given + grown[done]
        given += len(flat)
    rest = np.flatnonzero(labels < 0)
    labels[rest] = given + np.arange(len(rest))
    return _without_gaps(labels)


def _without_gaps(labels: IntArray) -> IntArray:
    used = np.zeros(int(labels.max(initial=-1)) + 1, dtype=np.int64)
    used[labels] = 1
    renumbered: IntArray = (np.cumsum(used) - 1)[labels]
    return renumbered


def _grow_flat(
    surface: Surface, angles: Array, open_: IntArray, limit_rad: float, distance_mm: float
) -> tuple[BoolArray, IntArray]:
    """Whether each group of the open triangles is flat (g,), and the group of each of them."""
    is_open = np.zeros(len(surface.corners), dtype=np.bool_)
    is_open[open_] = True
    place = np.cumsum(is_open) - 1
    links = surface.neighbours[(angles <= limit_rad) & is_open[surface.neighbours].all(axis=1)]
    grown = connected_labels(len(open_), place[links])
    return _is_flat(surface, open_, group(surface, open_, grown), limit_rad, distance_mm), grown


def _is_flat(
    surface: Surface, triangles: IntArray, groups: Groups, angle_rad: float, distance_mm: float
) -> BoolArray:
    """(g,) whether normals and vertices of each group agree with its plane."""
    own = groups.labels
    turned = angles_between(surface.normals[triangles], groups.normals[own])
    flat = np.ones(len(groups), dtype=np.bool_)
    flat[own[turned > angle_rad + surface.slacks[triangles]]] = False
    # The distances cost more: only those of groups that may still be flat, and that hold several triangles.
    rows = np.flatnonzero((flat & (np.diff(groups.starts) > 1))[own])
    own, normals = own[rows], groups.normals[own[rows]]
    levels = dots(groups.centroids, groups.normals)[own]
    for corner in surface.corners[triangles[rows]].T:
        distances = np.abs(dots(surface.vertices[corner], normals) - levels)
        flat[own[distances > distance_mm + 2 * surface.noise_mm]] = False
    return flat
