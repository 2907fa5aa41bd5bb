"""Extents and sections against closed forms, and areas of sections against manifold3d."""

from __future__ import annotations

import numpy as np
import pytest
from bodies import Moved, box, flange
from manifold3d import Manifold, Mesh

from dryfit.base.errors import ComputationRefused
from dryfit.calc.faces import extent_along, section_extent, section_polygon
from dryfit.model.mesh import TriangleMesh
from support.shapes import revolved, torus


def test_extent_of_a_turned_box():
    moved = Moved(box((30, 20, 10)), 2)
    for along, wanted in (((1, 0, 0), 30), ((0, 1, 0), 20), ((3, 4, 0), (90 + 80) / 5)):
        extent = extent_along(moved.mesh, moved.direction(along))
        assert extent.length_mm == pytest.approx(wanted, abs=1e-4)
        span = (extent.high_point - extent.low_point) @ moved.direction(along)
        assert span == pytest.approx(extent.length_mm)


def test_vertices_without_triangle_do_not_count():
    mesh = box((2, 2, 2))
    stray = TriangleMesh(np.vstack([mesh.vertices, [99.0, 0, 0]]), mesh.faces)
    assert extent_along(stray, np.array([1.0, 0, 0])).length_mm == pytest.approx(2.0)


@pytest.mark.parametrize("height", [0.0, 2.5, 5.0])
def test_section_of_a_box_also_along_its_edges(height):
    section = section_polygon(box((30, 20, 10), 2), np.array([0, 0, height]), np.array([0, 0, 1.0]))
    assert section.is_closed
    assert section.area_mm2 == pytest.approx(600.0)
    assert section_extent(section, np.array([0.6, 0.8, 0.0])).length_mm == pytest.approx(18 + 16)


def test_section_of_a_torus_is_two_lines():
    section = section_polygon(torus(50, 5, 96, 48), np.zeros(3), np.array([0.0, 1.0, 0.0]))
    assert len(np.unique(section.loops)) == 2
    assert section.area_mm2 == pytest.approx(2 * 0.5 * 48 * 25 * np.sin(2 * np.pi / 48), rel=1e-9)
    assert section_extent(section, np.array([1.0, 0.0, 0.0])).length_mm == pytest.approx(110.0)


@pytest.mark.parametrize("height", [2.5, 7.0, 20.0, 40.0])
def test_area_against_a_general_purpose_library(height):
    mesh = flange(48)
    solid = Manifold(Mesh(mesh.vertices.astype(np.float32), mesh.faces.astype(np.uint32)))
    section = section_polygon(mesh, np.array([0, 0, height]), np.array([0, 0, 1.0]))
    assert section.area_mm2 == pytest.approx(solid.slice(height).area(), rel=1e-5)


def test_plane_that_misses_and_cut_through_a_hole():
    mesh = revolved([5, 5], [0, 10], 24)
    with pytest.raises(ComputationRefused):
        section_polygon(mesh, np.array([0, 0, 11.0]), np.array([0, 0, 1.0]))
    open_ = TriangleMesh(mesh.vertices, mesh.faces[2:])
    section = section_polygon(open_, np.array([0, 0, 5.0]), np.array([0, 0, 1.0]))
    assert not section.is_closed
    assert section.area_mm2 is None
