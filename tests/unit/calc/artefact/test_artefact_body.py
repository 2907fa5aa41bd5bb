"""The body of a test artefact: one closed body inside its room, light enough, printed without support."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from manifold3d import Manifold, Mesh64, OpType

from dryfit.base.errors import ComputationRefused
from dryfit.calc.artefact import (
    Form,
    Sizes,
    Wish,
    build_mesh,
    build_pieces,
    design_body,
    full_form,
    lay_out,
    list_boxes,
)
from dryfit.calc.mesh import measure_mesh
from dryfit.model.mesh import TriangleMesh
from support.artefacts import GRAMS_400, TYPICAL, UNSHRUNK, a_wish


def normals(mesh: TriangleMesh) -> np.ndarray:
    a, b, c = (mesh.vertices[mesh.faces[:, k]] for k in range(3))
    normal = np.cross(b - a, c - a)
    return np.asarray(normal / np.linalg.norm(normal, axis=1)[:, None])


def test_the_room_is_spanned_where_the_mass_allows() -> None:
    sizes, _, given_up = design_body(TYPICAL)
    assert (sizes.length_x, sizes.length_y, sizes.height) == (498.0, 498.0, 598.0)
    assert given_up == ()


def test_what_is_given_up_is_said_in_order() -> None:
    grams = 1000.0 / 1.24
    said = [
        design_body(Wish(TYPICAL.room_mm, mass * grams, 0.9, 300.0, (150.0,)))[2]
        for mass in (370, 320, 200, 150)
    ]
    assert "rails" in said[0][0]
    assert any("second upright" in text for text in said[1])
    assert any("first upright" in text for text in said[2])
    assert any("no second upright" in text for text in said[3])
    mass = [
        measure_mesh(design_body(Wish(TYPICAL.room_mm, m * grams, 0.9, 300.0, (150.0,)))[1]).volume_mm3
        for m in (320, 200)
    ]
    # what may be used is used: within a few per cent of the limit
    assert mass[0] > 0.97 * 320 * grams
    assert mass[1] > 0.97 * 200 * grams


def test_a_narrow_bed_gets_no_taller_uprights_than_stand_on_it() -> None:
    sizes, _, given_up = design_body(Wish((1400.0, 98.0, 1400.0), GRAMS_400, 0.45, 300.0, (150.0,)))
    assert sizes.height < 10.0 * 0.35 * 98.0 + 1.0
    assert any("would not stand" in text for text in given_up)


@pytest.mark.parametrize(
    "wish", [Wish((60.0, 300.0, 300.0), GRAMS_400, 0.45), Wish((300.0, 300.0, 300.0), 5e3, 0.45)]
)
def test_too_little_room_or_material_is_refused(wish: Wish) -> None:
    with pytest.raises(ComputationRefused):
        design_body(wish)


def test_a_scrap_of_material_still_makes_a_body() -> None:
    sizes, mesh, given_up = design_body(Wish((498.0, 498.0, 598.0), 70e3, 0.45, 300.0, (150.0,)))
    assert measure_mesh(mesh).volume_mm3 <= 70e3
    assert sizes.length_x < 498.0
    assert any("long in X" in text for text in given_up)


def test_layout_and_mesh_of_a_stated_form_are_repeatable() -> None:
    form = Form(200.0, 180.0, 150.0, 120.0, 1)
    first, second = (build_mesh(lay_out(TYPICAL, form)) for _ in range(2))
    assert np.array_equal(first.vertices, second.vertices)
    assert np.array_equal(first.faces, second.faces)
    assert full_form(TYPICAL).height_b < full_form(TYPICAL).height_a


def test_a_body_with_a_known_needle_is_clean() -> None:
    # found by chance: three solids with faces in one plane
    _, mesh, _ = design_body(Wish((493.0, 411.0, 183.0), 151e3, 0.40625, 150.0))
    assert measure_mesh(mesh).degenerate_faces == 0


def test_pieces_for_drawing_are_the_body_together() -> None:
    sizes, mesh, _ = design_body(TYPICAL)
    pieces = build_pieces(sizes)
    assert len({piece.name for piece in pieces}) == len(pieces) == 8  # four rails, two plates of each upright
    solids = [Manifold(Mesh64(np.array(piece.vertices), piece.faces.astype(np.uint64))) for piece in pieces]
    together = Manifold.batch_boolean(solids, OpType.Add)
    assert together.volume() == pytest.approx(measure_mesh(mesh).volume_mm3, rel=1e-9)


@settings(max_examples=40, deadline=None, phases=UNSHRUNK)
@given(a_wish())
def test_any_room_gets_one_closed_body_that_fits_it_and_stands_free(wish: Wish) -> None:
    sizes, mesh, _ = design_body(wish)
    measures = measure_mesh(mesh)
    assert measures.is_closed
    assert measures.is_consistently_oriented
    assert not measures.degenerate_faces
    assert 0.0 < measures.volume_mm3 <= wish.volume_mm3 * (1 + 1e-9)
    assert (mesh.vertices.min(axis=0) == 0.0).all()
    assert (mesh.vertices.max(axis=0) <= np.array(wish.room_mm)).all()
    # one body: every vertex is reached from the first
    assert len(_bodies(mesh)) == 1
    # no overhang: what faces down lies on the bed, everything else is upright or faces up
    down = normals(mesh)[:, 2] < -1e-9
    assert np.abs(mesh.vertices[mesh.faces[down], 2]).max() < 1e-9
    assert sizes.height == pytest.approx(mesh.vertices[:, 2].max())


def _bodies(mesh: TriangleMesh) -> set[int]:
    parent = list(range(len(mesh.vertices)))

    def root(index: int) -> int:
        while parent[index] != index:
            parent[index] = parent[parent[index]]
            index = parent[index]
        return index

    for a, b, c in mesh.faces.tolist():
        parent[root(a)] = root(b)
        parent[root(b)] = root(c)
    return {root(index) for index in range(len(parent))}


@settings(max_examples=25, deadline=None, phases=UNSHRUNK)
@given(a_wish())
def test_volume_is_that_of_a_height_map(wish: Wish) -> None:
    # independent: the body is as high over each spot as the highest solid that stands there
    sizes, mesh, _ = design_body(wish)
    xs, ys = _cells(sizes, 0), _cells(sizes, 1)
    x, y = np.meshgrid(0.5 * (xs[1:] + xs[:-1]), 0.5 * (ys[1:] + ys[:-1]), indexing="ij")
    height = np.zeros_like(x)
    for (x0, x1), (y0, y1), top in list_boxes(sizes):
        height = np.where((x > x0) & (x < x1) & (y > y0) & (y < y1), np.maximum(height, top), height)
    volume = float((height * np.diff(xs)[:, None] * np.diff(ys)[None, :]).sum())
    posts = 0.0
    for post in sizes.posts:
        area = 0.5 * 64 * math.sin(2 * math.pi / 64) * (0.5 * post.diameter) ** 2
        base = sizes.rail_height + (14.0 if post.on == "corner" else 0.0)
        # a post stands out over the side of its rail; the corner posts stand on their blocks
        posts += area * (post.height - base)
        posts += (
            0.0 if post.on == "corner" else _beside_rail(post.diameter, sizes.rail_width) * sizes.rail_height
        )
    assert measure_mesh(mesh).volume_mm3 == pytest.approx(volume + posts, rel=2e-3)


def _cells(sizes: Sizes, axis: int) -> np.ndarray:
    edges = {value for box in list_boxes(sizes) for value in box[axis]}
    return np.array(sorted(edges))


def _beside_rail(diameter: float, rail: float) -> float:
    """Area of the circle about 6 mm from the outer face that lies beyond the rail's inner face."""
    radius, away = 0.5 * diameter, rail - 6.0
    angle = math.acos(max(-1.0, min(1.0, away / radius)))
    return radius**2 * (angle - math.sin(angle) * math.cos(angle))


@settings(max_examples=60, deadline=None, phases=UNSHRUNK)
@given(a_wish())
def test_blocks_posts_and_uprights_keep_clear_of_one_another(wish: Wish) -> None:
    sizes, _, _ = design_body(wish)
    for axis in (0, 1):
        spans = [(0.0, max(sizes.foot[0], sizes.treads_a[0].reach))]
        spans += [(block.start, block.end) for block in sizes.along(axis)]
        spans += [
            ((post.x, post.y)[axis] - 5.0, (post.x, post.y)[axis] + 5.0)
            for post in sizes.posts
            if post.on != "corner" and (post.x, post.y)[1 - axis] == 6.0
        ]
        spans.sort()
        for (_, end), (start, _) in pairwise(spans):
            assert start - end >= 6.9, spans
    if sizes.treads_b:
        plate = sizes.length_y - max(sizes.foot[0], sizes.treads_b[0].reach)
        assert all(post.y + 5.0 < plate for post in sizes.posts if post.on == "y" and post.x > 6.0)
