"""The part of a curved face that one element covers: a fillet among fillets, a bore that runs into a round."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from dryfit.base.arrays import Array, BoolArray, IntArray
from dryfit.calc.faces.find import vertices_of
from dryfit.calc.faces.pieces import EVEN_ANGLES_DEG
from dryfit.calc.faces.segment import Faces
from dryfit.calc.faces.surface import connected_labels, dots, lengths

# An element covers vertices within this of it, and within the second, of its smallest radius of curvature.
# Common practice, no source: the first is the noise of a clean mesh, the second keeps small rounds apart.
COVER_MM = 0.05
COVER_SHARE = 0.02
# Facets lean from the surface that they stand for by half of the bend from one to the next.
COVER_ANGLE_DEG = 25.0
# A form that covers this share of the most that any covers will do, and the simplest of those is taken, unless
# it fits worse than the best by more than this factor and by more than this: below it no print shows a form.
WIDE_SHARE = 0.97
WORSE_FACTOR, WORSE_MM = 3.0, 0.002
# A smaller neighbourhood is believed instead where its element fits this much better and reaches this much
# beyond what it was fitted to: a mixture of two faces can lie near one element by chance, within a print's
# reach. Common practice, no source.
BETTER_FACTOR, BEYOND_FACTOR = 3.0, 2.0
# Edges along the axis of a cone lean from one another by up to its apex angle; those of a cylinder do not.
STRIP_DEG = 30.0
MOST_SLACK_DEG = 0.3  # slivers, whose normals say nothing, must not tie a strip to what follows it
_MOST_POINTS = 2000  # that an element is sought with; more do not make it better known here
_FEWEST = 6  # triangles from which an element is fitted: three strips of a round
_ROUNDS = 8
_QUARTER = 4


@dataclass(frozen=True, slots=True, eq=False)
class Element:
    """A fitted element as the growing sees it.

    distance   (n, 3) points [mm] -> (n,) signed distances from its surface [mm]
    outward    (n, 3) points [mm] -> (n, 3) unit normals of its surface, up to sign
    radius_mm  its smallest radius of curvature
    """

    distance: Callable[[Array], Array]
    outward: Callable[[Array], Array]
    radius_mm: float


# points (n, 3), normals (n, 3) -> the element of least squares, None where they determine none
Fitter = Callable[[Array, Array], Element | None]


@dataclass(frozen=True, slots=True, eq=False)
class Grown:
    """form: of the element that covers the face; triangles: of the mesh; element: fitted to their vertices.

    stray_mm  root mean square distance of the vertices from the element
    area_mm2  of the triangles
    """

    form: str
    triangles: IntArray
    element: Element
    stray_mm: float
    area_mm2: float


@dataclass(frozen=True, slots=True, eq=False)
class _Region:
    """A curved face to grow in: its triangles (rows of the surface), their neighbours as places among them.

    edges (k, 2) vertices of the common edge of neighbours; is_flat (k,) whether they lie in one plane there
    """

    faces: Faces
    rows: IntArray
    start: int
    links: IntArray
    edges: IntArray
    is_flat: BoolArray


def grow_round(faces: Faces, triangle: int, fitters: Mapping[str, Fitter]) -> Grown | None:
    """The element that covers the curved face round a triangle, and how far it reaches.

    The whole face is tried first, then ever smaller neighbourhoods of the triangle until an element fits;
    that one is grown over the face again as far as its vertices agree.
    fitters : by form, simplest first
    None where no form fits: a freely shaped face.
    """
    region = _region_of(faces, triangle)
    best: Grown | None = None
    for seed, least in _seeds(region):
        grown = [_grow(region, seed, form, fitter) for form, fitter in fitters.items()]
        found = [item for item in grown if item is not None]
        if not found:
            continue
        here = _simplest(found)
        if best is None or _is_better(here, best, least):
            best = here
        if best.stray_mm <= WORSE_MM or len(best.triangles) >= WIDE_SHARE * len(region.rows):
            break
    return best


def _is_better(small: Grown, large: Grown, least: float) -> bool:
    """least: triangles that it must reach to be believed."""
    return small.stray_mm * BETTER_FACTOR < large.stray_mm and len(small.triangles) >= least


def _region_of(faces: Faces, triangle: int) -> _Region:
    rows = faces.groups.triangles(int(faces.labels[triangle]))
    place = np.full(len(faces.surface.corners), -1, dtype=np.int64)
    place[rows] = np.arange(len(rows))
    surface = faces.surface
    links = place[surface.neighbours]
    inside = np.flatnonzero((links >= 0).all(axis=1))
    slack = np.minimum(surface.slacks[surface.neighbours].sum(axis=1), np.radians(MOST_SLACK_DEG))
    flat = surface.bends <= np.radians(EVEN_ANGLES_DEG[0]) + slack
    start = int(place[np.searchsorted(surface.rows, triangle)])
    return _Region(faces, rows, start, links[inside], surface.edges[inside], flat[inside])


def _seeds(region: _Region) -> Iterator[tuple[IntArray, float]]:
    """Places of the face's triangles; of the strips beside the start; of ever smaller neighbourhoods of it.

    With each the number of triangles that an element sought in it must reach to go before another's.
    """
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import breadth_first_order

    count = len(region.rows)
    ones = np.ones(len(region.links), dtype=np.int8)
    graph = coo_matrix((ones, (region.links[:, 0], region.links[:, 1])), shape=(count, count)).tocsr()
    order = breadth_first_order(graph, region.start, directed=False, return_predecessors=False)
    if len(order) < _FEWEST:
        return
    yield order, 0.0
    for strips in _strips(region):
        if _FEWEST <= len(strips) < len(order):
            yield strips, _FEWEST
    size = len(order) // _QUARTER
    while size > _FEWEST:
        yield order[:size], BEYOND_FACTOR * size
        size //= _QUARTER
    yield order[:_FEWEST], BEYOND_FACTOR * _FEWEST


def _strips(region: _Region) -> Iterator[IntArray]:
    """Triangles reached from the start over edges of like direction, one set for each edge of the start.

    The facets of a cylinder or cone share edges along its axis; what follows it along the axis, a cone or a
    fillet, shares edges across it.
    """
    surface = region.faces.surface
    along = surface.vertices[region.edges[:, 1]] - surface.vertices[region.edges[:, 0]]
    along = along / np.maximum(lengths(along), 1e-300)[:, None]
    for direction in along[(region.links == region.start).any(axis=1)]:
        kept = np.abs(along @ direction) >= np.cos(np.radians(STRIP_DEG))
        labels = connected_labels(len(region.rows), region.links[kept | region.is_flat])
        yield np.flatnonzero(labels == labels[region.start])


def _grow(region: _Region, seed: IntArray, form: str, fitter: Fitter) -> Grown | None:
    """Fit, take what the element covers, fit again, until nothing changes."""
    faces, rows = region.faces, region.rows
    chosen = np.sort(seed)
    tolerance = COVER_MM
    element: Element | None = None
    for turn in range(_ROUNDS):
        points, normals = vertices_of(faces, faces.surface.rows[rows[chosen]])
        few = _thinned(len(points))
        element = fitter(points[few], normals[few])
        if element is None:
            return None
        # Never wider than for the seed: what was let in by a little would let in the next by a little more.
        tolerance = min(tolerance, _tolerance(faces, element, points))
        if turn == 0 and np.abs(element.distance(points)).max() > tolerance:
            return None
        covered = _covered(faces, rows, element, tolerance)
        if not covered[region.start]:
            return None
        labels = connected_labels(len(rows), region.links[covered[region.links].all(axis=1)])
        grown = np.flatnonzero(covered & (labels == labels[region.start]))
        if np.array_equal(grown, chosen):
            break
        chosen = grown
    if element is None or len(chosen) < _FEWEST:
        return None
    points, _ = vertices_of(faces, faces.surface.rows[rows[chosen]])
    stray = float(np.sqrt(np.mean(element.distance(points) ** 2)))
    area = float(faces.surface.areas[rows[chosen]].sum())
    return Grown(form, np.sort(faces.surface.rows[rows[chosen]]), element, stray, area)


def _thinned(count: int) -> IntArray:
    """The same random choice every time: a regular one would fall in step with the rows of a tessellation."""
    if count <= _MOST_POINTS:
        return np.arange(count)
    return np.sort(np.random.default_rng(0).choice(count, _MOST_POINTS, replace=False))


def _tolerance(faces: Faces, element: Element, points: Array) -> float:
    """What the vertices of the element may stray: five standard deviations (normal scatter has 0.6745 of one
    as its median), and no more than those of a clean mesh."""
    most = min(COVER_MM, COVER_SHARE * element.radius_mm)
    strays = 7.5 * float(np.median(np.abs(element.distance(points))))
    return min(most, max(strays, 4 * faces.surface.noise_mm, 1e-5 * element.radius_mm))


def _covered(faces: Faces, rows: IntArray, element: Element, tolerance_mm: float) -> BoolArray:
    """(t,) whether the corners and the normal of each triangle agree with the element."""
    surface = faces.surface
    used, place = np.unique(surface.corners[rows], return_inverse=True)
    near = np.abs(element.distance(surface.vertices[used])) <= tolerance_mm
    covered = near[place.reshape(-1, 3)].all(axis=1)
    outward = element.outward(surface.centroids[rows])
    lean = np.abs(dots(outward, surface.normals[rows]))
    agrees: BoolArray = covered & (lean >= np.cos(np.radians(COVER_ANGLE_DEG) + surface.slacks[rows]))
    return agrees


def _simplest(found: list[Grown]) -> Grown:
    largest = max(item.area_mm2 for item in found)
    wide = [item for item in found if item.area_mm2 >= WIDE_SHARE * largest]
    least = min(item.stray_mm for item in wide)
    return next(item for item in wide if item.stray_mm <= max(WORSE_FACTOR * least, least + WORSE_MM))
