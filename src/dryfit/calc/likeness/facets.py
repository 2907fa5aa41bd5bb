"""How far the facets of a round surface stand from it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from dryfit.base.arrays import Array, IntArray, cross

if TYPE_CHECKING:
    from dryfit.calc.likeness.shape import Shape

# An edge that turns by more is meant as an edge; one that turns by less joins halves of one facet.
_SHARP_DEG, _FLAT_DEG = 35.0, 0.05
_ON_EDGE = 1e-6  # share of a corner in a point below which the point lies on the edge opposite


def chord_errors(shape: Shape) -> Array:
    """Distance (m,) [mm] by which the middle of each triangle may stand from a round surface.

    Across an edge that turns by an angle t between triangles of heights h and g the curvature is
    2 t / (h + g), and a facet of width w stands off by curvature w^2 / 8 (sagitta of an arc; memory).
    w is the lesser height, so that a wide plane beside a chamfer counts as plane; bends in several
    directions add. The vertices are taken to lie on the true surface.
    """
    faces = shape.mesh.faces
    first, second, length = _shared_edges(shape)
    cosine = np.einsum("ij,ij->i", shape.normals[first], shape.normals[second]).clip(-1.0, 1.0)
    angle = np.arccos(cosine)
    corners = shape.mesh.vertices[faces]
    normals = cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    areas = np.sqrt((normals**2).sum(axis=1))
    height, other = areas[first] / length, areas[second] / length  # areas are of the parallelogram
    is_smooth = (angle < np.radians(_SHARP_DEG)) & (angle > np.radians(_FLAT_DEG))
    width = np.minimum(height, other)
    sagitta = np.where(is_smooth, 2.0 * angle / np.maximum(height + other, 1e-300) * width**2 / 8.0, 0.0)
    errors: Array = np.zeros(len(faces))
    for triangle in (first, second):
        errors += np.bincount(triangle, weights=sagitta, minlength=len(faces))
    is_flat = angle <= np.radians(_FLAT_DEG)
    # A facet that another body cuts short stands off as far as its whole neighbour: it takes from those
    # across a smooth edge that are as wide or wider; halves of one facet share what they have.
    for take, give in ((first, second), (second, first)):
        narrower = is_smooth & (areas[take] / length <= 1.01 * areas[give] / length)
        errors = _take_over(errors, take[narrower], give[narrower])
    errors = _take_over(errors, first[is_flat], second[is_flat])
    return _take_over(errors, second[is_flat], first[is_flat])


def _take_over(errors: Array, takers: IntArray, givers: IntArray) -> Array:
    taken = errors.copy()
    np.maximum.at(taken, takers, errors[givers])
    return taken


def chord_errors_at(shape: Shape, triangles: IntArray, points: Array) -> Array:
    """Chord error (k,) [mm] at points (k, 3) of the surface, each in its triangle (k,).

    Inside a triangle it is the triangle's own; on an edge or a corner the greatest of those that meet
    there, for where a round meets a plane the rim belongs to both.
    """
    errors, at_vertex = shape.chord_errors_mm
    chosen = shape.mesh.faces[triangles]
    a, b, c = (shape.mesh.vertices[chosen[:, k]] for k in range(3))
    u, v, w = b - a, c - a, points - a
    normal = cross(u, v)
    square = np.maximum((normal**2).sum(axis=1), 1e-300)
    second = np.einsum("ij,ij->i", cross(w, v), normal) / square
    third = np.einsum("ij,ij->i", cross(u, w), normal) / square
    shares = np.stack([1.0 - second - third, second, third], axis=1)
    # The corners that a point on an edge hangs on are those with a share in it.
    held = np.where(shares > _ON_EDGE, at_vertex[chosen], np.inf).min(axis=1)
    is_inside = (shares > _ON_EDGE).all(axis=1)
    at: Array = np.where(is_inside | ~np.isfinite(held), errors[triangles], held)
    return at


def _shared_edges(shape: Shape) -> tuple[IntArray, IntArray, Array]:
    """Pairs of triangles that share an edge of two, and its length."""
    faces = shape.mesh.faces
    tails, heads = faces.ravel(), faces[:, [1, 2, 0]].ravel()
    low, high = np.minimum(tails, heads), np.maximum(tails, heads)
    keys = low * np.int64(len(shape.mesh.vertices)) + high
    order = np.argsort(keys, kind="stable")
    keys = keys[order]
    pair = np.flatnonzero(keys[1:] == keys[:-1])
    ends = shape.mesh.vertices[low[order[pair]]] - shape.mesh.vertices[high[order[pair]]]
    length = np.sqrt((ends**2).sum(axis=1))
    keep = length > 0
    return order[pair][keep] // 3, order[pair + 1][keep] // 3, length[keep]
