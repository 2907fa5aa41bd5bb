"""Footprints, slenderness, overhangs and faces on the bed, against closed forms."""

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from building.meshes import box_mesh, moved, ring_segment_mesh
from dryfit.base.rotation import rotation_from_euler
from dryfit.calc.printability import footprint, lies_on_bed, overhang_deg, overhang_triangles, slenderness
from dryfit.model.mesh import TriangleMesh
from support.shapes import revolved

SQUARE = np.eye(3)


class TestFootprint:
    def test_of_a_box(self):
        found = footprint(box_mesh((5, 5, 5), (25, 45, 105)), SQUARE, 0.2)
        assert found.area_mm2 == pytest.approx(800)
        assert found.hull_area_mm2 == pytest.approx(800)
        assert found.width_mm == pytest.approx(20)
        assert found.height_mm == pytest.approx(100)
        assert found.height_over_width == pytest.approx(5)
        assert slenderness(box_mesh((5, 5, 5), (25, 45, 105))) == pytest.approx(5)

    def test_of_a_box_turned_on_the_bed_and_laid_down(self):
        turn = rotation_from_euler((90.0, 0.0, 33.0))
        found = footprint(box_mesh((0, 0, 0), (20, 40, 100)), turn, 0.2)
        assert (found.area_mm2, found.width_mm, found.height_mm) == pytest.approx((2000, 20, 40))

    def test_of_a_cone_on_its_tip_end(self):
        """A cone frustum from radius 2 to 12 over 50: at height 5 its polygon has radius 3."""
        sides = 60
        found = footprint(revolved([2.0, 12.0], [0.0, 50.0], sides), SQUARE, 5.0)
        assert found.area_mm2 == pytest.approx(0.5 * sides * 9.0 * np.sin(2 * np.pi / sides), rel=1e-9)

    def test_a_hollow_is_not_covered(self):
        outer, inner = box_mesh((0, 0, 0), (30, 30, 30)), box_mesh((10, 10, -1), (20, 20, 31))
        body = TriangleMesh(
            np.vstack([outer.vertices, inner.vertices]), np.vstack([outer.faces, inner.faces[:, ::-1] + 8])
        )
        assert footprint(body, SQUARE, 5.0).area_mm2 == pytest.approx(800)
        assert footprint(body, SQUARE, 5.0).hull_area_mm2 == pytest.approx(900)

    def test_of_an_arc_is_less_than_its_hull(self):
        """Half a ring of 20 to 22: pi (22^2 - 20^2) / 2, less what chords cut off."""
        found = footprint(ring_segment_mesh(20, 22, 10, 0, 180, 400), SQUARE, 0.2)
        assert found.area_mm2 == pytest.approx(0.5 * np.pi * 84, rel=1e-4)
        assert found.hull_area_mm2 == pytest.approx(0.5 * np.pi * 484, rel=1e-4)

    def test_slenderness_is_that_of_the_body_however_it_lies(self):
        turn = Rotation.from_rotvec([0.4, 1.0, -0.2]).as_matrix()
        bar = moved(box_mesh((0, 0, 0), (120, 10, 8)), turn, np.array([5.0, 6.0, 7.0]))
        assert slenderness(bar) == pytest.approx(15.0, rel=1e-6)


class TestOverhang:
    def test_angles_from_the_vertical(self):
        s = np.sqrt(0.5)
        normals = np.array([[1, 0, 0], [0, 0, -1], [s, 0, -s], [0, 0, 1]])
        assert overhang_deg(normals, SQUARE) == pytest.approx([0, 90, 45, -90])

    def test_the_underside_on_the_bed_does_not_count(self):
        assert not len(overhang_triangles(box_mesh((0, 0, 0), (10, 10, 10)), SQUARE, 45.0))

    def test_a_roof_edge_at_the_limit_is_printed_and_beyond_is_not(self):
        """An upside-down frustum that widens by its height overhangs by 45 degrees, less what facets take."""
        cone = revolved([10.0, 30.0], [0.0, 20.0], 4)
        flat = np.degrees(np.arctan(20 * np.cos(np.pi / 4) / 20))
        assert not len(overhang_triangles(cone, SQUARE, flat))
        assert len(overhang_triangles(cone, SQUARE, flat - 0.1)) == 8

    def test_in_the_pose(self):
        lying = rotation_from_euler((90.0, 0.0, 0.0))
        bridge = TriangleMesh(
            np.vstack(
                [box_mesh((0, 0, 0), (10, 10, 10)).vertices, box_mesh((0, 0, 20), (10, 10, 30)).vertices]
            ),
            np.vstack(
                [box_mesh((0, 0, 0), (10, 10, 10)).faces, box_mesh((0, 0, 20), (10, 10, 30)).faces + 8]
            ),
        )
        assert len(overhang_triangles(bridge, SQUARE, 45.0)) == 2
        assert not len(overhang_triangles(bridge, lying, 45.0))


class TestOnBed:
    CORNERS = np.array([[0, 0, 0], [10, 0, 0], [10, 10, 0], [0, 10, 0]], dtype=float)

    def test_face_down_lies(self):
        found = lies_on_bed(self.CORNERS, np.tile([0.0, 0.0, -1.0], (4, 1)), SQUARE, 0.0, 0.2)
        assert (found.lies, found.stands) == (True, False)

    def test_upright_from_the_bed_stands(self):
        upright = self.CORNERS[:, [0, 2, 1]]
        found = lies_on_bed(upright, np.tile([0.0, -1.0, 0.0], (4, 1)), SQUARE, 0.0, 0.2)
        assert (found.lies, found.stands) == (False, True)

    def test_above_the_first_layer_neither(self):
        found = lies_on_bed(self.CORNERS, np.tile([0.0, 0.0, -1.0], (4, 1)), SQUARE, -0.3, 0.2)
        assert (found.lies, found.stands) == (False, False)

    def test_the_top_of_a_part_neither(self):
        found = lies_on_bed(self.CORNERS, np.tile([0.0, 0.0, 1.0], (4, 1)), SQUARE, -20.0, 0.2)
        assert (found.lies, found.stands) == (False, False)


class TestSlenderness:
    """Closed forms of boxes whose extents are alike in two ways, where principal axes are not determined."""

    @pytest.mark.parametrize(
        ("size", "ratio"),
        [((101, 10, 10), 10.1), ((100, 100, 5), 20.0), ((60, 20, 5), 12.0)],
    )
    @pytest.mark.parametrize("seed", range(6))
    def test_of_boxes_however_they_lie(self, size, ratio, seed):
        turn = Rotation.random(random_state=seed).as_matrix()
        box = box_mesh((0, 0, 0), size)
        turned = TriangleMesh(box.vertices @ turn.T, box.faces)
        assert slenderness(turned) == pytest.approx(ratio, rel=1e-6)
