"""Characteristics: sizes, gaps and angles of the assembly that have limits."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

from dryfit.base.arrays import Array, locked

Kind = Literal["gap", "taper", "step", "distance", "height", "angle", "diameter", "flatness", "squareness"]
KINDS: tuple[Kind, ...] = get_args(Kind)
JOINT_KINDS = frozenset({"gap", "taper", "step"})
ANGLE_KINDS = frozenset({"taper", "angle", "squareness"})


@dataclass(frozen=True, slots=True, eq=False)
class Characteristic:
    """What is to be held within limits.

    joint      for gap, taper and step
    parts      for the other kinds: the part that carries each point (or each axis)
    points_mm  (n, 3) [mm] assembly coordinates, one per entry of parts
    direction  (3,) unit: along which a step, distance or height is measured; axis of a taper
    axes       (2, 3) unit: the two material directions of an angle or squareness
    lower, upper  limits in the unit of the kind; None: no limit on that side
    """

    id: str
    kind: Kind
    joint: str | None = None
    parts: tuple[str, ...] = ()
    points_mm: Array | None = None
    direction: Array | None = None
    axes: Array | None = None
    lower: float | None = None
    upper: float | None = None

    def __post_init__(self) -> None:
        if self.points_mm is not None:
            object.__setattr__(self, "points_mm", locked(self.points_mm, (None, 3), "points_mm"))
        if self.direction is not None:
            object.__setattr__(self, "direction", locked(self.direction, (3,), "direction"))
        if self.axes is not None:
            object.__setattr__(self, "axes", locked(self.axes, (2, 3), "axes"))

    @property
    def unit(self) -> str:
        """Millimetres or degrees: "mm" or "deg"."""
        return "deg" if self.kind in ANGLE_KINDS else "mm"
