"""Closed meshes of plain bodies."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from dryfit.base.arrays import Array
from dryfit.model.mesh import TriangleMesh

# Corners are numbered by bits: 1 for the high x, 2 for the high y, 4 for the high z.
_BOX_QUADS = ((0, 2, 3, 1), (4, 5, 7, 6), (0, 1, 5, 4), (2, 6, 7, 3), (0, 4, 6, 2), (1, 3, 7, 5))


def _triangles(quads: Sequence[tuple[int, int, int, int]]) -> list[tuple[int, int, int]]:
    return [half for a, b, c, d in quads for half in ((a, b, c), (a, c, d))]


def box_mesh(low: Sequence[float], high: Sequence[float]) -> TriangleMesh:
    """A box between two opposite corners [mm]."""
    ends = np.array([low, high], dtype=np.float64)
    corners = np.array([[ends[(k >> axis) & 1, axis] for axis in range(3)] for k in range(8)])
    return TriangleMesh(corners, np.array(_triangles(_BOX_QUADS)))


def ring_segment_mesh(
    inner_mm: float, outer_mm: float, height_mm: float, start_deg: float, sweep_deg: float, chords: int = 20
) -> TriangleMesh:
    """A segment of a flat ring about the vertical, centred on z = 0, its arcs broken into chords."""
    angle = np.radians(start_deg + np.linspace(0.0, sweep_deg, chords + 1))
    plan = [radius * np.column_stack([np.cos(angle), np.sin(angle)]) for radius in (inner_mm, outer_mm)]
    flat = np.vstack(plan)
    half = np.full(len(flat), 0.5 * height_mm)
    vertices = np.vstack([np.column_stack([flat, -half]), np.column_stack([flat, half])])
    n = chords + 1
    quads = [(0, n, 3 * n, 2 * n), (chords, 2 * n + chords, 3 * n + chords, n + chords)]
    for k in range(chords):
        quads += [
            (k, k + 1, n + k + 1, n + k),
            (2 * n + k, 3 * n + k, 3 * n + k + 1, 2 * n + k + 1),
            (k, 2 * n + k, 2 * n + k + 1, k + 1),
            (n + k, n + k + 1, 3 * n + k + 1, 3 * n + k),
        ]
    return TriangleMesh(vertices, np.array(_triangles(quads)))


def moved(mesh: TriangleMesh, rotation: Array, shift_mm: Array) -> TriangleMesh:
    """The mesh turned and then shifted."""
    return TriangleMesh(mesh.vertices @ rotation.T + shift_mm, mesh.faces, mesh.name)
