"""An artefact as a drawing: what is seen of it from four sides, its letters, and where each measure is taken."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from dryfit.base.arrays import Array
from dryfit.calc.artefact import BLOCK_MM, BLOCK_RISE_MM, Sizes, build_pieces
from dryfit.calc.outline import (
    ELEVATION,
    PLAN,
    Appearance,
    Direction,
    Outline,
    Surface,
    build_surface,
    crease_edges,
    depths_of,
    hide_behind,
    project_points,
    silhouette,
)
from dryfit.model.artefact import Measure

_FINENESS = 4000.0
# From the front left and above, so that the first upright and both of its stairs are seen (axonometric, ISO 5456-3).
_SIDE = Direction(np.array([[0.0, -1.0, 0.0], [0.0, 0.0, 1.0]]), np.array([-1.0, 0.0, 0.0]))
_BACK = Direction(np.array([[-1.0, 0.0, 0.0], [0.0, 0.0, 1.0]]), np.array([0.0, 1.0, 0.0]))
_FAR_SIDE = Direction(np.array([[0.0, 1.0, 0.0], [0.0, 0.0, 1.0]]), np.array([1.0, 0.0, 0.0]))
_TURN, _TILT = np.radians(35.0), np.radians(28.0)
_OVERVIEW = Direction(
    np.array(
        [
            [np.cos(_TURN), -np.sin(_TURN), 0.0],
            [np.sin(_TURN) * np.sin(_TILT), np.cos(_TURN) * np.sin(_TILT), np.cos(_TILT)],
        ]
    ),
    np.array([-np.sin(_TURN) * np.cos(_TILT), -np.cos(_TURN) * np.cos(_TILT), np.sin(_TILT)]),
)
_VIEWS = {
    "overview": _OVERVIEW,
    "plan": PLAN,
    "front": ELEVATION,
    "left": _SIDE,
    "back": _BACK,
    "right": _FAR_SIDE,
}


@dataclass(frozen=True, slots=True, eq=False)
class Letter:
    """Name of an upright, block or post, and where it stands in the view [mm]."""

    text: str
    at: Array


@dataclass(frozen=True, slots=True, eq=False)
class Mark:
    """A measure in a view: its number and its two ends (2, 2) [mm]; a square's are its corner and its tip."""

    number: int
    kind: str
    ends: Array


@dataclass(frozen=True, slots=True, eq=False)
class ArtefactView:
    """One view: name of its direction, the box round it, what is seen, letters, and the measures drawn in it."""

    name: str
    low: Array
    high: Array
    pieces: tuple[Appearance, ...]
    letters: tuple[Letter, ...]
    marks: tuple[Mark, ...]


def draw_artefact(sizes: Sizes, measures: Sequence[Measure]) -> tuple[ArtefactView, ...]:
    """The views of an artefact: an overview with letters, and each side on which something is measured.

    measures : those to be read; each is drawn in the one view that shows it at full length
    """
    surfaces = [build_surface(piece.vertices, piece.faces) for piece in build_pieces(sizes)]
    shown = {measure.number: _best_view(measure, sizes) for measure in measures}
    views = []
    for name, direction in _VIEWS.items():
        mine = [measure for measure in measures if shown[measure.number] == name]
        if mine or name in ("overview", "plan"):
            views.append(_view(name, direction, surfaces, sizes, mine))
    return tuple(views)


def _best_view(measure: Measure, sizes: Sizes) -> str:
    """The side from which it is taken: level measures from above, upright ones from the side they lie on."""
    first, second = np.array(measure.first), np.array(measure.second)
    if abs(second[2] - first[2]) < 1e-9:
        return "plan"
    if measure.kind == "square" and measure.toward is not None:
        along_x = abs(measure.toward[0]) > 0.5
        return (
            ("front" if first[1] < 0.5 * sizes.length_y else "back")
            if along_x
            else ("left" if first[0] < 0.5 * sizes.length_x else "right")
        )
    run = np.abs(second - first)
    if run[1] > run[0]:
        return "left" if first[0] < 0.5 * sizes.length_x else "right"
    return "front" if first[1] < 0.5 * sizes.length_y else "back"


def _view(
    name: str, direction: Direction, surfaces: Sequence[Surface], sizes: Sizes, measures: Sequence[Measure]
) -> ArtefactView:
    size = max(sizes.length_x, sizes.length_y, sizes.height)
    outlines = []
    for surface in surfaces:
        points = surface.vertices
        edges = crease_edges(surface, points, direction.toward)
        flat = project_points(points, direction)
        depth = depths_of(points, direction)
        outlines.append(Outline(silhouette(surface, points, direction), flat[edges], depth))
    pieces = hide_behind(outlines, size / _FINENESS)
    boxes = np.array([outline.region.bounds for outline in outlines])
    marks = tuple(
        Mark(item.number, item.kind, project_points(np.array([item.first, item.second]), direction))
        for item in measures
    )
    return ArtefactView(
        name,
        boxes[:, :2].min(axis=0),
        boxes[:, 2:].max(axis=0),
        pieces,
        _letters(name, direction, sizes),
        marks,
    )


def _letters(name: str, direction: Direction, sizes: Sizes) -> tuple[Letter, ...]:
    """In the overview and the plan all; in a side view those that stand on the rail nearest to the viewer."""
    far_x, far_y = sizes.length_x, sizes.length_y
    places = [("A", (0.0, 0.0, sizes.height))]
    if sizes.treads_b:
        places.append(("B", (far_x, far_y, sizes.treads_b[-1].height)))
    top = sizes.rail_height + BLOCK_RISE_MM
    on_corner = {(post.x, post.y): post for post in sizes.posts if post.on == "corner"}
    for block in sizes.blocks:
        middle = 0.5 * (block.start + block.end)
        x, y = (middle, 0.5 * BLOCK_MM) if block.axis == 0 else (0.5 * BLOCK_MM, middle)
        post = on_corner.get((x, y))
        text = block.name if post is None else f"{block.name}, {post.name}"
        places.append((text, (x, y, top if post is None else post.height)))
    places += [(post.name, (post.x, post.y, post.height)) for post in sizes.posts if post.on != "corner"]
    kept = [(text, at) for text, at in places if _is_near(name, at, far_x, far_y)]
    flat = project_points(np.array([at for _, at in kept]), direction)
    return tuple(Letter(text, point) for (text, _), point in zip(kept, flat, strict=True))


def _is_near(name: str, at: tuple[float, float, float], far_x: float, far_y: float) -> bool:
    """Whether a place stands on the rail next to the viewer; in overview and plan every place does."""
    if name in ("front", "back"):
        return (at[1] < 0.1 * far_y) == (name == "front") and not 0.1 * far_y <= at[1] <= 0.9 * far_y
    if name in ("left", "right"):
        return (at[0] < 0.1 * far_x) == (name == "left") and not 0.1 * far_x <= at[0] <= 0.9 * far_x
    return True
