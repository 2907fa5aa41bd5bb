"""Meshes examined once, in parallel, and found again by their content, options and program version."""

import dataclasses

import numpy as np
import pytest

from building import box_mesh
from dryfit.app import examination, workers
from dryfit.app.examination import (
    AS_USUAL,
    KEPT_CLASSES,
    ExaminationOptions,
    examination_key,
    examine_mesh,
    examine_parts,
    figures_of,
    hash_mesh,
)
from dryfit.app.geometry import shape_in_assembly
from dryfit.base.errors import Interrupted
from dryfit.model.mesh import TriangleMesh
from dryfit.model.part import Part
from dryfit.store.kept import Kept

FEW = ExaminationOptions(samples=300)


def shapes_of(**meshes):
    return {name: shape_in_assembly(Part(name, "x", "m", "p"), mesh) for name, mesh in meshes.items()}


def hashes_of(shapes):
    return {name: hash_mesh(shape.mesh) for name, shape in shapes.items()}


@pytest.fixture
def shapes():
    plate = box_mesh((0, 0, 0), (40, 30, 2))
    return shapes_of(plate=plate, other=box_mesh((0, 0, 0), (10, 10, 10)), same=plate)


@pytest.fixture
def counted(monkeypatch):
    """How often a mesh is really examined."""
    calls = []

    def counting(mesh, options, progress=None):
        calls.append(len(mesh.faces))
        return examine_mesh(mesh, options, progress)

    monkeypatch.setattr(examination, "examine_mesh", counting)
    return calls


def open_kept(tmp_path):
    return Kept(tmp_path, KEPT_CLASSES)


class TestOne:
    def test_a_plate_is_as_thick_as_it_is(self):
        """Closed form: both sides of a plate are its thickness apart."""
        found = examine_mesh(box_mesh((0, 0, 0), (40, 30, 2)), FEW)
        assert found.health.problems == ()
        walls = found.thickness.wall_mm[found.thickness.thickness.is_wall]
        assert walls.min() == pytest.approx(2.0, abs=1e-6)

    def test_of_an_open_mesh_no_wall_is_measured_and_it_says_why(self):
        box = box_mesh((0, 0, 0), (10, 10, 10))
        found = examine_mesh(TriangleMesh(box.vertices, box.faces[:-1]), FEW)
        assert found.thickness is None
        assert found.no_walls
        assert found.health.problems


class TestFigures:
    """Of a box, arithmetic: what weight, likeness and printing need of a mesh is found with it."""

    def test_of_a_box(self):
        found = examine_mesh(box_mesh((0, 0, 0), (40, 30, 2)), FEW).figures
        assert found.body.mass_g == pytest.approx(2.4)  # 2.4 cm3 of 1 g each
        assert found.body.centre_mm == pytest.approx([20, 15, 1])
        assert found.signature.area_mm2 == pytest.approx(2 * (1200 + 80 + 60))
        assert found.slenderness == pytest.approx(20.0)

    def test_a_mesh_without_volume_has_no_body(self):
        box = box_mesh((0, 0, 0), (10, 10, 10))
        assert figures_of(TriangleMesh(box.vertices, box.faces[:, ::-1])).body is None

    def test_a_mesh_without_area_or_faces_has_none(self):
        point = TriangleMesh(np.zeros((3, 3)), np.array([[0, 1, 2]]))
        for mesh in (point, TriangleMesh(np.zeros((0, 3)), np.zeros((0, 3), dtype=np.int64))):
            found = figures_of(mesh)
            assert (found.signature, found.body, found.slenderness) == (None, None, 1.0)

    def test_they_are_kept(self, shapes, tmp_path):
        first, _ = examine_parts(shapes, hashes_of(shapes), open_kept(tmp_path), FEW)
        again, before = examine_parts(shapes, hashes_of(shapes), open_kept(tmp_path), FEW)
        assert before == set(shapes)
        for name in shapes:
            one, other = first[name].figures, again[name].figures
            assert one.slenderness == other.slenderness
            assert one.body.mass_g == other.body.mass_g
            assert np.array_equal(one.body.inertia_kg_mm2, other.body.inertia_kg_mm2)
            assert np.array_equal(one.signature.axes, other.signature.axes)


class TestKept:
    def test_an_unchanged_part_is_not_examined_again(self, tmp_path, shapes, counted):
        first, before = examine_parts(shapes, hashes_of(shapes), open_kept(tmp_path), FEW)
        assert before == frozenset()
        assert len(counted) == 2  # two of the three are one mesh
        again, before = examine_parts(shapes, hashes_of(shapes), open_kept(tmp_path), FEW)
        assert len(counted) == 2
        assert before == {"plate", "other", "same"}
        for name in shapes:
            assert np.array_equal(first[name].thickness.wall_mm, again[name].thickness.wall_mm)
            assert first[name].health.problems == again[name].health.problems

    def test_a_changed_mesh_is(self, tmp_path, shapes, counted):
        examine_parts(shapes, hashes_of(shapes), open_kept(tmp_path), FEW)
        moved = shapes_of(plate=box_mesh((0, 0, 0), (40, 30, 2.0000001)))
        _, before = examine_parts(moved, hashes_of(moved), open_kept(tmp_path), FEW)
        assert before == frozenset()
        assert len(counted) == 3

    def test_another_option_misses(self, tmp_path, shapes, counted):
        examine_parts(shapes, hashes_of(shapes), open_kept(tmp_path), FEW)
        options = dataclasses.replace(FEW, samples=301)
        _, before = examine_parts(shapes, hashes_of(shapes), open_kept(tmp_path), options)
        assert before == frozenset()
        assert len(counted) == 4

    def test_another_program_version_misses(self):
        key = examination_key("mesh", AS_USUAL)
        assert key != examination_key("mesh", AS_USUAL, "0.0.0")
        assert key != examination_key("other", AS_USUAL)

    def test_another_meaning_of_the_results_misses(self, monkeypatch):
        key = examination_key("mesh", AS_USUAL)
        monkeypatch.setattr(examination, "RESULTS_VERSION", 99)
        assert key != examination_key("mesh", AS_USUAL)

    @pytest.mark.parametrize(
        "change",
        [
            {"seed": 2},
            {"samples": 5},
            *(
                {
                    "health": dataclasses.replace(
                        AS_USUAL.health, **{name: 0.5 * getattr(AS_USUAL.health, name)}
                    )
                }
                for name in (field.name for field in dataclasses.fields(AS_USUAL.health))
            ),
        ],
    )
    def test_every_option_is_part_of_the_key(self, change):
        assert examination_key("m", AS_USUAL) != examination_key("m", dataclasses.replace(AS_USUAL, **change))

    def test_the_order_of_faces_is_part_of_the_content(self):
        box = box_mesh((0, 0, 0), (10, 10, 10))
        assert hash_mesh(box) != hash_mesh(TriangleMesh(box.vertices, box.faces[::-1]))
        assert hash_mesh(box) == hash_mesh(TriangleMesh(box.vertices.copy(), box.faces.copy()))


class TestParallel:
    @pytest.fixture(autouse=True)
    def _in_processes(self, monkeypatch):
        monkeypatch.setattr(workers, "FEW_TRIANGLES", 0)
        monkeypatch.setattr(workers, "cpu_count", lambda: 2)

    @pytest.mark.slow
    def test_in_processes_it_finds_the_same(self, shapes, monkeypatch):
        seen = []
        found, _ = examine_parts(
            shapes, hashes_of(shapes), None, FEW, lambda done, total: seen.append((done, total))
        )
        assert seen[-1] == (36, 36)
        assert [done for done, _ in seen] == sorted(done for done, _ in seen)
        for name, shape in shapes.items():
            alone = examine_mesh(shape.mesh, FEW)
            assert np.array_equal(found[name].thickness.wall_mm, alone.thickness.wall_mm)

    @pytest.mark.slow
    def test_it_can_be_stopped(self, shapes):
        def stop(done, total):
            if done == 0:
                raise Interrupted("stopped", "here", "start again")

        with pytest.raises(Interrupted):
            examine_parts(shapes, hashes_of(shapes), None, FEW, stop)
