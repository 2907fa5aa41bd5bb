"""Are two shapes the same, mirror images, or nearly so: and where do they differ most?"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from dryfit.base.arrays import Array, IntArray, locked
from dryfit.calc.likeness.facets import chord_errors_at
from dryfit.calc.likeness.fitting import fit_points, settle
from dryfit.calc.likeness.shape import Shape, shape_of
from dryfit.calc.likeness.turns import principal_rotations, symmetric_rotations
from dryfit.model.mesh import TriangleMesh

# Common practice, no source: what no printer makes counts as equal; what is farther apart than a
# millimetre was meant to be different.
EQUAL_MM, NEAR_MM = 0.02, 1.0
# Facets are given no more than this for their chord error: a coarser mesh hides real differences.
MOST_CHORD_MM = 0.1
# Points used to choose a rotation, to settle it roughly, and to settle it.
_TRIED, _ROUGHLY, _SETTLED = 200, 250, 2000
_ROUGH_MM = 0.01  # what it is settled to roughly
_GLANCES = 600  # points looked at to see that two shapes are far apart
_SURE = 2.0  # a shape settled roughly that is off by so many times near_mm does not become alike

Kind = Literal["equal", "mirrored", "nearly equal", "nearly mirrored", "different"]


@dataclass(frozen=True, slots=True, eq=False)
class Likeness:
    """How b compares with a: b is about rotation @ a + translation_mm.

    rotation       (3, 3); determinant -1 where a must be mirrored
    translation_mm (3,) [mm]
    largest_mm     largest distance between the two surfaces, chord errors of facets included; where they
                   are different, of a few points only
    rms_mm         root mean square of the distances at the points looked at
    place_mm       (3,) [mm] where the largest is, in the frame of b
    sizes_differ_mm (3,) [mm] extents of b less those of a along the axes of b, after the motion
    """

    kind: Kind
    rotation: Array
    translation_mm: Array
    largest_mm: float
    rms_mm: float
    place_mm: Array
    sizes_differ_mm: Array

    def __post_init__(self) -> None:
        object.__setattr__(self, "rotation", locked(self.rotation, (3, 3), "rotation"))
        for name in ("translation_mm", "place_mm", "sizes_differ_mm"):
            object.__setattr__(self, name, locked(getattr(self, name), (3,), name))


@dataclass(frozen=True, slots=True, eq=False)
class _Fit:
    rotation: Array
    translation: Array
    largest: float
    beyond: float  # largest departure beyond what facets explain
    rms: float
    place: Array
    sizes: Array


def compare_shapes(
    a: TriangleMesh | Shape, b: TriangleMesh | Shape, equal_mm: float = EQUAL_MM, near_mm: float = NEAR_MM
) -> Likeness | None:
    """The likeness of two shapes; None where their signatures already tell them apart.

    Equal up to equal_mm plus the chord error of facets (at most MOST_CHORD_MM); nearly so up to near_mm.
    Distances are taken both ways from all vertices, and from the middles of triangles over 1 mm.
    """
    first, second = shape_of(a), shape_of(b)
    if not may_be_alike(first, second, near_mm):
        return None
    image = first.image
    # The cheap ways for both senses first: a mirror image must not wait for the dear ones to fail.
    for way in (_match_in_order, _match_by_axes, _match_by_symmetry):
        for shape, kind in ((first, "equal"), (image, "mirrored")):
            fit = way(shape, second, equal_mm) if may_share_vertices(shape, second) else None
            if fit is not None:
                return _likeness(kind, fit, is_mirrored=shape is image)
    fit, is_mirrored = _fit_surfaces(first, second, equal_mm, near_mm)
    plain = "mirrored" if is_mirrored else "equal"
    if fit.beyond <= equal_mm:
        return _likeness(plain, fit, is_mirrored)
    near = fit.beyond < float("inf") and fit.largest <= near_mm
    return _likeness(f"nearly {plain}" if near else "different", fit, is_mirrored)


def may_be_alike(a: Shape, b: Shape, near_mm: float = NEAR_MM) -> bool:
    """Whether the signatures of two shapes allow that no point of one is farther than near_mm off."""
    sa, sb = a.signature, b.signature
    spreads = float(np.abs(sa.spreads_mm - sb.spreads_mm).max())
    largest = max(sa.area_mm2, sb.area_mm2)
    # A hole or a boss too small to matter to the spreads changes the area by little.
    return (
        spreads <= near_mm
        and abs(sa.radius_mm - sb.radius_mm) <= 2.0 * near_mm
        and abs(sa.area_mm2 - sb.area_mm2) <= 0.2 * largest
    )


def _likeness(kind: str, fit: _Fit, is_mirrored: bool) -> Likeness:
    rotation = fit.rotation * np.array([-1.0, 1.0, 1.0]) if is_mirrored else fit.rotation
    return Likeness(kind, rotation, fit.translation, fit.largest, fit.rms, fit.place, fit.sizes)  # type: ignore[arg-type]


def may_share_vertices(a: Shape, b: Shape) -> bool:
    """Whether two meshes may have the same vertices: the triangles between them may not differ either."""
    sa, sb = a.signature, b.signature
    is_same = (sa.vertices, sa.triangles) == (sb.vertices, sb.triangles)
    return is_same and abs(sa.area_mm2 - sb.area_mm2) <= 1e-5 * sb.area_mm2


def _match_in_order(a: Shape, b: Shape, equal_mm: float) -> _Fit | None:
    """The fit of copies of one file, turned or mirrored by a modeller; None where they are not."""
    rotation, translation = fit_points(a.mesh.vertices, b.mesh.vertices)
    apart = _lengths(a.mesh.vertices @ rotation.T + translation - b.mesh.vertices)
    return _matched(a, b, rotation, translation, apart) if float(apart.max()) <= equal_mm else None


def _match_by_axes(a: Shape, b: Shape, equal_mm: float) -> _Fit | None:
    return _match_in_another_order(a, b, equal_mm, principal_rotations(a, b))


def _match_by_symmetry(a: Shape, b: Shape, equal_mm: float) -> _Fit | None:
    return _match_in_another_order(a, b, equal_mm, symmetric_rotations(a, b))


def _match_in_another_order(a: Shape, b: Shape, equal_mm: float, rotations: Array) -> _Fit | None:
    """The fit of meshes with the same vertices in another order; None where no rotation given shows it."""
    some = a.mesh.vertices[:: max(1, len(a.mesh.vertices) // _TRIED)]
    for rotation in rotations:
        translation = b.signature.centre_mm - rotation @ a.signature.centre_mm
        apart, index = b.corners.query(some @ rotation.T + translation)
        if float(apart.max()) > 10.0 * equal_mm:
            continue
        rotation, translation = fit_points(some, b.mesh.vertices[index])
        moved = a.mesh.vertices @ rotation.T + translation
        apart, index = b.corners.query(moved, distance_upper_bound=equal_mm)
        taken = np.zeros(len(moved) + 1, dtype=bool)
        taken[index] = True
        if np.isfinite(apart).all() and taken[:-1].all():
            return _matched(a, b, rotation, translation, apart)
    return None


def _matched(a: Shape, b: Shape, rotation: Array, translation: Array, apart: Array) -> _Fit:
    moved = a.mesh.vertices @ rotation.T + translation
    worst = float(apart.max())
    rms = float(np.sqrt((apart**2).mean()))
    sizes = np.ptp(b.mesh.vertices, axis=0) - np.ptp(moved, axis=0)
    return _Fit(rotation, translation, worst, 0.0, rms, moved[int(apart.argmax())], sizes)


def _fit_surfaces(a: Shape, b: Shape, equal_mm: float, near_mm: float) -> tuple[_Fit, bool]:
    """The best fit of a, or of its image, to b, and whether it is the image.

    One place of the points looked at that is farther than near_mm off settles that a fit is neither equal
    nor nearly so: a glance finds it in most shapes that differ, and spares them the rest.
    """
    senses = (a, a.image)
    motions = [_settle_roughly(shape, b) for shape in senses]
    is_far = [
        _is_far(shape, b, *motion, _SURE * near_mm) for shape, motion in zip(senses, motions, strict=True)
    ]
    for k, shape in enumerate(senses):
        if not is_far[k]:
            motions[k] = settle(shape.spread_points(_SETTLED), b, *motions[k])
            is_far[k] = _is_far(shape, b, *motions[k], near_mm)
    if all(is_far):
        return _glance(a, b, *motions[0]), False
    best: tuple[_Fit, bool] | None = None
    for k, shape in enumerate(senses):
        if is_far[k]:
            continue
        fit = _measure(shape, b, *motions[k], equal_mm)
        if best is None or fit.beyond < best[0].beyond:
            best = fit, k == 1
        if fit.beyond <= equal_mm:
            break
    assert best is not None  # one of them is not far
    return best


def _settle_roughly(a: Shape, b: Shape) -> tuple[Array, Array]:
    """The rotation and translation that bring a nearest to b, settled on few points."""
    points = a.spread_points(_TRIED)
    best: tuple[float, Array, Array] | None = None
    for rotation in np.concatenate([principal_rotations(a, b), symmetric_rotations(a, b)]):
        translation = b.signature.centre_mm - rotation @ a.signature.centre_mm
        distances, _, _ = b.nearest(points @ rotation.T + translation)
        score = float(np.sqrt((distances**2).mean()))
        if best is None or score < best[0]:
            best = (score, rotation, translation)
    assert best is not None  # there are always four rotations
    return settle(a.spread_points(_ROUGHLY), b, best[1], best[2], _ROUGH_MM)


def _is_far(a: Shape, b: Shape, rotation: Array, translation: Array, far_mm: float) -> bool:
    """Whether a glance shows a place of one that is farther than far_mm from the other."""
    points, _ = _some(a.looked_at, _GLANCES)
    if float(b.nearest(points @ rotation.T + translation)[0].max()) > far_mm:
        return True
    points, _ = _some(b.looked_at, _GLANCES)
    return float(a.nearest((points - translation) @ rotation)[0].max()) > far_mm


def _some(looked_at: tuple[Array, IntArray], most: int) -> tuple[Array, IntArray]:
    """At most about so many of the points, at even steps."""
    points, owners = looked_at
    step = max(1, len(points) // most)
    return points[::step], owners[::step]


def _glance(a: Shape, b: Shape, rotation: Array, translation: Array) -> _Fit:
    """The fit of a motion from a few points of a, facets not allowed for: for shapes that differ anyway."""
    moved = _some(a.looked_at, _GLANCES)[0] @ rotation.T + translation
    apart, _, _ = b.nearest(moved)
    worst = int(apart.argmax())
    whole = a.mesh.vertices @ rotation.T + translation
    sizes = np.ptp(b.mesh.vertices, axis=0) - np.ptp(whole, axis=0)
    rms = float(np.sqrt((apart**2).mean()))
    return _Fit(rotation, translation, float(apart[worst]), float("inf"), rms, moved[worst], sizes)


def _measure(a: Shape, b: Shape, rotation: Array, translation: Array, equal_mm: float) -> _Fit:
    there = _departures(a, b, a.looked_at, rotation, translation, equal_mm)
    points, owners = b.looked_at
    back = _departures(b, a, (points, owners), rotation.T, -rotation.T @ translation, equal_mm)
    apart = np.concatenate([there[0], back[0]])
    beyond = np.concatenate([there[1], back[1]])
    places = np.vstack([there[2], points])
    # Of the places that facets do not explain, the one that lies farthest off; else the farthest of all.
    counts = beyond > equal_mm
    worst = int(np.where(counts | ~counts.any(), apart, 0.0).argmax())
    moved = a.mesh.vertices @ rotation.T + translation
    sizes = np.ptp(b.mesh.vertices, axis=0) - np.ptp(moved, axis=0)
    rms = float(np.sqrt((apart**2).mean()))
    return _Fit(rotation, translation, float(apart[worst]), float(beyond.max()), rms, places[worst], sizes)


def _departures(
    a: Shape,
    b: Shape,
    looked_at: tuple[Array, IntArray],
    rotation: Array,
    translation: Array,
    equal_mm: float,
) -> tuple[Array, Array, Array]:
    """Distances of points of a from b, those beyond what facets explain, and the points brought to b.

    Two tessellations of one round surface both lie between it and its chords, so the greater chord error
    of the two is all that facets can explain.
    """
    points, owners = looked_at
    moved = points @ rotation.T + translation
    apart, hit, nearest = b.nearest(moved)
    beyond = apart.copy()
    far = np.flatnonzero(apart > equal_mm)
    if len(far):
        there = chord_errors_at(b, hit[far], nearest[far])
        here = chord_errors_at(a, owners[far], points[far])
        beyond[far] -= np.minimum(np.maximum(there, here), MOST_CHORD_MM)
    return apart, beyond, moved


def _lengths(vectors: Array) -> Array:
    lengths: Array = np.sqrt((vectors**2).sum(axis=1))
    return lengths
