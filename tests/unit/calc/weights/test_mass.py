"""Masses against closed forms (memory: textbook moments of inertia of a box)."""

import numpy as np
import pytest

from dryfit.base.errors import ComputationRefused
from dryfit.base.rotation import rotation_from_euler
from dryfit.calc.weights import combine_masses, mass_properties, printed_mass, printed_share
from dryfit.model.mesh import TriangleMesh

CORNERS = np.array([[x, y, z] for x in (0, 1) for y in (0, 1) for z in (0, 1)], dtype=float)
FACES = np.array(
    [[0, 1, 3], [0, 3, 2], [4, 6, 7], [4, 7, 5], [0, 4, 5], [0, 5, 1],
     [2, 3, 7], [2, 7, 6], [0, 2, 6], [0, 6, 4], [1, 5, 7], [1, 7, 3]]
)  # fmt: skip


def box(low: tuple[float, float, float], size: tuple[float, float, float]) -> TriangleMesh:
    return TriangleMesh(CORNERS * size + low, FACES)


def inertia_of_box(mass_g: float, size: tuple[float, float, float]) -> np.ndarray:
    square = np.square(size)
    return np.diag(mass_g * 1e-3 / 12.0 * (square.sum() - square))


def test_a_box_far_from_the_origin() -> None:
    size = (40.0, 30.0, 20.0)
    found = mass_properties(box((1e5, -2e5, 5.0), size), 1.24)
    assert found.mass_g == pytest.approx(24.0 * 1.24, rel=1e-12)
    assert found.centre_mm == pytest.approx([1e5 + 20, -2e5 + 15, 15.0], abs=1e-9)
    assert np.allclose(found.inertia_kg_mm2, inertia_of_box(24.0 * 1.24, size), rtol=1e-9, atol=1e-9)


def test_a_turned_box_has_turned_inertia() -> None:
    turn = rotation_from_euler((20.0, 35.0, 50.0))
    plain = box((3, 4, 5), (40, 30, 20))
    found = mass_properties(TriangleMesh(plain.vertices @ turn.T, plain.faces), 1.0)
    assert np.allclose(found.inertia_kg_mm2, turn @ inertia_of_box(24.0, (40, 30, 20)) @ turn.T, atol=1e-10)


def test_two_halves_make_the_whole() -> None:
    halves = [mass_properties(box((x, 0, 0), (20, 30, 20)), 1.1) for x in (0.0, 20.0)]
    whole, found = mass_properties(box((0, 0, 0), (40, 30, 20)), 1.1), combine_masses(halves)
    assert found.mass_g == pytest.approx(whole.mass_g)
    assert np.allclose(found.centre_mm, whole.centre_mm)
    assert np.allclose(found.inertia_kg_mm2, whole.inertia_kg_mm2)


def test_meshes_without_volume_are_refused() -> None:
    plain = box((0, 0, 0), (40, 30, 20))
    with pytest.raises(ComputationRefused):
        mass_properties(TriangleMesh(plain.vertices, plain.faces[:, ::-1]), 1.0)
    with pytest.raises(ValueError, match="without mass"):
        combine_masses([])


def test_printed_mass_of_a_plate() -> None:
    """A plate 100 x 100 x 10 with 1 mm shell at 20 %: area 24,000 mm2, shell 24 cm3 by area times shell."""
    assert printed_mass(1e5, 24e3, 1.0, 1.0, 0.2) == pytest.approx(24.0 + 0.2 * 76.0)
    # The true shell is 100*100*10 - 98*98*8 = 23,168 mm3: the formula is heavy by the twelve edges.
    assert printed_share(1e5, 24e3, 1.0, 0.0) == pytest.approx(0.23168, abs=0.0084)


def test_a_shell_that_meets_itself_is_solid() -> None:
    assert printed_share(1e5, 24e3, 5.0, 0.1) == 1.0
    assert printed_share(1e5, 24e3, 0.0, 0.1) == pytest.approx(0.1)


def test_impossible_prints_are_refused() -> None:
    with pytest.raises(ComputationRefused):
        printed_share(-1.0, 10.0, 1.0, 0.2)
    with pytest.raises(ValueError, match="infill"):
        printed_share(1.0, 10.0, 1.0, 1.2)


def test_centre_of_a_tetrahedron_is_the_mean_of_its_corners() -> None:
    corners = np.array([[3.0, 1, 2], [9, 2, 2], [4, 8, 1], [5, 3, 11]])
    found = mass_properties(
        TriangleMesh(corners, np.array([[0, 2, 1], [0, 1, 3], [1, 2, 3], [0, 3, 2]])), 1.0
    )
    assert found.centre_mm == pytest.approx(corners.mean(axis=0))
    volume = np.linalg.det(corners[1:] - corners[0]) / 6.0
    assert found.mass_g == pytest.approx(volume * 1e-3)
