"""The visible outline of bodies in a parallel projection: silhouettes, creases, what hides what."""

from dryfit.calc.outline.edges import Surface, build_surface, coarsen, contour_edges, crease_edges
from dryfit.calc.outline.hiding import Appearance, Outline, hide_behind
from dryfit.calc.outline.projection import (
    ELEVATION,
    PLAN,
    Direction,
    depths_of,
    project_points,
    round_factor,
)
from dryfit.calc.outline.silhouette import silhouette

__all__ = [
    "ELEVATION",
    "PLAN",
    "Appearance",
    "Direction",
    "Outline",
    "Surface",
    "build_surface",
    "coarsen",
    "contour_edges",
    "crease_edges",
    "depths_of",
    "hide_behind",
    "project_points",
    "round_factor",
    "silhouette",
]
