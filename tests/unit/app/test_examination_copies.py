"""Equal parts are examined once: what was found of the first holds for the others at their own places."""

import numpy as np
import pytest

from building import box_mesh
from dryfit.app import examination
from dryfit.app.checking import check_folder, check_parts, recall_parts
from dryfit.app.demo import write_demo
from dryfit.app.examination import KEPT_CLASSES, ExaminationOptions, examine_mesh, examine_parts, hash_mesh
from dryfit.app.geometry import shape_in_assembly
from dryfit.app.loading import open_project
from dryfit.app.prediction import chain_of
from dryfit.base.rotation import rotation_from_euler
from dryfit.model.mesh import TriangleMesh
from dryfit.model.part import Part
from dryfit.store.kept import Kept
from dryfit.view.parts import parts_plain

FEW = ExaminationOptions(samples=300)
TURN = rotation_from_euler((20.0, 35.0, 50.0))
SHIFT = np.array([300.0, -120.0, 40.0])


@pytest.fixture
def counted(monkeypatch):
    """Triangles of the meshes that are really examined."""
    calls = []

    def counting(mesh, options, progress=None):
        calls.append(len(mesh.faces))
        return examine_mesh(mesh, options, progress)

    monkeypatch.setattr(examination, "examine_mesh", counting)
    return calls


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    path = tmp_path_factory.mktemp("observatory") / "demo"
    write_demo(path, "observatory")
    return path


def shapes_of(**meshes):
    return {name: shape_in_assembly(Part(name, "x", "m", "p"), mesh) for name, mesh in meshes.items()}


def examined(kept=None, options=FEW, **meshes):
    shapes = shapes_of(**meshes)
    hashes = {name: hash_mesh(shape.mesh) for name, shape in shapes.items()}
    return examine_parts(shapes, hashes, kept, options)


def turned(mesh, mirror=False):
    vertices, faces = mesh.vertices, mesh.faces
    if mirror:
        vertices, faces = vertices * [-1.0, 1.0, 1.0], faces[:, ::-1]
    return TriangleMesh(vertices @ TURN.T + SHIFT, faces)


def wedge(drop=0):
    """Without symmetry, so that no place can be taken for another; drop: triangles left out."""
    box = box_mesh((0, 0, 0), (40, 30, 12))
    vertices = box.vertices.copy()
    vertices[:, 2] *= 1.0 + 0.01 * vertices[:, 0] + 0.005 * vertices[:, 1]
    return TriangleMesh(vertices, box.faces[drop:])


@pytest.mark.parametrize("mirror", [False, True])
class TestOneCopy:
    def test_walls_are_as_thick_and_lie_on_the_copy(self, counted, mirror):
        copy = turned(wedge(), mirror)
        found, _ = examined(first=wedge(), second=copy)
        assert len(counted) == 1
        first, second = found["first"], found["second"]
        assert (first.as_part, second.as_part) == ("", "first")
        assert np.array_equal(first.thickness.wall_mm, second.thickness.wall_mm)
        corners = copy.vertices[copy.faces[second.thickness.triangles]]
        normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
        normals /= np.linalg.norm(normals, axis=1)[:, None]
        off = np.einsum("ij,ij->i", second.thickness.points - corners[:, 0], normals)
        assert np.abs(off).max() < 1e-9
        assert np.allclose(second.thickness.normals, normals, atol=1e-9)

    def test_faults_stand_at_the_places_of_the_copy(self, counted, mirror):
        """What the whole examination of the copy finds by itself."""
        copy = turned(wedge(drop=1), mirror)
        found, _ = examined(first=wedge(drop=1), second=copy)
        assert len(counted) == 1
        alone = examine_mesh(copy, FEW)
        carried = found["second"]
        assert carried.no_walls == alone.no_walls != ""
        assert [item.kind for item in carried.health.problems] == [
            item.kind for item in alone.health.problems
        ]
        for mine, its in zip(carried.health.problems, alone.health.problems, strict=True):
            assert (mine.count, mine.members) == (its.count, its.members)
            assert mine.amount == pytest.approx(its.amount)
            assert np.array_equal(mine.triangles, its.triangles)
            assert np.allclose(mine.places_mm, its.places_mm, atol=1e-6)

    def test_weight_is_where_the_copy_is(self, mirror):
        copy = turned(wedge(), mirror)
        mine, alone = (
            examined(first=wedge(), second=copy)[0]["second"].figures,
            examine_mesh(copy, FEW).figures,
        )
        assert np.allclose(mine.body.centre_mm, alone.body.centre_mm)
        assert np.allclose(mine.body.inertia_kg_mm2, alone.body.inertia_kg_mm2)
        assert mine.slenderness == pytest.approx(alone.slenderness)


def test_of_one_mesh_twice_in_one_place_the_second_is_as_the_first(counted):
    found, _ = examined(first=wedge(), second=wedge())
    assert len(counted) == 1
    assert found["second"].as_part == "first"
    assert found["second"].thickness is found["first"].thickness


class TestExaminedForItself:
    def test_a_part_with_a_vertex_off_by_two_micrometres(self, counted):
        vertices = turned(wedge()).vertices.copy()
        vertices[3, 2] += 0.002
        found, _ = examined(first=wedge(), second=TriangleMesh(vertices, wedge().faces))
        assert len(counted) == 2
        assert found["second"].as_part == ""

    def test_a_copy_that_lies_too_far_off_for_its_precision(self, counted):
        """The fault is of the place and not of the shape: single precision steps by 0.06 mm at a kilometre."""
        far = TriangleMesh(wedge().vertices + 2.0**20, wedge().faces)
        found, _ = examined(first=wedge(), second=far)
        assert len(counted) == 2
        assert found["second"].as_part == ""
        assert found["second"].health.find("far from origin") is not None

    def test_a_mesh_through_itself_since_rounding_decides_what_touches(self, counted):
        box = box_mesh((0, 0, 0), (10, 10, 10))
        two = TriangleMesh(
            np.vstack([box.vertices, box.vertices @ TURN.T + 5.0]),
            np.vstack([box.faces, box.faces + len(box.vertices)]),
        )
        assert {item.kind for item in examine_mesh(two, FEW).health.problems} == {
            "self-intersection",
            "several bodies",
        }
        found, _ = examined(first=two, second=turned(two), third=turned(two, mirror=True))
        assert len(counted) == 3
        assert {item.as_part for item in found.values()} == {""}


class TestKept:
    def test_the_first_serves_its_copies_the_next_time_too(self, tmp_path, counted):
        meshes = {"first": wedge(), "second": turned(wedge())}
        examined(Kept(tmp_path, KEPT_CLASSES), **meshes)
        again, before = examined(Kept(tmp_path, KEPT_CLASSES), **meshes)
        assert len(counted) == 1
        assert before == {"first", "second"}
        assert again["second"].as_part == "first"

    def test_a_first_that_changed_is_no_answer_for_what_was_its_copy(self, tmp_path, counted):
        examined(Kept(tmp_path, KEPT_CLASSES), first=wedge(), second=turned(wedge()))
        again, before = examined(Kept(tmp_path, KEPT_CLASSES), first=wedge(drop=1), second=turned(wedge()))
        assert len(counted) == 3
        assert before == frozenset()
        assert again["second"].as_part == ""
        assert again["second"].health.is_closed

    def test_what_is_kept_of_a_mesh_names_no_part(self, tmp_path):
        examined(Kept(tmp_path, KEPT_CLASSES), first=wedge(), second=turned(wedge()))
        found, before = examined(Kept(tmp_path, KEPT_CLASSES), another=wedge())
        assert before == {"another"}
        assert found["another"].as_part == ""

    def test_another_option_misses_for_both(self, tmp_path, counted):
        meshes = {"first": wedge(), "second": turned(wedge())}
        examined(Kept(tmp_path, KEPT_CLASSES), **meshes)
        _, before = examined(Kept(tmp_path, KEPT_CLASSES), ExaminationOptions(samples=301), **meshes)
        assert before == frozenset()
        assert len(counted) == 2


class TestObservatory:
    def test_six_ring_segments_are_examined_once_and_so_are_all_of_one_shape(self, folder, counted):
        """27 parts of five shapes: segment, rib, crown, rail and wall."""
        report = check_folder(folder)
        assert len(counted) == 5
        rings = {part.id: part.as_part for part in report.parts if part.id.startswith("ring-")}
        assert rings == {"ring-1": ""} | {f"ring-{k}": "ring-1" for k in range(2, 7)}

    def test_the_report_says_so(self, folder):
        parts = {part["id"]: part for part in parts_plain(check_folder(folder))["parts"]}
        assert parts["ring-4"]["examined_as"] == "ring-1"
        assert parts["ring-1"]["examined_as"] is None

    def test_it_finds_what_the_examination_of_every_part_by_itself_finds(self, folder, monkeypatch):
        opened = open_project(folder)
        together = check_parts(opened, fresh=True)
        monkeypatch.setattr(examination, "find_copies", lambda *_: {})
        apart = check_parts(opened, fresh=True)
        assert not any(part.as_part for part in apart.parts)
        for one, other in zip(together.parts, apart.parts, strict=True):
            said = [
                [(item.state, item.what) for item in part.findings if item.topic == "health"]
                for part in (one, other)
            ]
            assert said[0] == said[1]

    def test_it_is_recalled_with_the_same_words(self, folder):
        opened = open_project(folder)
        report = check_parts(opened)
        recalled = recall_parts(opened, chain_of(opened).structure.faces)
        assert [part.as_part for part in recalled.parts] == [part.as_part for part in report.parts]
        assert all(part.is_kept for part in recalled.parts)
