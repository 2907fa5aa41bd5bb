"""Cutting a mesh at a height: the same surface, closed as before, and no face across."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from dryfit.calc.compensate import cut_at_height
from dryfit.calc.mesh import measure_mesh
from dryfit.model.mesh import TriangleMesh
from support.mesh_files import box
from support.shapes import torus


@settings(max_examples=50, deadline=None)
@given(st.floats(-30.0, 30.0), st.tuples(*[st.floats(-3.0, 3.0)] * 3))
def test_a_cut_changes_neither_volume_nor_area_nor_closedness(height, turn):
    body = torus(30.0, 10.0, 17, 9)
    vertices = body.vertices @ Rotation.from_rotvec(turn).as_matrix().T
    cut, faces = cut_at_height(vertices, body.faces, height)
    before, after = measure_mesh(TriangleMesh(vertices, body.faces)), measure_mesh(TriangleMesh(cut, faces))
    assert after.volume_mm3 == pytest.approx(before.volume_mm3, rel=1e-9)
    assert after.area_mm2 == pytest.approx(before.area_mm2, rel=1e-9)
    assert after.is_closed
    assert after.is_consistently_oriented
    side = cut[faces][:, :, 2] - height
    assert ((side >= -1e-6).all(axis=1) | (side <= 1e-6).all(axis=1)).all()


def test_a_box_is_cut_all_round():
    vertices, faces = (np.asarray(a) for a in box((30.0, 20.0, 10.0)))
    cut, pieces = cut_at_height(vertices.astype(float), faces, 4.0)
    # four upright edges and four diagonals of its upright faces
    assert np.count_nonzero(cut[:, 2] == 4.0) == 8
    assert len(pieces) == 12 + 2 * 8
    assert (cut[:8] == vertices).all()


def test_corners_that_lie_on_the_height_are_kept():
    vertices, faces = (np.asarray(a) for a in box((30.0, 20.0, 10.0)))
    once, first = cut_at_height(vertices.astype(float), faces, 4.0)
    again, second = cut_at_height(once, first, 4.0)
    assert len(again) == len(once)
    assert (second == first).all()


def test_a_corner_on_the_height_splits_its_face_in_two():
    vertices = np.array([[0.0, 0, 0], [10, 0, 5], [0, 0, 10]])
    cut, pieces = cut_at_height(vertices, np.array([[0, 1, 2]]), 5.0)
    assert len(cut) == 4
    assert len(pieces) == 2
    assert cut[3] == pytest.approx([0.0, 0.0, 5.0])


def test_what_varies_evenly_along_an_edge_is_carried_along():
    vertices, faces = (np.asarray(a) for a in box((30.0, 20.0, 10.0)))
    slope = vertices @ np.array([0.5, -0.25, 2.0])
    cut, _ = cut_at_height(np.column_stack([vertices, slope]).astype(float), faces, 4.0)
    assert len(cut) > len(vertices)
    assert cut[:, 3] == pytest.approx(cut[:, :3] @ np.array([0.5, -0.25, 2.0]))
