"""A general-purpose registration library on the same scan: it is given a near start, dryfit is given none."""

import numpy as np

from dryfit.base.rotation import rotation_from_vector
from dryfit.calc.scans import NominalSurface, RigidMotion, register_scan
from published.registry import check
from support.scans import bracket, miss_of, simulate_scan

SOURCE = "small-gicp on the registry"


def test_both_lay_the_scan_in_the_same_place() -> None:
    import small_gicp

    mesh = bracket()
    surface = NominalSurface(mesh)
    points, truth = simulate_scan(mesh, 12_000, 0.05, seed=6)
    ours = register_scan(surface, points)
    target, _, _ = surface.sample(40_000, 9)
    start = np.eye(4)
    start[:3, :3] = rotation_from_vector(np.array([0.02, -0.02, 0.02])) @ truth.rotation
    start[:3, 3] = truth.shift_mm + 0.5
    # About its own middle, so that the start is near there.
    middle = points.mean(axis=0)
    start[:3, 3] += truth.rotation @ middle - start[:3, :3] @ middle
    result = small_gicp.align(
        target, points, start, registration_type="PLANE_ICP", downsampling_resolution=0.7,
        max_correspondence_distance=4.0, num_threads=1, max_iterations=60,
    )  # fmt: skip
    their = np.asarray(result.T_target_source)
    theirs = RigidMotion(their[:3, :3], their[:3, 3])
    missed, they_missed = miss_of(ours.motion, truth, surface), miss_of(theirs, truth, surface)
    check(
        SOURCE,
        "largest distance of the two poses",
        0.0,
        miss_of(ours.motion, theirs, surface),
        0.15,
        seen=True,
        unit="mm",
    )
    check(SOURCE, "ours from the true pose", 0.0, missed, 0.02, seen=True, unit="mm")
    assert missed <= they_missed + 0.005
