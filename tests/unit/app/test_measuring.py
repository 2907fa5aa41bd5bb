"""All nine kinds of feature on bodies of known size, turned at random and rounded to single precision.

Sizes are those by which the bodies are made, closed forms; vertices of a round lie on it, so that its
diameter must come out whatever the tessellation.
"""

from __future__ import annotations

import dataclasses
import math
from fractions import Fraction

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from building import machine, material
from dryfit.app.geometry import shape_in_assembly
from dryfit.app.measuring import measure_features
from dryfit.app.measuring_picks import describe_pick
from dryfit.base.estimate import Estimate
from dryfit.calc.faces import segment_faces
from dryfit.model.feature import Dimension, Feature, FeatureLimits, Pick
from dryfit.model.mesh import TriangleMesh
from dryfit.model.part import Part
from dryfit.model.project import Project
from support.shapes import revolved, torus

BOX = (30.0, 20.0, 10.0)


class Body:
    """A mesh in the assembly: turned, shifted, with noise, in single precision, triangles in any order."""

    def __init__(self, mesh, seed=1, noise_mm=0.0, is_joined=False):
        rng = np.random.default_rng(seed)
        self.rotation = Rotation.random(random_state=seed).as_matrix()
        self.shift = np.array([100.0, 50.0, 200.0])
        vertices = mesh.vertices + rng.normal(0.0, noise_mm, mesh.vertices.shape)
        vertices = self.point(vertices).astype(np.float32).astype(np.float64)
        faces = mesh.faces[rng.permutation(len(mesh.faces))]
        mesh = TriangleMesh(vertices[faces].reshape(-1, 3), np.arange(3 * len(faces)).reshape(-1, 3))
        if is_joined:
            mesh = TriangleMesh(vertices, faces)
        self.shape = shape_in_assembly(Part("a", "a.stl", "m", "p"), mesh)

    def point(self, at):
        return np.asarray(at, dtype=float) @ self.rotation.T + self.shift

    def along(self, direction):
        return np.asarray(direction, dtype=float) @ self.rotation.T / np.linalg.norm(direction)

    def pick(self, at, id="a"):
        return dataclasses.replace(describe_pick(self.shape, self.point(at)).pick, part=id)

    def toward(self, direction):
        return Pick("a", direction=self.along(direction))


def box():
    corners = np.array([[x, y, z] for z in (-1, 1) for y in (-1, 1) for x in (-1, 1)]) * np.array(BOX) / 2
    quads = [(0, 2, 3, 1), (4, 5, 7, 6), (0, 1, 5, 4), (2, 6, 7, 3), (0, 4, 6, 2), (1, 3, 7, 5)]
    return TriangleMesh(corners, np.array([t for a, b, c, d in quads for t in ((a, b, c), (a, c, d))]))


def tube(sides, outer=12.0, inner=8.0, height=20.0, shift=(0.0, 0.0)):
    """A pipe about z: two rings at each end."""
    angle = 2 * np.pi * np.arange(sides) / sides
    ring = np.column_stack([np.cos(angle), np.sin(angle), np.zeros(sides)])
    rings = [
        ring * [r, r, 0] + [*shift, z] for r, z in ((outer, 0), (outer, height), (inner, height), (inner, 0))
    ]
    k, j = np.arange(sides), (np.arange(sides) + 1) % sides
    faces = []
    for level in range(4):
        a, b = level * sides, (level + 1) % 4 * sides
        faces += [np.column_stack([a + k, a + j, b + j]), np.column_stack([a + k, b + j, b + k])]
    return TriangleMesh(np.vstack(rings), np.vstack(faces))


def project(*features, dimensions=(), scale=None):
    parts = tuple(Part(id, f"{id}.stl", "m", "p") for id in ("a", "b"))
    return Project(
        "test", scale, machines=(machine(),), materials=(material(),), parts=parts, features=features,
        dimensions=dimensions,
    )  # fmt: skip


def measure(body, kind, *faces, **fields):
    feature = Feature("f", kind, ("a",), faces, **fields)
    (result,) = measure_features(project(feature), {"a": body.shape})
    return result


def test_distance_and_parallelism():
    body = Body(box())
    result = measure(body, "distance", body.pick((15, 1, 1)), body.toward((-1, 0, 0)))
    assert result.measured == pytest.approx(30.0, abs=1e-4)
    assert np.linalg.norm(result.anchors_mm[1] - result.anchors_mm[0]) == pytest.approx(30.0, abs=1e-4)
    assert result.notes == ()
    wedge = box()
    vertices = wedge.vertices.copy()
    vertices[(vertices[:, 0] > 0) & (vertices[:, 2] > 0), 0] += 1.0  # leans by atan(1 / 10)
    body = Body(TriangleMesh(vertices, wedge.faces))
    result = measure(body, "distance", body.pick((-15, 0, 0)), body.pick((15.5, 0, 0)))
    assert result.measured == pytest.approx(30.5, abs=1e-4)
    assert "5.7 degrees out of parallel" in result.notes[0]
    assert "30 to 31 mm" in result.notes[0]
    angle = measure(body, "angle", body.pick((15.5, 0, 0)), body.pick((0, 0, 5)))
    assert angle.measured == pytest.approx(90.0 - math.degrees(math.atan(0.1)), abs=1e-4)
    assert angle.unit == "deg"


def test_extent_of_two_parts_and_section():
    one, two = Body(box(), 1), Body(box(), 1)
    moved = TriangleMesh(two.shape.mesh.vertices + 5.0 * two.along((0, 0, 1)), two.shape.mesh.faces)
    shapes = {"a": one.shape, "b": shape_in_assembly(two.shape.part, moved)}
    feature = Feature("f", "extent", ("a", "b"), direction=one.along((0, 0, 1)))
    (result,) = measure_features(project(feature), shapes)
    assert result.measured == pytest.approx(15.0, abs=1e-4)
    section = measure(
        one,
        "section",
        at_mm=one.point((0, 0, 1)),
        normal=one.along((0, 0, 1)),
        direction=one.along((1, 0, 0)),
    )
    assert section.measured == pytest.approx(30.0, abs=1e-4)


@pytest.mark.parametrize("sides", [24, 72, 200])
@pytest.mark.parametrize("seed", [1, 2])
def test_diameter_is_that_of_the_round_whatever_the_facets(sides, seed):
    body = Body(tube(sides), seed)
    apothem = math.cos(math.pi / sides)
    facet = 8 * apothem * np.array([apothem, math.sin(math.pi / sides)])  # the middle of the first facet
    bore = measure(body, "diameter", body.pick((*facet, 10)))
    assert bore.measured == pytest.approx(16.0, abs=1e-4)
    assert bore.std < 1e-5
    if sides == 24:
        assert f"{8 * (1 - apothem):.2g} mm inside the round" in bore.notes[0]
    centre = measure(body, "centres", body.pick((12, 0, 10)), body.pick((8, 0, 10)))
    assert centre.measured == pytest.approx(0.0, abs=1e-4)


@pytest.mark.parametrize("noise", [0.002, 0.005])
def test_diameter_with_noise_agrees_within_its_standard_uncertainty(noise):
    deviations = []
    for seed in range(6):
        body = Body(tube(48), seed, noise)
        result = measure(body, "diameter", body.pick((8, 0, 10)))
        assert result.std == pytest.approx(2 * noise / math.sqrt(96), rel=0.4)
        deviations.append((result.measured - 16.0) / result.std)
    assert np.sqrt(np.mean(np.square(deviations))) < 2.0


@pytest.mark.parametrize("sides", [24, 100])
def test_sphere_and_torus(sides):
    angle = np.linspace(0, np.pi, sides // 2 + 1)[1:-1]
    ball = Body(revolved(10 * np.sin(angle), -10 * np.cos(angle), sides))
    assert measure(ball, "diameter", ball.pick((10, 0, 0))).measured == pytest.approx(20.0, abs=1e-4)
    ring = Body(torus(50, 5, 2 * sides, sides), 3)
    assert measure(ring, "diameter", ring.pick((55, 0, 0))).measured == pytest.approx(10.0, abs=1e-4)


def test_cone_has_no_one_diameter():
    body = Body(revolved([5, 9], [0, 20], 48))
    result = measure(body, "diameter", body.pick((7, 0, 10)))
    assert result.state == "not checked"
    assert "cone" in result.reason
    words = describe_pick(body.shape, body.point((7, 0, 10))).words
    assert f"cone, {2 * math.degrees(math.atan(0.2)):.1f} degrees" in words


def test_position_from_a_plane_and_from_a_point():
    body = Body(tube(72, shift=(3.0, 4.0)), 5)
    hole = body.pick((11, 4, 10))
    result = measure(body, "position", hole, at_mm=body.point((0, 0, 0)), direction=body.along((3, 4, 0)))
    assert result.measured == pytest.approx(5.0, abs=1e-4)
    end = measure(body, "position", hole, body.pick((13, 4, 20)))
    assert end.measured == pytest.approx(10.0, abs=1e-4)
    assert "leans by 90 degrees" in end.notes[-1]


def test_flatness_is_the_minimum_zone():
    # Provable minimum zone: corners of a square at +0.5 and -0.5 in turn: 1. Here with 0.004.
    mesh = box()
    vertices = mesh.vertices.copy()
    top = vertices[:, 2] > 0
    vertices[top, 2] += 0.002 * np.sign(vertices[top, 0] * vertices[top, 1])
    body = Body(TriangleMesh(vertices, mesh.faces))
    result = measure(body, "flatness", body.pick((1, 3, 5)))
    assert result.measured == pytest.approx(0.004, abs=5e-5)
    assert "4 corners" in result.notes[0]


def test_thickness_of_a_pipe():
    # Rays need to know inside from outside: triangles joined by index, as the readers leave them.
    body = Body(tube(200), 2, is_joined=True)
    result = measure(body, "thickness", body.pick((12, 0, 10)))
    assert result.measured == pytest.approx(4.0, abs=0.01)


def test_centres_of_two_pipes():
    one, two = Body(tube(72), 4), Body(tube(36, shift=(40.0, 9.0)), 4)
    shapes = {"a": one.shape, "b": two.shape}
    feature = Feature("f", "centres", ("a", "b"), (one.pick((8, 0, 10)), two.pick((48, 9, 10), "b")))
    (result,) = measure_features(project(feature), shapes)
    assert result.measured == pytest.approx(41.0, abs=1e-4)


def test_nominal_from_the_schedule_and_judgement():
    body = Body(box())
    feature = Feature(
        "height", "extent", ("a",), direction=body.along((0, 0, 1)), dimension="drum",
        limits=FeatureLimits(lower_deviation=-0.2, upper_deviation=0.2),
    )  # fmt: skip
    drum = Dimension("drum", Estimate(184.0, 1.0))
    (result,) = measure_features(
        project(feature, dimensions=(drum,), scale=Fraction(1, 20)), {"a": body.shape}
    )
    assert result.nominal == Estimate(9.2, 0.05)
    assert result.deviation == pytest.approx(0.8, abs=1e-4)
    assert (result.lower, result.upper) == pytest.approx((9.0, 9.4))
    assert result.state == "stop"
    assert result.dependents == ("part a",)
    assert "1:20" in result.nominal_from
    (lost,) = measure_features(project(feature, dimensions=(drum,)), {"a": body.shape})
    assert lost.state == "not checked"
    assert "scale" in lost.reason


@pytest.mark.parametrize("sides", [24, 60, 200])
def test_pick_survives_another_tessellation_and_tiny_moves(sides):
    before = Body(tube(72), 6)
    picks = [before.pick(at) for at in ((8, 0, 10), (12, 0, 10), (10, 0, 20))]
    assert [pick.form for pick in picks] == ["cylinder", "cylinder", "plane"]
    after = Body(tube(sides, height=20.1), 6)
    after.shape = dataclasses.replace(after.shape, mesh=Body(tube(sides, height=20.1), 6, 1e-4).shape.mesh)
    for pick, wanted in zip(picks[:2], (16.0, 24.0), strict=True):
        result = measure(after, "diameter", pick)
        assert result.measured == pytest.approx(wanted, abs=2e-3)
    assert measure(after, "flatness", picks[2]).measured == pytest.approx(0.0, abs=2e-3)


def test_face_that_moved_along_with_its_size_is_found_and_said():
    before, after = Body(tube(72), 6), Body(tube(72, height=21.5), 6)
    result = measure(after, "distance", before.pick((10, 0, 20)), before.pick((10, 0, 0)))
    assert result.measured == pytest.approx(21.5, abs=1e-4)
    assert any("1.5 mm from where it was picked" in note for note in result.notes)


@pytest.mark.parametrize(
    ("after", "word"),
    [
        (tube(72, inner=4.0), "no face"),  # the bore is gone from there
        (revolved([12, 12], [0, 20], 72), "no face"),  # a solid rod
        (revolved([6, 8.1], [0, 20], 72), "is now a cone"),
    ],
)
def test_face_that_is_gone_or_another_is_said_lost(after, word):
    pick = Body(tube(72), 6).pick((8, 0, 19))
    if "cone" in word:
        pick = dataclasses.replace(pick, normal=-pick.normal)
    result = measure(Body(after, 6), "diameter", pick)
    assert result.state == "not checked"
    assert word in result.reason
    assert result.measured is None


def test_size_that_differs_too_much_is_said_lost():
    pick = dataclasses.replace(Body(tube(72), 6).pick((8, 0, 10)), size_mm=11.0)
    result = measure(Body(tube(72), 6), "diameter", pick)
    assert result.state == "not checked"
    assert "radius of 11 mm" in result.reason


def test_faces_at_hand_are_used_and_parts_without_shape_left_out():
    body = Body(tube(48))
    features = (
        Feature("one", "diameter", ("a",), (body.pick((8, 0, 10)),)),
        Feature("two", "extent", ("b",), direction=np.eye(3)[0]),
    )
    found = measure_features(
        project(*features), {"a": body.shape}, segmented={"a": segment_faces(body.shape.mesh)}
    )
    assert [item.id for item in found] == ["one"]
    assert found[0].triangles[0][0] == "a"
    assert len(found[0].triangles[0][1]) == 96
