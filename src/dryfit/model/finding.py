"""What the checks of parts find: where, how much, how grave, and what to do."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from dryfit.base.arrays import Array, IntArray, locked
from dryfit.base.estimate import Estimate

State = Literal["pass", "caution", "stop", "not checked"]
# Gravest first; "not checked" outweighs a caution, since it may hide a stop.
GRAVITY: tuple[State, ...] = ("stop", "not checked", "caution", "pass")


def gravest(states: Iterable[State], of_none: State = "pass") -> State:
    """The gravest of some states; of_none where there is none."""
    present = set(states)
    return next((state for state in GRAVITY if state in present), of_none)


MOST_PLACES = 200  # places kept for a view: more than anyone steps through by hand


def _no_places() -> Array:
    return np.zeros((0, 3))


def _no_triangles() -> IntArray:
    return np.zeros(0, dtype=np.int64)


def _no_boxes() -> Array:
    return np.zeros((0, 2, 3))


@dataclass(frozen=True, slots=True, eq=False)
class Finding:
    """One result of a check of one part or of a pair of parts.

    topic      "health", "build volume", "wall", "bed", "overhang", "hole", "overlap", "likeness" ...
    parts      the parts that it is about
    what       what was found, as a plain phrase with its figures
    do         what to do next; "" where nothing is to do
    count      how many times; amount, unit: the figure that a limit would be put on, where there is one
    places_mm  (k, 3) [mm] where, assembly coordinates, k at most MOST_PLACES, gravest first
    triangles  of the exact mesh of parts[0], where the finding is about its surface; () for none
    boxes_mm   (k, 2, 3) [mm] lowest and highest corner of what lies at each place; (0, 2, 3) for none
    """

    topic: str
    parts: tuple[str, ...]
    state: State
    what: str
    do: str = ""
    count: int = 1
    amount: float | None = None
    unit: str = ""
    places_mm: Array = field(default_factory=_no_places)
    triangles: IntArray = field(default_factory=_no_triangles)
    boxes_mm: Array = field(default_factory=_no_boxes)

    def __post_init__(self) -> None:
        object.__setattr__(self, "places_mm", locked(self.places_mm[:MOST_PLACES], (None, 3), "places_mm"))
        object.__setattr__(self, "boxes_mm", locked(self.boxes_mm[:MOST_PLACES], (None, 2, 3), "boxes_mm"))
        if len(self.boxes_mm) not in (0, len(self.places_mm)):
            raise ValueError("boxes_mm holds a box for each place, or none")
        triangles = np.array(self.triangles, dtype=np.int64)
        triangles.setflags(write=False)
        object.__setattr__(self, "triangles", triangles)


@dataclass(frozen=True, slots=True, eq=False)
class MeasuredFeature:
    """A feature measured on the meshes, against what is known of it.

    measured, std   in the unit of the feature; None where it could not be measured; std of the fit
    nominal         what it should be, with what is known of that; None where nothing says so
    nominal_from    in words: "stated", "drum.height, 4000(20) mm at 1:20"
    lower, upper    absolute limits; limits_from in words
    reason, do      why this state, and what to do next
    notes           chord error, parallelism, form departure, a face found again elsewhere
    anchors_mm      (k, 3) [mm] the points between which it was measured, for a dimension line in a view
    triangles       per part, the triangles of the faces that were measured
    dependents      parts, joints and characteristics that rest on it, where it is not in order
    """

    id: str
    kind: str
    parts: tuple[str, ...]
    unit: str
    state: State
    reason: str
    do: str = ""
    measured: float | None = None
    std: float = 0.0
    nominal: Estimate | None = None
    nominal_from: str = ""
    lower: float | None = None
    upper: float | None = None
    limits_from: str = ""
    notes: tuple[str, ...] = ()
    anchors_mm: Array = field(default_factory=_no_places)
    triangles: tuple[tuple[str, IntArray], ...] = ()
    dependents: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        object.__setattr__(self, "anchors_mm", locked(self.anchors_mm, (None, 3), "anchors_mm"))

    @property
    def deviation(self) -> float | None:
        """Measured minus nominal."""
        if self.measured is None or self.nominal is None:
            return None
        return self.measured - self.nominal.value
