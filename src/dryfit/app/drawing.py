"""A forecast as a drawing: how the parts were modelled, and how they will print and be placed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from dryfit.app.drawing_marks import (
    DIRECTIONS,
    DepartureField,
    Dimension,
    FaceOutline,
    draw_dimensions,
    outline_faces,
    worst_of,
)
from dryfit.app.forecast import Chain, learn_chain, place_chain
from dryfit.app.loading import Opened
from dryfit.app.motion import printed_gains
from dryfit.base.arrays import Array
from dryfit.calc.outline import (
    Appearance,
    Direction,
    Outline,
    Surface,
    build_surface,
    coarsen,
    crease_edges,
    depths_of,
    hide_behind,
    project_points,
    round_factor,
    silhouette,
)
from dryfit.calc.placing import Poses
from dryfit.model.forecast import ForecastReport

_MOST_TRIANGLES = 100_000  # of one part, for drawing
_FINENESS = 4000.0  # what is smaller than the view divided by this is not drawn

_NO_EDGES = np.zeros((0, 2), dtype=np.int64)


@dataclass(frozen=True, slots=True, eq=False)
class PartOutline:
    """One part in one view: as modelled, and as printed and placed with its departure exaggerated [mm]."""

    part: str
    nominal: Appearance
    printed: Appearance


@dataclass(frozen=True, slots=True, eq=False)
class View:
    """One view of the assembly; low, high: (2,) [mm] the box round everything in it."""

    name: str
    low: Array
    high: Array
    parts: tuple[PartOutline, ...]
    faces: tuple[FaceOutline, ...]
    dimensions: tuple[Dimension, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Drawing:
    """The geometry of a sheet.

    views         elevation first, then plan; both share the horizontal axis
    exaggeration  factor by which departures from the model are drawn larger
    largest_departure_mm  of any point of any part, true size
    coarse        ids of parts with too many triangles: drawn from fewer, and without creases
    worst         id of the characteristic farthest out of its limits; None where nothing has limits
    scale         model : prototype in words, "" where none is stated
    """

    views: tuple[View, ...]
    exaggeration: float
    largest_departure_mm: float
    coarse: tuple[str, ...]
    worst: str | None
    scale: str
    is_invented: bool


@dataclass(frozen=True, slots=True, eq=False)
class _Body:
    """A part ready to be drawn: its surface as modelled, and whether creases of it can be shown."""

    part: str
    surface: Surface
    has_creases: bool


def draw_sheet(
    opened: Opened, chain: Chain, report: ForecastReport, exaggeration: float | None = None
) -> Drawing:
    """The geometry of the drawing of a forecast.

    exaggeration : factor for the departures; None: a round one, by their size
    Offsets of outlines and flare of first layers are left out: they are too small to be seen on a sheet.
    Raises what placing raises.
    """
    known = learn_chain(chain)
    poses = place_chain(chain, known)
    gains = printed_gains(chain.project if known is None else known.project, chain.motion)
    field = DepartureField(poses.rotation @ gains - np.eye(3), chain.structure.centroids, poses.translation)
    bodies, coarse = _bodies(chain)
    size = _view_size(bodies)
    largest = max(
        (
            float(np.linalg.norm(field.move(i, b.surface.vertices) - b.surface.vertices, axis=1).max())
            for i, b in bodies
        ),
        default=0.0,
    )
    factor = round_factor(largest, size) if exaggeration is None else exaggeration
    field = DepartureField(field.matrix, field.centroid, field.shift, factor)
    worst = worst_of(report)
    scale = opened.project.scale
    return Drawing(
        tuple(_view(name, chain, report, poses, field, bodies, size, worst) for name in DIRECTIONS),
        factor,
        largest,
        coarse,
        worst,
        "" if scale is None else f"{scale.numerator}:{scale.denominator}",
        opened.project.invented,
    )


def _bodies(chain: Chain) -> tuple[list[tuple[int, _Body]], tuple[str, ...]]:
    bodies, coarse = [], []
    for index, part in enumerate(chain.project.parts):
        mesh = chain.shapes[part.id].mesh
        vertices, faces = mesh.vertices, mesh.faces
        if len(faces) > _MOST_TRIANGLES:
            cell = float(np.ptp(vertices, axis=0).max()) / _FINENESS
            vertices, faces = coarsen(vertices, faces, _MOST_TRIANGLES, cell)
            coarse.append(part.id)
        bodies.append((index, _Body(part.id, build_surface(vertices, faces), part.id not in coarse)))
    return bodies, tuple(coarse)


def _view_size(bodies: Sequence[tuple[int, _Body]]) -> float:
    if not bodies:
        return 1.0
    points = np.vstack([body.surface.vertices for _, body in bodies])
    return float(np.ptp(points, axis=0).max())


def _view(
    name: str,
    chain: Chain,
    report: ForecastReport,
    poses: Poses,
    field: DepartureField,
    bodies: Sequence[tuple[int, _Body]],
    size: float,
    worst: str | None,
) -> View:
    direction = DIRECTIONS[name]
    tolerance = size / _FINENESS
    modelled = [_outline(body, body.surface.vertices, direction) for _, body in bodies]
    placed = [_outline(body, field.move(index, body.surface.vertices), direction) for index, body in bodies]
    pairs = zip(bodies, hide_behind(modelled, tolerance), hide_behind(placed, tolerance), strict=True)
    parts = tuple(PartOutline(body.part, nominal, printed) for (_, body), nominal, printed in pairs)
    boxes = [outline.region.bounds for outline in (*modelled, *placed) if not outline.region.is_empty]
    box = np.array(boxes).reshape(-1, 4)
    low = box[:, :2].min(axis=0) if len(box) else np.zeros(2)
    high = box[:, 2:].max(axis=0) if len(box) else np.ones(2)
    faces = outline_faces(chain, report, field, name)
    return View(name, low, high, parts, faces, draw_dimensions(name, chain, report, poses, field, worst))


def _outline(body: _Body, points: Array, direction: Direction) -> Outline:
    region = silhouette(body.surface, points, direction)
    edges = crease_edges(body.surface, points, direction.toward) if body.has_creases else _NO_EDGES
    return Outline(region, project_points(points, direction)[edges], depths_of(points, direction))
