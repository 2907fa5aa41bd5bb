"""Mass, centre and inertia of closed meshes, by integrals over their surface."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from dryfit.base.arrays import Array, bounds_of, corners_of, cross, locked
from dryfit.base.errors import ComputationRefused
from dryfit.model.mesh import TriangleMesh

_KG_PER_G = 1e-3
_CM3_PER_MM3 = 1e-3


@dataclass(frozen=True, slots=True, eq=False)
class MassProperties:
    """A body of uniform density.

    mass_g
    centre_mm        (3,) [mm] centre of gravity
    inertia_kg_mm2   (3, 3) about the centre, axes of the mesh: the diagonal resists turning about x, y
                     and z; off the diagonal are the negative products of inertia
    """

    mass_g: float
    centre_mm: Array
    inertia_kg_mm2: Array

    def __post_init__(self) -> None:
        object.__setattr__(self, "centre_mm", locked(self.centre_mm, (3,), "centre_mm"))
        object.__setattr__(self, "inertia_kg_mm2", locked(self.inertia_kg_mm2, (3, 3), "inertia_kg_mm2"))


def mass_properties(mesh: TriangleMesh, density_g_per_cm3: float) -> MassProperties:
    """Mass, centre and inertia of a closed, consistently oriented mesh that is filled evenly.

    Raises ComputationRefused where the mesh encloses no positive volume; whether it is closed is for the
    caller to know, as the integrals do not show it.
    Volume integrals as sums of tetrahedra from the middle of the mesh: for a tetrahedron (0, a, b, c) of
    volume V the mean of x x^T is (s s^T + a a^T + b b^T + c c^T) / 20 with s = a + b + c (memory;
    checked against closed forms and a mesh library in the tests).
    """
    low, high = bounds_of(mesh.vertices)
    middle = 0.5 * (low + high)
    a, b, c = corners_of(mesh.vertices - middle, mesh.faces)
    volumes = np.einsum("ij,ij->i", a, cross(b, c)) / 6.0
    volume = float(volumes.sum())
    size = float((high - low).max())
    if not volume > 1e-12 * size**3:
        raise ComputationRefused(
            "the mesh encloses no positive volume, so it has no mass",
            mesh.name or "mesh",
            "close it and turn it outside out",
        )
    s = a + b + c
    centre = (volumes @ s) / (4.0 * volume)
    second = sum((x * volumes[:, None]).T @ x for x in (s, a, b, c)) / 20.0
    central = second - volume * np.outer(centre, centre)
    mass_g = volume * _CM3_PER_MM3 * density_g_per_cm3
    spread = central * (mass_g / volume * _KG_PER_G)
    return MassProperties(mass_g, middle + centre, np.trace(spread) * np.eye(3) - spread)


def combine_masses(bodies: Sequence[MassProperties]) -> MassProperties:
    """Several bodies as one, in their common axes, by the parallel axis theorem.

    Raises ValueError for none, or where the masses add to nothing.
    """
    total = sum(body.mass_g for body in bodies)
    if not total > 0:
        raise ValueError("bodies without mass have no centre")
    centre = sum(body.mass_g * body.centre_mm for body in bodies) / total
    inertia = np.zeros((3, 3))
    for body in bodies:
        off = body.centre_mm - centre
        moved = (off @ off) * np.eye(3) - np.outer(off, off)
        inertia += body.inertia_kg_mm2 + body.mass_g * _KG_PER_G * moved
    return MassProperties(total, np.asarray(centre), inertia)
