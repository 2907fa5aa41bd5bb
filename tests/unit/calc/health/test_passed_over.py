"""What the search for self-intersections passes over without judging it: nothing that meets.

Against classify_pairs on every pair of faces, which is exact (its own tests say against what).
"""

import numpy as np
import pytest

from dryfit.base.topology import tabulate_edges
from dryfit.calc.health import HealthOptions, find_meetings
from dryfit.calc.health.calm import find_calm
from dryfit.calc.health.meeting import APART, classify_pairs
from dryfit.calc.health.slabs import extents_along, leave_out_parted
from support.shapes import torus


def crumpled(seed):
    """A closed surface whose vertices were moved, some to whole numbers: folds, touches, flat triangles."""
    generator = np.random.default_rng(seed)
    body = torus(3.0, 1.0, 9, 7)
    size = generator.choice([0.05, 0.3, 0.8, 2.0])
    vertices = body.vertices + size * generator.standard_normal(body.vertices.shape)
    if seed % 3 == 0:
        vertices = np.rint(2.0 * vertices) / 2.0
    if seed % 5 == 0:
        vertices[:, 2] = np.rint(vertices[:, 2])
    faces = body.faces
    if seed % 4 == 0:
        faces = np.delete(faces, generator.integers(len(faces), size=3), axis=0)
    normal = np.cross(
        vertices[faces[:, 1]] - vertices[faces[:, 0]], vertices[faces[:, 2]] - vertices[faces[:, 0]]
    )
    return vertices, faces[(normal != 0).any(axis=1)]


@pytest.mark.parametrize("seed", range(60))
def test_faces_that_share_a_calm_vertex_meet_in_what_they_share_alone(seed):
    vertices, faces = crumpled(seed)
    is_calm = find_calm(vertices, tabulate_edges(faces, len(vertices)), np.ones(len(faces), dtype=bool))
    first, second = np.triu_indices(len(faces), 1)
    shares = np.zeros(len(first), dtype=bool)
    for k in range(3):
        for j in range(3):
            shares |= (faces[first, k] == faces[second, j]) & is_calm[faces[first, k]]
    assert (classify_pairs(vertices, faces, first[shares], second[shares]) == APART).all()


@pytest.mark.parametrize("seed", range(60))
def test_nothing_that_meets_is_parted_by_extents(seed):
    vertices, faces = crumpled(seed)
    vertices = vertices + np.array([1000.0 * seed, 0.1, -3.0])
    first, second = np.triu_indices(len(faces), 1)
    kept = {
        *zip(
            *(rows.tolist() for rows in leave_out_parted(extents_along(vertices, faces), first, second)),
            strict=True,
        )
    }
    share = (faces[first][:, :, None] == faces[second][:, None]).any(axis=(1, 2))
    meets = share | (classify_pairs(vertices, faces, first, second) != APART)
    assert {*zip(first[meets].tolist(), second[meets].tolist(), strict=True)} <= kept


@pytest.mark.parametrize("seed", range(12))
def test_the_same_is_found_with_and_without(seed):
    vertices, faces = crumpled(seed)
    chosen = np.arange(len(faces))
    is_calm = find_calm(vertices, tabulate_edges(faces, len(vertices)), np.ones(len(faces), dtype=bool))
    one = find_meetings(vertices, faces, chosen, HealthOptions())
    other = find_meetings(vertices, faces, chosen, HealthOptions(), is_calm=is_calm)
    assert np.array_equal(one.first, other.first)
    assert np.array_equal(one.second, other.second)
    assert np.array_equal(one.kind, other.kind)


def test_a_smooth_surface_is_calm_nearly_everywhere_and_a_folded_one_is_not():
    body = torus(30.0, 10.0, 60, 40)
    everything = np.ones(len(body.faces), dtype=bool)
    table = tabulate_edges(body.faces, len(body.vertices))
    assert find_calm(body.vertices, table, everything).mean() > 0.99
    # A vertex pulled along the surface beyond its neighbours folds the faces round it.
    folded = body.vertices.copy()
    folded[0] += [0.0, 12.0, 0.0]
    assert not find_calm(folded, table, everything)[0]
    everything[0] = False
    assert not find_calm(body.vertices, table, everything)[body.faces[0]].any()


def test_two_turns_round_one_vertex_are_not_calm():
    """A star of six faces that goes round its middle twice, seen from above always counter-clockwise."""
    angle = 2.0 * np.pi * np.arange(6) / 3.0 + 0.1
    rim = np.stack([np.cos(angle), np.sin(angle), 0.05 * np.arange(6)], axis=1)
    vertices = np.vstack([[0.0, 0.0, 0.0], rim, [0.0, 0.0, -9.0]])
    ring = np.arange(6)
    faces = np.concatenate(
        [
            np.stack([np.zeros(6, dtype=int), 1 + ring, 1 + (ring + 1) % 6], axis=1),
            np.stack([np.full(6, 7), 1 + (ring + 1) % 6, 1 + ring], axis=1),
        ]
    )
    table = tabulate_edges(faces, len(vertices))
    assert not find_calm(vertices, table, np.ones(len(faces), dtype=bool))[0]
