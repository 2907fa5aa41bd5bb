"""Search for mating faces: a ring of segments of 20,000 triangles each, every one touching two others.

The bar is 20 s for 200 parts on one core, with less than 2 GB of memory.
"""

from __future__ import annotations

import numpy as np
import pytest

from dryfit.calc.mating import find_matings
from dryfit.model.mesh import TriangleMesh
from dryfit.model.project import Search

CELLS = 41  # 20,172 triangles a part


def grid_faces(rows: int, columns: int, start: int) -> np.ndarray:
    """Two triangles per cell of a grid of (rows + 1) x (columns + 1) vertices."""
    i, j = np.meshgrid(np.arange(rows), np.arange(columns), indexing="ij")
    a = (start + i * (columns + 1) + j).ravel()
    b, c, d = a + 1, a + columns + 1, a + columns + 2
    return np.concatenate([np.column_stack([a, c, d]), np.column_stack([a, d, b])])


def cube(cells: int) -> tuple[np.ndarray, np.ndarray]:
    """Vertices in -1..1 and 12 x cells x cells triangles, each side with vertices of its own as in STL."""
    along = np.linspace(-1.0, 1.0, cells + 1)
    u, v = (grid.ravel() for grid in np.meshgrid(along, along, indexing="ij"))
    vertices, faces = [], []
    for axis in range(3):
        for side in (-1.0, 1.0):
            points = np.empty((len(u), 3))
            points[:, axis], points[:, (axis + 1) % 3], points[:, (axis + 2) % 3] = side, u, v
            grid = grid_faces(cells, cells, len(u) * len(vertices))
            vertices.append(points)
            faces.append(grid if side > 0 else grid[:, ::-1])
    return np.concatenate(vertices), np.concatenate(faces)


def single_precision(points: np.ndarray, faces: np.ndarray) -> TriangleMesh:
    return TriangleMesh(points.astype(np.float32).astype(np.float64), faces)


def ring_segment(number: int, count: int) -> TriangleMesh:
    """A cube bent into a segment r 560..600, 40 tall."""
    points, faces = cube(CELLS)
    radius, height = 580.0 + 20.0 * points[:, 0], 20.0 * points[:, 2]
    angle = 2 * np.pi / count * (number + (points[:, 1] + 1) / 2)
    bent = np.column_stack([radius * np.cos(angle), radius * np.sin(angle), height])
    return single_precision(bent, faces)


def block(i: int, j: int) -> TriangleMesh:
    """A box of 50 x 50 x 50 at its place in a grid of boxes."""
    points, faces = cube(CELLS)
    return single_precision(25.0 * points + 50.0 * np.array([i, j, 0]), faces)


@pytest.mark.parametrize("count", [50, 200])
def test_ring_of_segments(benchmark, count):
    parts = [(f"ring-{k}", ring_segment(k, count)) for k in range(count)]
    assert len(parts[0][1].faces) > 20_000
    report = benchmark.pedantic(find_matings, args=(parts, Search()), rounds=1)
    assert len(report.matings) == count
    assert report.not_detected == ()
    assert all(m.area_mm2 == pytest.approx(1600, rel=1e-4) for m in report.matings)
    assert all(len(m.faces.normals) == 4 for m in report.matings)


@pytest.mark.parametrize("count", [49, 196])
def test_grid_of_boxes(benchmark, count):
    side = round(count**0.5)
    parts = [(f"box-{i}-{j}", block(i, j)) for i in range(side) for j in range(side)]
    report = benchmark.pedantic(find_matings, args=(parts, Search()), rounds=1)
    assert len(report.matings) == 2 * side * (side - 1)
    assert report.not_detected == ()
