"""Volume, area, centroid and inertia of tessellated bodies: closed forms, and two general-purpose libraries.

Closed forms of box, cylinder, cone, ball and torus (textbook; memory). Every mesh here has its vertices on
the true surface, so that it lies inside by a known share: a prism on the regular n-gon has the area ratio
sin(t) / t with t = 2 pi / n, and for the ball and the torus the lack is of second order in the steps.
Libraries: manifold3d 3.5 and trimesh 5.2 (their output was read).
"""

import math
from collections.abc import Callable

import manifold3d
import numpy as np
import pytest
import trimesh

from dryfit.base.rotation import rotation_from_euler
from dryfit.calc.mesh import measure_mesh
from dryfit.calc.weights import mass_properties
from dryfit.model.mesh import TriangleMesh
from published.registry import check

CLOSED_FORM = "Closed forms of box, cylinder, cone, ball and torus"
TURN = rotation_from_euler((25.0, -40.0, 65.0))
SHIFT = np.array([812.0, -345.0, 96.0])
N = 512
STEP = 2 * math.pi / N
NGON = math.sin(STEP) / STEP  # area of the regular n-gon over that of its circle
# Second moment of the regular n-gon over that of its circle, pi r^4 / 2 about the axis (memory).
NGON_MOMENT = NGON * (2 + math.cos(STEP)) / 3

Solid = manifold3d.Manifold


def torus() -> Solid:
    ring = manifold3d.CrossSection.circle(8.0, N // 4).translate((30.0, 0.0))
    return Solid.revolve(ring, N)


# name: solid, volume, axial moment about the centroid over the mass, transverse one, ratios of volume and of
# the axial moment of the mesh to those of the body, centroid height, allowed share
R, H = 15.0, 40.0
ROWS: dict[str, tuple[Callable[[], Solid], float, float, float, float, float]] = {
    "box": (lambda: Solid.cube((30, 30, 40)), 36000.0, 150.0, (900 + 1600) / 12, 20.0, 1e-12),
    "cylinder": (
        lambda: Solid.cylinder(H, R, R, N),
        math.pi * R**2 * H, R**2 / 2, (3 * R**2 + H**2) / 12, H / 2, STEP**2 / 6,
    ),
    "cone": (
        lambda: Solid.cylinder(H, R, 0.0, N),
        math.pi * R**2 * H / 3, 0.3 * R**2, 0.15 * R**2 + 0.0375 * H**2, H / 4, STEP**2 / 6,
    ),
    "ball": (
        lambda: Solid.sphere(R, N),
        4 / 3 * math.pi * R**3, 0.4 * R**2, 0.4 * R**2, 0.0, STEP**2,
    ),
    "torus": (
        torus,
        2 * math.pi**2 * 30 * 64, 900 + 0.75 * 64, 450 + 0.625 * 64, 0.0, 16 * STEP**2 / 6 + STEP**2 / 6,
    ),
}  # fmt: skip


def turned_mesh(solid: Solid) -> TriangleMesh:
    mesh = solid.to_mesh64()
    vertices = np.array(mesh.vert_properties)[:, :3] @ TURN.T + SHIFT
    return TriangleMesh(vertices, np.array(mesh.tri_verts, dtype=np.int64))


@pytest.mark.parametrize("name", ROWS)
def test_closed_forms(name: str) -> None:
    make, volume, axial, transverse, height, share = ROWS[name]
    mesh = turned_mesh(make())
    found = mass_properties(mesh, 1000.0)  # one kilogram per cubic centimetre: kg per 1,000 mm3
    measured = measure_mesh(mesh).volume_mm3
    check(
        CLOSED_FORM,
        f"volume of a {name}",
        volume,
        measured,
        1.001 * share * volume + 1e-6,
        seen=False,
        unit="mm3",
    )
    # The mesh lies inside the body, so it may only be less.
    assert measured <= volume * (1 + 1e-9)
    assert found.mass_g == pytest.approx(measured, rel=1e-12)
    middle = [15.0, 15.0, height] if name == "box" else [0.0, 0.0, height]
    off = float(np.linalg.norm(found.centre_mm - (TURN @ middle + SHIFT)))
    check(
        CLOSED_FORM,
        f"centroid of a {name}, distance",
        0.0,
        off,
        1e-9 + 0.01 * share * R,
        seen=False,
        unit="mm",
    )
    inertia = TURN.T @ found.inertia_kg_mm2 @ TURN
    mass_kg = volume * 1e-3
    for axis, arm in ((0, transverse), (1, transverse), (2, axial)):
        theirs = mass_kg * arm
        check(
            CLOSED_FORM, f"inertia of a {name} about {'xyz'[axis]}", theirs, float(inertia[axis, axis]),
            2 * share * theirs + 1e-6, seen=False, unit="kg mm2",
        )  # fmt: skip


def test_a_coarse_prism_lacks_what_its_polygon_lacks() -> None:
    """Exact for any n: volume ratio sin(t)/t, axial inertia ratio sin(t)/t (2 + cos t)/3."""
    for n in (6, 12, 40):
        step = 2 * math.pi / n
        mesh = turned_mesh(Solid.cylinder(H, R, R, n))
        found = mass_properties(mesh, 1.0)
        volume = math.pi * R**2 * H * math.sin(step) / step
        axial = 1e-6 * volume * R**2 / 2 * (2 + math.cos(step)) / 3
        check(CLOSED_FORM, f"volume of a prism of {n} sides", volume, measure_mesh(mesh).volume_mm3, 1e-7,
              seen=False, unit="mm3")  # fmt: skip
        ours = float((TURN.T @ found.inertia_kg_mm2 @ TURN)[2, 2])
        check(
            CLOSED_FORM,
            f"axial inertia of a prism of {n} sides",
            axial,
            ours,
            1e-9,
            seen=False,
            unit="kg mm2",
        )


@pytest.mark.parametrize("name", ROWS)
def test_two_libraries_agree(name: str) -> None:
    mesh = turned_mesh(ROWS[name][0]())
    measures, ours = measure_mesh(mesh), mass_properties(mesh, 1.0)
    solid = Solid(manifold3d.Mesh64(mesh.vertices.copy(), mesh.faces.astype(np.uint64)))
    other = trimesh.Trimesh(mesh.vertices, mesh.faces, process=False)
    size = measures.volume_mm3
    check("manifold3d 3.5", f"volume of a {name}", solid.volume(), size, 1e-9 * size, seen=True, unit="mm3")
    check("manifold3d 3.5", f"area of a {name}", solid.surface_area(), measures.area_mm2,
          1e-9 * measures.area_mm2, seen=True, unit="mm2")  # fmt: skip
    # trimesh sums about the origin, so it keeps fewer digits this far from it.
    check("trimesh 5.2", f"volume of a {name}", float(other.volume), size, 1e-8 * size, seen=True, unit="mm3")
    off = float(np.linalg.norm(other.center_mass - ours.centre_mm))
    check("trimesh 5.2", f"centroid of a {name}, distance", 0.0, off, 1e-6, seen=True, unit="mm")
    theirs = np.asarray(other.moment_inertia) * 1e-6  # density 1: volume in mm3 to kg at 1 g/cm3
    worst = float(np.abs(theirs - ours.inertia_kg_mm2).max())
    check("trimesh 5.2", f"inertia of a {name}, largest difference", 0.0, worst,
          1e-5 * float(np.abs(theirs).max()), seen=True, unit="kg mm2")  # fmt: skip
