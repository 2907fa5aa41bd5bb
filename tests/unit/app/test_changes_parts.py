"""One shape before and after: round surfaces in other facets, and what facets do not explain."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh

from dryfit.app.changes_parts import compare_meshes
from dryfit.calc.revision import Bench
from dryfit.model.mesh import TriangleMesh


def tube(sections: int, radius_mm: float = 30.0, height_mm: float = 40.0) -> TriangleMesh:
    body = trimesh.creation.cylinder(radius_mm, height_mm, sections=sections)
    return TriangleMesh(np.array(body.vertices), np.array(body.faces, dtype=np.int64))


def test_a_round_body_in_other_facets_is_the_same_shape() -> None:
    """Chords of 64 and 90 facets stand off by up to r (1 - cos(pi / n)): 0.036 and 0.018 mm."""
    found = compare_meshes(tube(64), tube(90), Bench())
    assert found.kind == "other triangles"
    assert 0.02 < found.facets_mm < 0.037
    assert "um apart" in found.reason


def test_a_round_body_that_grew_is_not() -> None:
    found = compare_meshes(tube(64), tube(90, 30.2), Bench())
    assert found.kind == "changed"
    assert found.deviation is not None
    assert found.deviation.added_mm == pytest.approx(0.2, abs=0.04)


def test_a_face_that_moved_a_little_is_not_hidden_by_facets_beside_it() -> None:
    found = compare_meshes(tube(64), tube(90, 30.0, 40.1), Bench())
    assert found.kind == "changed"
    assert found.deviation is not None
    assert found.deviation.added_mm == pytest.approx(0.05, abs=0.02)


def test_a_smaller_change_than_any_printer_makes_is_none() -> None:
    found = compare_meshes(tube(64), tube(64, 30.0, 40.02), Bench())
    assert found.kind == "other triangles"
    assert found.facets_mm == pytest.approx(0.01, abs=1e-6)


def test_a_mesh_without_area_compares_with_nothing() -> None:
    flat = TriangleMesh(np.zeros((3, 3)), np.array([[0, 1, 2]]))
    found = compare_meshes(tube(8), flat, Bench())
    assert found.kind == "not compared"
