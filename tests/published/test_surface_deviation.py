"""Deviation of one surface from another: closed forms, and a general-purpose mesh library.

A sphere whose radius grew by 0.25 lies 0.25 off everywhere; between the corners of its facets both surfaces lie
inside by the same share. A straight bar bent to a bow of height h (its middle raised as 4 h x (L - x) / L^2): the
greatest deviation is h at the middle of the top. The library's nearest points of all triangles, and its rays that
tell inside from outside, are taken at the same points.
"""

from __future__ import annotations

import numpy as np
import trimesh

from dryfit.calc.revision import measure_deviation
from dryfit.model.mesh import TriangleMesh
from published.registry import check

SOURCE = "Deviation of surfaces, closed form"
LIBRARY = "trimesh 5 (nearest points, inside by rays)"


def sphere(radius: float) -> TriangleMesh:
    body = trimesh.creation.icosphere(subdivisions=4, radius=radius)
    return TriangleMesh(np.array(body.vertices), np.array(body.faces, dtype=np.int64))


def bar(bow: float) -> TriangleMesh:
    """200 x 10 x 10, divided along its length, bent upwards."""
    body = trimesh.creation.box((200.0, 10.0, 10.0))
    for _ in range(4):
        body = body.subdivide()
    vertices = np.array(body.vertices)
    along = vertices[:, 0] + 100.0
    vertices[:, 2] += 4.0 * bow * along * (200.0 - along) / 200.0**2
    return TriangleMesh(vertices, np.array(body.faces, dtype=np.int64))


def test_an_offset_sphere() -> None:
    found = measure_deviation(sphere(20.0), sphere(20.25))
    check(SOURCE, "offset sphere, plastic added", 0.25, found.added_mm, 1e-3, seen=False, unit="mm")
    check(SOURCE, "offset sphere, plastic taken away", 0.0, found.removed_mm, 1e-9, seen=False, unit="mm")
    check(SOURCE, "offset sphere, rms", 0.25, found.rms_mm, 1e-3, seen=False, unit="mm")
    check(SOURCE, "offset sphere, least at a vertex", 0.25, float(found.on_new_mm.min()), 1e-3, seen=False)


def test_a_shrunk_sphere() -> None:
    found = measure_deviation(sphere(20.25), sphere(20.0))
    check(SOURCE, "shrunk sphere, plastic taken away", 0.25, found.removed_mm, 1e-3, seen=False, unit="mm")
    check(SOURCE, "shrunk sphere, plastic added", 0.0, found.added_mm, 1e-9, seen=False, unit="mm")


def test_a_bent_bar() -> None:
    found = measure_deviation(bar(0.0), bar(0.8))
    check(SOURCE, "bent bar, greatest at the middle", 0.8, found.largest_mm, 1e-9, seen=False, unit="mm")
    middle = np.abs(bar(0.0).vertices[:, 0]) < 1e-9
    below = middle & (bar(0.0).vertices[:, 2] < -4.9) & (np.abs(bar(0.0).vertices[:, 1]) < 4.0)
    check(SOURCE, "bent bar, underside of the middle", -0.8, found.on_new_mm[below].mean(), 1e-9, seen=False)


def test_against_the_library() -> None:
    old, new = bar(0.0), bar(0.8)
    found = measure_deviation(old, new)
    assert found.new is not None
    points = found.new.points[::17]
    library = trimesh.Trimesh(old.vertices, old.faces, process=False)
    apart = [
        np.linalg.norm(
            trimesh.triangles.closest_point(library.triangles, np.tile(point, (len(old.faces), 1))) - point,
            axis=1,
        ).min()
        for point in points
    ]
    theirs = np.where(library.contains(points), -1.0, 1.0) * apart
    ours = found.new.signed_mm[::17]
    off = np.abs(theirs - ours)
    worst = int(off.argmax())
    name = f"bent bar, {len(theirs)} points, the one that differs most"
    check(LIBRARY, name, theirs[worst], ours[worst], 1e-7, seen=True, unit="mm")
