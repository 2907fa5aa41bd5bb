"""What holds for every comparison of two states."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from building.meshes import box_mesh, ring_segment_mesh
from dryfit.app.changes_document import document_changes, read_raw
from dryfit.app.changes_parts import compare_meshes
from dryfit.calc.revision import Bench, hash_geometry, judge_fate, letter_rank, measure_deviation, next_letter
from dryfit.model.mesh import TriangleMesh
from dryfit.store.document import parse_document
from support.projects import PORTAL, document, part_row

lengths = st.floats(0.05, 3.0)
seeds = st.integers(0, 2**32 - 1)
RING = ring_segment_mesh(50.0, 60.0, 20.0, 10.0, 70.0, 8)


def shaken(seed: int, by: float = 1.0) -> TriangleMesh:
    """A closed body without symmetry: a box with its corners moved."""
    draw = np.random.default_rng(seed)
    body = box_mesh([0, 0, 0], [40, 30, 20])
    return TriangleMesh(body.vertices + draw.uniform(-by, by, body.vertices.shape), body.faces)


@given(seeds)
def test_the_hash_is_of_the_shape_and_not_of_the_file(seed: int) -> None:
    draw = np.random.default_rng(seed)
    mesh = shaken(seed)
    order = draw.permutation(len(mesh.vertices))
    faces = np.argsort(order)[mesh.faces]
    turned = np.take_along_axis(faces, (draw.integers(0, 3, len(faces))[:, None] + np.arange(3)) % 3, axis=1)
    other = TriangleMesh(mesh.vertices[order], turned[draw.permutation(len(faces))])
    assert hash_geometry(other) == hash_geometry(mesh)


@settings(deadline=None, max_examples=25)
@given(seeds, seeds)
def test_what_one_way_adds_the_other_takes_away(first: int, second: int) -> None:
    a, b = shaken(first), shaken(second)
    there, back = measure_deviation(a, b), measure_deviation(b, a)
    assert there.added_mm == pytest.approx(back.removed_mm, abs=1e-6)
    assert there.removed_mm == pytest.approx(back.added_mm, abs=1e-6)


@settings(deadline=None, max_examples=25)
@given(seeds)
def test_a_shape_compared_with_itself_is_unchanged(seed: int) -> None:
    mesh = shaken(seed)
    assert compare_meshes(mesh, TriangleMesh(mesh.vertices, mesh.faces), Bench()).kind == "unchanged"


@settings(deadline=None, max_examples=25)
@given(seeds, lengths)
def test_a_motion_is_found_again(seed: int, shift: float) -> None:
    mesh = shaken(seed)
    turn = Rotation.random(random_state=seed % 2**31).as_matrix()
    moved = TriangleMesh(mesh.vertices @ turn.T + shift, mesh.faces)
    found = compare_meshes(mesh, moved, Bench())
    assert found.kind == "moved"
    assert found.motion is not None
    assert found.motion.rotation == pytest.approx(turn, abs=1e-6)


@settings(deadline=None, max_examples=25)
@given(lengths)
def test_a_face_moved_out_is_added_by_just_that(by: float) -> None:
    vertices = RING.vertices.copy()
    vertices[len(vertices) // 2 :, 2] += by
    found = compare_meshes(RING, TriangleMesh(vertices, RING.faces), Bench())
    assert found.kind == "changed"
    assert found.deviation is not None
    assert found.deviation.added_mm == pytest.approx(by, rel=1e-6)
    assert found.deviation.removed_mm == pytest.approx(0.0, abs=1e-9)


@given(st.permutations(sorted(PORTAL)))
def test_the_order_of_rows_does_not_matter(order: list[str]) -> None:
    before = document()
    after = document(parts="".join(part_row(name) for name in order))
    old, new = (parse_document(text, "project.toml").project for text in (before, after))
    assert document_changes(read_raw(before, "a"), read_raw(after, "b"), old, new, {}) == ()


GRAVITY = ("good", "rework", "lost")
depths = st.floats(0.0, 2.0)


@given(depths, depths, depths, depths)
def test_a_greater_change_is_never_the_milder_fate(
    added: float, more: float, removed: float, deeper: float
) -> None:
    bench = Bench()
    mild = judge_fate(bench, added, removed)[0]
    grave = judge_fate(bench, added + more, removed + deeper)[0]
    assert GRAVITY.index(grave) >= GRAVITY.index(mild)


@given(st.integers(1, 10_000))
def test_each_letter_ranks_one_above_the_one_before(count: int) -> None:
    letter = ""
    for _ in range(count % 60 + 1):
        following = next_letter(letter)
        assert letter_rank(following) == (letter_rank(letter) if letter else 0) + 1
        letter = following
