"""The rails of the observatory lie on the crown and dip nowhere into it, by a general-purpose solid library."""

from __future__ import annotations

import manifold3d
import numpy as np
import pytest

from dryfit.app import demo_observatory_sizes as sizes
from dryfit.app.demo_observatory import observatory_meshes
from dryfit.model.mesh import TriangleMesh

MESHES = {mesh.name: mesh for mesh in observatory_meshes()}


def solid(mesh: TriangleMesh, shift: tuple[float, float, float] = (0.0, 0.0, 0.0)) -> manifold3d.Manifold:
    corners = (mesh.vertices + np.array(shift)).astype(np.float64)
    built = manifold3d.Manifold(manifold3d.Mesh64(corners, mesh.faces.astype(np.uint64)))
    assert built.status() == manifold3d.Error.NoError
    return built


@pytest.mark.parametrize("side", [1.0, -1.0])
def test_a_rail_takes_nothing_from_the_crown(side: float) -> None:
    rail = solid(MESHES["rail"], (0.0, side * sizes.RAIL_OFFSET, 0.0))
    assert (rail ^ solid(MESHES["crown"])).volume() == pytest.approx(0.0, abs=1e-6)


def test_its_seat_is_level_with_the_top_of_the_crown() -> None:
    x, _, z = MESHES["rail"].vertices.T
    under = (x > sizes.RAIL_TIP - 1e-9) & (x < sizes.RAIL_TIP + sizes.SEAT_LENGTH + 1e-9) & (z < 545.0)
    assert z[under] == pytest.approx(sizes.BY_THE_GUIDE.crown_top)
    assert under.sum() == 4  # of a seat of four corners
