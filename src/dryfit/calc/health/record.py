"""What an examination finds."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from dryfit.base.arrays import Array, IntArray, locked

ProblemKind = Literal[
    "empty",
    "hole",
    "non-manifold edge",
    "non-manifold vertex",
    "orientation",
    "one-sided",
    "inside out",
    "self-intersection",
    "touching",
    "duplicate faces",
    "degenerate faces",
    "several bodies",
    "stray shell",
    "internal void",
    "nested body",
    "far from origin",
    "unused vertices",
    "crack",
]
Unit = Literal["", "mm", "mm2", "mm3", "share"]
MOST_PLACES = 200  # as many as a finding keeps


def _no_places() -> Array:
    return np.zeros((0, 3))


def _no_amounts() -> Array:
    return np.zeros(0)


def _no_triangles() -> IntArray:
    return np.zeros(0, dtype=np.int64)


@dataclass(frozen=True, slots=True, eq=False)
class Problem:
    """One kind of fault of a mesh.

    count      how many: holes, edges, vertices, faces, bodies, or pairs of faces (self-intersection, touching)
    triangles  (k,) the faces that it is about, of the mesh as given
    places_mm  (p, 3) [mm] where, gravest first, at most MOST_PLACES
    amounts    (p,) how grave each place is, in unit
    amount     the greatest of all, kept or not; None where there is no figure
    unit       of amount: hole and non-manifold edge: length; self-intersection: depth; bodies: area or volume
    members    further count that belongs to the kind: open edges of holes, faces of stray shells, vertices
    """

    kind: ProblemKind
    count: int
    triangles: IntArray = field(default_factory=_no_triangles)
    places_mm: Array = field(default_factory=_no_places)
    amounts: Array = field(default_factory=_no_amounts)
    amount: float | None = None
    unit: Unit = ""
    members: int = 0

    def __post_init__(self) -> None:
        triangles = np.array(self.triangles, dtype=np.int64)
        triangles.setflags(write=False)
        object.__setattr__(self, "triangles", triangles)
        object.__setattr__(self, "places_mm", locked(self.places_mm[:MOST_PLACES], (None, 3), "places_mm"))
        object.__setattr__(self, "amounts", locked(self.amounts[:MOST_PLACES], (None,), "amounts"))


@dataclass(frozen=True, slots=True)
class HealthOptions:
    """What the examination holds for grave; all of it common practice, no source.

    crack_mm         open vertices nearer to one another than this are taken for one that was torn
    stray_share      a body of less than this share of the whole area, and of the size of the whole, is stray
    needed_mm        the precision that a part needs
    most_triangles   above this the search for self-intersections is not made
    most_pairs       candidate pairs after which the search for self-intersections stops in any case
    usual_pairs, pairs_per_face  and in a mesh of so many faces already after usual_pairs + pairs_per_face times
                     as many: far more than sound meshes have, and few enough to end soon where thousands of
                     needles meet in one corner
    """

    crack_mm: float = 0.02
    stray_share: float = 1e-3
    needed_mm: float = 0.01
    most_triangles: int = 4_000_000
    most_pairs: int = 60_000_000
    usual_pairs: int = 12_000_000
    pairs_per_face: int = 12

    def pairs_searched(self, faces: int) -> int:
        """Candidate pairs after which the search stops in a mesh of so many faces."""
        return min(self.most_pairs, self.usual_pairs + self.pairs_per_face * faces)


@dataclass(frozen=True, slots=True, eq=False)
class HealthReport:
    """The state of a mesh. What was not looked at, or not wholly, stands in not_checked, with the reason.

    triangles, vertices  counts of the mesh as given
    welded     vertices that coincide exactly with another and were taken as one for the examination
    bodies     pieces that are joined along edges
    is_closed  every edge borders exactly two faces, or an even number
    """

    triangles: int
    vertices: int
    welded: int
    bodies: int
    is_closed: bool
    problems: tuple[Problem, ...]
    not_checked: tuple[str, ...] = ()

    def find(self, kind: ProblemKind) -> Problem | None:
        """The problem of a kind, or None where there is none."""
        return next((problem for problem in self.problems if problem.kind == kind), None)


def rank_places(places: Array, amounts: Array) -> tuple[Array, Array]:
    """The gravest MOST_PLACES, gravest first."""
    order = np.argsort(-amounts, kind="stable")[:MOST_PLACES]
    return places[order], amounts[order]
