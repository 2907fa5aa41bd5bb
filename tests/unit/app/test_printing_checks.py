"""Whether a part can be printed: the findings for parts that are wrong in one way each."""

import dataclasses

import numpy as np
import pytest

from building import box_mesh, machine
from building.meshes import moved, ring_segment_mesh
from building.project import material, square_face
from dryfit.app.geometry import shape_in_assembly
from dryfit.app.printing_checks import check_printing, measure_walls
from dryfit.base.estimate import Estimate
from dryfit.base.rotation import rotation_from_euler
from dryfit.model.finding import MeasuredFeature
from dryfit.model.joint import Joint
from dryfit.model.machine import WIDE_PRIOR
from dryfit.model.mesh import TriangleMesh
from dryfit.model.part import Bed, Part, Placement
from dryfit.model.project import Project

BLOCK = box_mesh((0, 0, 0), (40, 30, 20))
FULL = {"extrusion_width_mm": 0.4, "overhang_deg": 50.0, "clearance_mm": 2.0}


def printer(room=(200.0, 200.0, 200.0), first_layer_height_mm=0.3, stated=FULL, **figures):
    made = machine(first_layer_height_mm=first_layer_height_mm, **figures)
    return dataclasses.replace(made, build_volume_mm=room, **stated)


def check(
    mesh, on=None, bed=(0.0, 0.0, 0.0), faces=None, measured=(), walls=None, first=True, placement=None
):
    on = on or printer()
    part = Part("a", "x", on.id, "p", bed=Bed(bed), placement=placement or Placement())
    other = Part("b", "x", on.id, "p")
    parts = ("a", "b") if first else ("b", "a")
    joints = (Joint("j", parts),) if faces is not None else ()
    project = Project("t", None, machines=(on,), materials=(material(),), parts=(part, other), joints=joints)
    shape = shape_in_assembly(part, mesh)
    thickness = walls if walls is not None else measure_walls(shape, 1500)
    return check_printing(project, part, shape, {} if faces is None else {"j": faces}, thickness, measured)


def of(findings, topic):
    return [item for item in findings if item.topic == topic]


def states(findings, topic):
    return [item.state for item in of(findings, topic)]


def face(low, high, axis, at, sign):
    """Corners of a rectangle square to an axis, its outward normal along it."""
    flat = np.array([[low[0], low[1]], [high[0], low[1]], [high[0], high[1]], [low[0], high[1]]], dtype=float)
    return square_face(np.insert(flat, axis, at, axis=1), sign * np.eye(3)[axis])


def test_a_sound_block_passes_everything():
    findings = check(BLOCK)
    assert {item.state for item in findings} == {"pass"}
    assert {item.topic for item in findings} == {"build volume", "wall", "bed"}


class TestRoom:
    def test_clearance_counts_on_both_sides(self):
        assert states(check(box_mesh((0, 0, 0), (196, 10, 10))), "build volume") == ["pass"]
        found = of(check(box_mesh((0, 0, 0), (196.5, 10, 10))), "build volume")[0]
        assert found.state == "stop"
        assert "X by 0.5 mm, 2 mm kept from its sides" in found.what

    def test_unstated_clearance_is_said(self):
        found = of(check(BLOCK, printer(stated={})), "build volume")[0]
        assert "clearance_mm is not stated" in found.what

    def test_the_pose_told_fits(self):
        """A rod of 250 on a bed of 200 lies across; the pose told is the one written in the document."""
        rod = box_mesh((0, 0, 0), (250, 10, 10))
        found = of(check(rod, printer(room=(200.0, 200.0, 100.0))), "build volume")[0]
        assert found.state == "stop"
        told = found.do.split("[")[1].split("]")[0]
        bed = tuple(float(angle) for angle in told.split(","))
        again = check(rod, printer(room=(200.0, 200.0, 100.0)), bed=bed)
        assert states(again, "build volume") == ["pass"]

    def test_the_pose_told_is_for_the_design_frame_of_a_placed_part(self):
        turned = Placement(rotation_from_euler((0.0, 30.0, 20.0)), np.array([5.0, 6.0, 7.0]))
        rod, on = box_mesh((0, 0, 0), (10, 10, 150)), printer(room=(160.0, 60.0, 60.0))
        found = of(check(rod, on, placement=turned), "build volume")[0]
        bed = tuple(float(angle) for angle in found.do.split("[")[1].split("]")[0].split(","))
        assert states(check(rod, on, bed=bed, placement=turned), "build volume") == ["pass"]

    def test_where_nothing_fits_it_says_so(self):
        found = of(check(box_mesh((0, 0, 0), (400, 10, 10))), "build volume")[0]
        assert "fits in none of the 24" in found.do


class TestWalls:
    @pytest.mark.parametrize(
        ("thick", "state"), [(0.3, "stop"), (0.4, "caution"), (0.7, "caution"), (0.8, "pass"), (1.6, "pass")]
    )
    def test_against_lines_of_0_4(self, thick, state):
        findings = check(box_mesh((0, 0, 0), (60, 40, thick)))
        assert states(findings, "wall") == [state]
        assert of(findings, "wall")[0].amount == pytest.approx(thick, abs=1e-6)

    def test_a_thin_wall_is_shown_where_it_is(self):
        thick, thin = box_mesh((0, 0, 0), (50, 50, 5)), box_mesh((100, 0, 0), (150, 50, 0.3))
        both = TriangleMesh(
            np.vstack([thick.vertices, thin.vertices]), np.vstack([thick.faces, thin.faces + 8])
        )
        found = of(check(both), "wall")[0]
        assert found.state == "stop"
        assert found.count == 1
        assert (found.places_mm[:, 0] >= 100).all()
        assert (found.triangles >= len(thick.faces)).all()

    def test_no_whole_number_of_lines_is_a_note(self):
        """1.4 mm is three and a half lines of 0.4 mm."""
        findings = check(box_mesh((0, 0, 0), (60, 40, 1.4)))
        assert states(findings, "wall") == ["pass", "pass"]
        assert "3.5 lines" in of(findings, "wall")[1].what

    def test_a_feather_edge_is_a_caution(self):
        """A wedge of 15 degrees thins to nothing: only its rim is lost."""
        rise = 30 * np.tan(np.radians(15.0))
        flat = np.array([[0, 0], [30, 0], [30, rise]])
        vertices = np.vstack([np.column_stack([flat, [z] * 3]) for z in (0, 20)])
        faces = [[0, 2, 1], [3, 4, 5], [0, 1, 4], [0, 4, 3], [1, 2, 5], [1, 5, 4], [2, 0, 3], [2, 3, 5]]
        found = of(check(TriangleMesh(vertices, np.array(faces))), "wall")
        assert [item.state for item in found] == ["caution"]
        assert "running out to an edge" in found[0].what

    def test_unstated_width_is_not_checked(self):
        found = of(check(BLOCK, printer(stated={})), "wall")[0]
        assert found.state == "not checked"
        assert "thinnest wall 20.00 mm" in found.what

    def test_an_open_mesh_is_not_checked(self):
        findings = check(TriangleMesh(BLOCK.vertices, BLOCK.faces[1:]))
        assert states(findings, "wall") == ["not checked"]
        assert "open" in of(findings, "wall")[0].what
        assert states(findings, "bed") == ["not checked"]


class TestStanding:
    @pytest.mark.parametrize(("height", "state"), [(99.0, "pass"), (101.0, "caution")])
    def test_height_over_the_footprint(self, height, state):
        assert states(check(box_mesh((0, 0, 0), (20, 30, height))), "bed") == [state]

    @pytest.mark.parametrize(("length", "warns"), [(99.0, False), (101.0, True)])
    def test_slenderness(self, length, warns):
        findings = check(box_mesh((0, 0, 0), (length, 10, 10)))
        assert states(findings, "warp") == (["caution"] if warns else [])

    def test_a_flat_sheet_has_no_thickness_and_no_infinite_figure(self):
        flat = TriangleMesh(np.array([(0, 0, 0), (20, 0, 0), (0, 10, 0.0)]), np.array([(0, 1, 2)]), "flat")
        both = TriangleMesh(flat.vertices, np.array([(0, 1, 2), (2, 1, 0)]), "two-sided")
        for mesh in (flat, both):
            findings = check(mesh, walls="open")
            assert [item.what for item in of(findings, "warp")] == [
                "it has no thickness: all its points lie in one plane or on one line, so there is nothing to print"
            ]
            assert all(item.amount is None or np.isfinite(item.amount) for item in findings)
        assert "no more than the first layer of 0.3 mm" in of(findings, "bed")[0].what


class TestFacesOnBed:
    UNDER = face((0, 0), (40, 30), 2, 0.0, -1.0)
    SIDE = face((0, 0), (30, 20), 0, 40.0, 1.0)
    TOP = face((0, 0), (40, 30), 2, 20.0, 1.0)

    @pytest.mark.parametrize(("faces", "how"), [(UNDER, "lies on the bed"), (SIDE, "stands on the bed")])
    def test_the_flare_bites_there(self, faces, how):
        found = of(check(BLOCK, printer(first_layer_flare_mm=Estimate(0.15, 0.02)), faces=faces), "bed")[1]
        assert found.state == "caution"
        assert how in found.what
        assert found.amount == pytest.approx(0.15)
        assert "chamfer the edge on the bed by 0.19 mm" in found.do

    def test_the_top_is_free_of_it(self):
        findings = check(BLOCK, printer(first_layer_flare_mm=0.15), faces=self.TOP)
        assert states(findings, "bed") == ["pass", "pass"]

    def test_the_second_part_has_the_opposite_normal(self):
        """The face of the joint points from the first part to the second: for part a it is the top, turned."""
        findings = check(BLOCK, printer(first_layer_flare_mm=0.15), faces=self.TOP, first=False)
        assert states(findings, "bed") == ["pass", "pass"]
        over = face((0, 0), (40, 30), 2, 0.0, 1.0)
        assert (
            states(check(BLOCK, printer(first_layer_flare_mm=0.1), faces=over, first=False), "bed")[1]
            == "caution"
        )

    def test_turned_over_the_top_lies_on_the_bed(self):
        findings = check(BLOCK, printer(first_layer_flare_mm=0.15), bed=(180.0, 0.0, 0.0), faces=self.TOP)
        assert states(findings, "bed")[1] == "caution"

    def test_a_flare_that_nobody_stated_is_not_checked(self):
        on = printer()
        on = dataclasses.replace(on, error=dataclasses.replace(on.error, unstated=("first_layer_flare_mm",)))
        assert states(check(BLOCK, on, faces=self.UNDER), "bed")[1] == "not checked"

    @pytest.mark.parametrize(("std", "state"), [(0.0, "pass"), (0.02, "pass"), (0.03, "caution")])
    def test_a_flare_stated_as_none_passes_when_it_is_known_well(self, std, state):
        on = printer(first_layer_flare_mm=Estimate(0.0, std))
        assert states(check(BLOCK, on, faces=self.UNDER), "bed")[1] == state


class TestOverhangs:
    TABLE = TriangleMesh(
        np.vstack(
            [box_mesh((15, 15, 0), (25, 25, 20)).vertices, box_mesh((0, 0, 20), (40, 40, 30)).vertices]
        ),
        np.vstack([box_mesh((0, 0, 0), (1, 1, 1)).faces, box_mesh((0, 0, 0), (1, 1, 1)).faces + 8]),
    )
    UNDERSIDE = face((0, 0), (40, 10), 2, 20.0, -1.0)

    def test_a_mating_ceiling(self):
        found = of(check(self.TABLE, faces=self.UNDERSIDE), "overhang")[0]
        assert found.state == "caution"
        assert found.amount == pytest.approx(90.0)
        assert len(found.triangles) == 2

    def test_turned_over_it_faces_up(self):
        assert states(check(self.TABLE, bed=(180.0, 0.0, 0.0), faces=self.UNDERSIDE), "overhang") == ["pass"]

    def test_one_that_does_not_mate_does_not_count(self):
        assert states(check(self.TABLE, faces=face((0, 0), (40, 40), 2, 30.0, 1.0)), "overhang") == ["pass"]

    def test_unstated_is_not_checked(self):
        found = states(check(self.TABLE, printer(stated={}), faces=self.UNDERSIDE), "overhang")
        assert found == ["not checked"]


def feature(triangles, measured, **known):
    return MeasuredFeature(
        "bore",
        "diameter",
        ("a",),
        "mm",
        "pass",
        "",
        measured=measured,
        triangles=(("a", triangles),),
        **known,
    )


class TestHoles:
    CHORDS = 60
    HALF_RING = ring_segment_mesh(2.0, 10.0, 20.0, 0.0, 180.0, CHORDS)

    def walls(self, radius, inside):
        corners = self.HALF_RING.vertices[self.HALF_RING.faces]
        on = np.abs(np.linalg.norm(corners[:, :, :2], axis=2) - radius).max(axis=1) < 1e-6
        sides = np.ptp(corners[:, :, 2], axis=1) > 1
        return np.flatnonzero(on & sides)

    def check_bore(self, on, **known):
        found = feature(self.walls(2.0, True), 4.0, **known)
        return of(check(self.HALF_RING, on, measured=(found,)), "hole")

    def test_it_closes_beyond_its_limits(self):
        """4.0 prints at 3.6 under an offset of 0.2: below 3.9; 4.4 prints at 4.0."""
        on = printer(boundary_offset_mm=Estimate(0.2, 0.02))
        found = self.check_bore(on, lower=3.9, upper=4.1, nominal=Estimate(4.0))[0]
        assert found.state == "stop"
        assert found.amount == pytest.approx(3.6)
        assert "diameter of 4.40 mm (std 0.04 mm) for 4 mm" in found.do

    def test_near_its_limit_is_a_caution(self):
        on = printer(boundary_offset_mm=Estimate(0.04, 0.02))
        assert self.check_bore(on, lower=3.9, upper=4.1)[0].state == "caution"

    def test_well_inside_passes(self):
        on = printer(boundary_offset_mm=Estimate(0.01, 0.01))
        assert self.check_bore(on, lower=3.9, upper=4.1)[0].state == "pass"

    def test_no_limits_or_no_offset_is_not_checked(self):
        assert self.check_bore(printer(boundary_offset_mm=0.2))[0].state == "not checked"
        prior = dataclasses.replace(printer(), error=WIDE_PRIOR)
        assert self.check_bore(prior, lower=3.9, upper=4.1)[0].state == "not checked"

    def test_a_pin_is_no_hole(self):
        found = feature(self.walls(10.0, False), 20.0, lower=19.9, upper=20.1)
        on = printer(boundary_offset_mm=0.2)
        assert of(check(self.HALF_RING, on, measured=(found,)), "hole") == []

    def test_a_bore_that_opens_on_the_bed_is_narrowed_there(self):
        on = printer(first_layer_flare_mm=0.2, boundary_offset_mm=0.0)
        found = feature(self.walls(2.0, True), 4.0, lower=3.9, upper=4.1)
        findings = of(check(self.HALF_RING, on, measured=(found,)), "bed")
        assert findings[1].state == "caution"
        assert "the bore bore opens on the bed" in findings[1].what


def test_it_is_the_same_far_from_the_origin():
    far = moved(BLOCK, np.eye(3), np.array([3000.0, -2000.0, 1000.0]))
    one, two = check(BLOCK), check(far)
    assert [(item.topic, item.state, item.what) for item in one] == [
        (item.topic, item.state, item.what) for item in two
    ]
