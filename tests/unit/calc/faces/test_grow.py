"""One element among faces that run smoothly into one another; sizes by construction, in closed form."""

from __future__ import annotations

import numpy as np
import pytest
from bodies import Moved, flange, rounded_box

from dryfit.calc.faces import Element, FaceFound, face_at, grow_round, segment_faces


def fit_ball(points, normals):
    """A sphere by linear least squares: |p|^2 = 2 p.c + (r^2 - |c|^2)."""
    origin = points.mean(axis=0)
    local = points - origin
    system = np.column_stack([2 * local, np.ones(len(local))])
    solution, _, rank, _ = np.linalg.lstsq(system, (local**2).sum(axis=1), rcond=1e-9)
    if rank < 4:
        return None
    centre, radius = solution[:3] + origin, float(np.sqrt(solution[3] + solution[:3] @ solution[:3]))

    def outward(at):
        return (at - centre) / np.linalg.norm(at - centre, axis=1)[:, None]

    return Element(lambda at: np.linalg.norm(at - centre, axis=1) - radius, outward, radius)


def fit_nothing(points, normals):
    return None


@pytest.mark.parametrize("steps", [6, 12, 25])
def test_round_corner_among_fillets(steps):
    moved = Moved(rounded_box((60, 40, 30), 5, steps), steps)
    faces = segment_faces(moved.mesh)
    middle = np.array([25, 15, 10]) + 5 / np.sqrt(3)
    found = face_at(moved.mesh, faces, moved.point(middle), moved.direction((1, 1, 1)), 0.5)
    assert isinstance(found, FaceFound)
    grown = grow_round(faces, found.triangle, {"none": fit_nothing, "sphere": fit_ball})
    assert grown.form == "sphere"
    assert grown.element.radius_mm == pytest.approx(5.0, abs=1e-4)
    # An eighth of a sphere less its facets' chords, and no fillet: that would add 25 pi / 4 per mm.
    assert grown.area_mm2 == pytest.approx(4 * np.pi * 25 / 8, rel=0.03)


def test_face_that_no_form_fits():
    moved = Moved(flange(48), 2)
    faces = segment_faces(moved.mesh)
    found = face_at(moved.mesh, faces, moved.point((30, 0, 2.5)), None, 0.5)
    assert isinstance(found, FaceFound)
    assert grow_round(faces, found.triangle, {"none": fit_nothing}) is None
