"""A scan registered and mapped: one million points against one million triangles.

The bar is 30 s on two cores, with less than 2 GB of memory. Beside it a general-purpose library aligns the same
clouds from a start that is nearly right, which is the easier half of the work.
"""

from __future__ import annotations

import numpy as np
import pytest

from dryfit.base.rotation import rotation_from_vector
from dryfit.calc.scans import NominalSurface, RigidMotion, deviate_points, map_deviations, register_scan
from dryfit.model.mesh import TriangleMesh


def wavy_plate(cells: int) -> TriangleMesh:
    """A closed plate of 400 x 250 mm with a top that no turn lays on itself; 4 cells^2 triangles and its rim."""
    x, y = (
        g.ravel()
        for g in np.meshgrid(np.linspace(0, 400, cells + 1), np.linspace(0, 250, cells + 1), indexing="ij")
    )
    rise = (
        20.0
        + 6.0 * np.sin(x / 55.0) * np.cos(y / 40.0)
        + 8.0 * np.exp(-((x - 90) ** 2 + (y - 60) ** 2) / 900.0)
    )
    top, bottom = np.column_stack([x, y, rise]), np.column_stack([x, y, np.zeros_like(x)])
    i, j = (g.ravel() for g in np.meshgrid(np.arange(cells), np.arange(cells), indexing="ij"))
    a = i * (cells + 1) + j
    b, c, d = a + 1, a + cells + 1, a + cells + 2
    flat = np.concatenate([np.column_stack([a, c, d]), np.column_stack([a, d, b])])
    rim = np.concatenate([np.arange(cells + 1) * (cells + 1), cells * (cells + 1) + np.arange(1, cells + 1)])
    back = np.concatenate([np.arange(cells - 1, -1, -1) * (cells + 1) + cells, np.arange(cells - 1, 0, -1)])
    loop = np.concatenate([rim, back])
    following, under = np.roll(loop, -1), len(top)
    wall = np.concatenate(
        [
            np.column_stack([loop, loop + under, following]),
            np.column_stack([following, loop + under, following + under]),
        ]
    )
    return TriangleMesh(np.concatenate([top, bottom]), np.concatenate([flat, flat[:, ::-1] + under, wall]))


def scanned(surface: NominalSurface, count: int) -> tuple[np.ndarray, RigidMotion]:
    """Points of the surface with 0.05 mm of noise and a tenth of outliers, anywhere; and the motion back."""
    draw = np.random.default_rng(3)
    points, _, _ = surface.sample(count - count // 10, seed=2)
    points = points + 0.05 * draw.normal(size=points.shape)
    away = surface.centre_mm + 600.0 * (draw.random((count // 10, 3)) - 0.5)
    turn, shift = rotation_from_vector(np.array([1.1, -0.4, 2.0])), np.array([800.0, -90.0, 300.0])
    together = draw.permutation(np.concatenate([points, away]))
    return together @ turn.T + shift, RigidMotion(turn.T, -turn.T @ shift)


@pytest.mark.parametrize(("count", "cells"), [(100_000, 160), (1_000_000, 500)])
def test_registered_and_mapped(benchmark, count, cells):
    mesh = wavy_plate(cells)
    points, truth = scanned(NominalSurface(mesh), count)

    def work():
        surface = NominalSurface(mesh)
        found = register_scan(surface, points)
        away = deviate_points(surface, points, found.motion, 5.0)
        return found, map_deviations(surface, away, found.information)

    found, mapped = benchmark.pedantic(work, rounds=1)
    off = found.motion.after(truth.inverse())
    assert np.abs(off.rotation - np.eye(3)).max() < 2e-5
    assert mapped.is_seen.mean() > 0.98
    assert not found.is_ambiguous


@pytest.mark.parametrize(("count", "cells"), [(100_000, 160), (1_000_000, 500)])
def test_general_purpose_library_from_a_near_start(benchmark, count, cells):
    small_gicp = pytest.importorskip("small_gicp")
    surface = NominalSurface(wavy_plate(cells))
    points, truth = scanned(surface, count)
    target, _, _ = surface.sample(count, seed=8)
    start = np.eye(4)
    start[:3, :3] = rotation_from_vector(np.array([0.01, 0.01, -0.01])) @ truth.rotation
    start[:3, 3] = truth.shift_mm + 1.0

    def work():
        return small_gicp.align(
            target, points, start, registration_type="PLANE_ICP", downsampling_resolution=2.0,
            max_correspondence_distance=8.0, num_threads=2,
        )  # fmt: skip

    result = benchmark.pedantic(work, rounds=1)
    assert result.converged
