"""A scan of a part that printed too small or leaning: nothing slides, and the best fit is that of least squares.

A bar of length L that shrank by e, laid on its model by least squares, stands back by e L / 2 at each end: the ends are
alike, and weigh alike. Points that lie off by more than the scanner scatters are of the part all the same.
"""

import math

import manifold3d
import numpy as np

from dryfit.base.arrays import Array
from dryfit.base.rotation import rotation_from_vector
from dryfit.calc.errormodel import machine_gain
from dryfit.calc.scans import (
    NominalSurface,
    Registration,
    deviate_points,
    fit_rigid,
    map_deviations,
    register_scan,
)
from dryfit.model.mesh import TriangleMesh
from published.registry import check
from support.scans import box, mesh_of

SOURCE = "Bar that shrank, laid on its model by least squares, closed form"
LENGTH, SHRINKAGE, NOISE_MM = 500.0, 0.005, 0.03


def bar() -> TriangleMesh:
    """An angle of unequal arms along z, of which no turn is the same; its ends alone look along it."""
    corners = [(-20.0, -10.0), (20.0, -10.0), (20.0, 4.0), (-6.0, 4.0), (-6.0, 12.0), (-20.0, 12.0)]
    body = manifold3d.Manifold.extrude(manifold3d.CrossSection([corners]), LENGTH)
    return mesh_of(body.translate((0.0, 0.0, -0.5 * LENGTH)))


def arc() -> TriangleMesh:
    """A sector of 50 degrees of a square ring about z; it would slide along itself but for its ends."""
    profile = manifold3d.CrossSection([[(280.0, -15.0), (320.0, -15.0), (320.0, 15.0), (280.0, 15.0)]])
    body = manifold3d.Manifold.revolve(profile, 360, 50.0)
    return mesh_of(body - box((18, 12, 40), (300.0, 40.0, 20.0)))


def scanned(mesh: TriangleMesh, gain: Array, seed: int, outliers: float) -> tuple[Array, Array, Array]:
    """Points of the part as printed in another position; the same as modelled, and as printed."""
    draw = np.random.default_rng(seed)
    points, _, _ = NominalSurface(mesh).sample(12_000, seed)
    middle = points.mean(axis=0)
    printed = (points - middle) @ gain.T + middle
    noisy = printed + NOISE_MM * draw.normal(size=printed.shape)
    dust = draw.uniform(noisy.min(axis=0), noisy.max(axis=0), (int(outliers * len(noisy)), 3))
    turn = rotation_from_vector(np.array([0.7, -1.1, 0.4]))
    return np.concatenate([noisy, dust]) @ turn.T + [90.0, -40.0, 15.0], points, printed


def offset(mesh: TriangleMesh, scan: Array, registration: Registration, normal: Array) -> float:
    """Mean deviation of the faces that look along a normal, farthest out."""
    surface = NominalSurface(mesh)
    found = deviate_points(surface, scan, registration.motion, 8.0)
    mapped = map_deviations(surface, found, registration.information)
    height = mapped.points @ normal
    facing = mapped.is_seen & (mapped.normals @ normal > 0.99) & (height > height.max() - 0.01)
    return float(np.median(mapped.deviation_mm[facing]))


def test_a_bar_that_shrank_stands_back_alike_at_both_ends() -> None:
    mesh = bar()
    scan, _, _ = scanned(mesh, (1.0 - SHRINKAGE) * np.eye(3), 3, 0.05)
    registration = register_scan(NominalSurface(mesh), scan)
    assert not registration.is_ambiguous
    expected = -0.5 * SHRINKAGE * LENGTH
    for sign in (-1.0, 1.0):
        ours = offset(mesh, scan, registration, np.array([0.0, 0.0, sign]))
        check(SOURCE, f"end {sign:+g} of a bar", expected, ours, 0.04, seen=False, unit="mm")
    check(SOURCE, "size of the scan", 1.0 - SHRINKAGE, registration.information.scale, 3e-4, seen=False)
    check(SOURCE, "scatter of the scanner", NOISE_MM, registration.scatter_mm, 0.004, seen=False, unit="mm")


def test_an_arc_that_leans_and_shrank_does_not_slide_along_itself() -> None:
    """Held against the rigid fit of the very points, which is checked against scipy elsewhere."""
    mesh = arc()
    figures = np.array([-0.005, -0.004, 0.0, 0.3, 0.5, 0.0])
    for seed in (3, 4):
        scan, modelled, printed = scanned(mesh, machine_gain(figures), seed, 0.02)
        registration = register_scan(NominalSurface(mesh), scan)
        assert not registration.is_ambiguous
        truth = fit_rigid(printed, modelled).motion
        laid = registration.motion.apply(scan[: len(printed)])
        apart = float(np.linalg.norm(laid - truth.apply(printed), axis=1).max())
        # Points to planes and points to points weigh a strained body a little otherwise.
        check(
            "Umeyama, IEEE PAMI 13 (1991) 376 (memory), on the very points",
            f"largest distance of an arc as laid, draw {seed}",
            0.0,
            apart,
            0.9,
            seen=False,
            unit="mm",
        )


def test_what_is_not_strained_is_left_as_it_was() -> None:
    mesh = bar()
    scan, _, printed = scanned(mesh, np.eye(3), 5, 0.05)
    registration = register_scan(NominalSurface(mesh), scan)
    laid = registration.motion.apply(scan[: len(printed)])
    assert float(np.linalg.norm(laid - printed, axis=1).mean()) < 2.0 * NOISE_MM
    assert math.isclose(registration.information.scale, 1.0, abs_tol=3e-4)
