"""What a scan says of a part: the records of the report."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from dryfit.base.arrays import Array
from dryfit.calc.scans import (
    Alternative,
    FreeMotion,
    PoseInformation,
    RigidMotion,
    Statistics,
    SurfaceMap,
    WorstPlace,
)
from dryfit.model.finding import State
from dryfit.model.mesh import TriangleMesh

Decision = Literal["accept", "reject", "cannot tell", "not decided"]
# One-sided 95 %: JCGM 106:2012, guarded acceptance (memory).
GUARD_FACTOR = 1.645


@dataclass(frozen=True, slots=True)
class ScannedFeature:
    """A feature measured on the scan, in its unit.

    value, std    None where the scan does not carry it, with the reason
    as_modelled   the same measured on the part's mesh; None where that fails
    nominal       what it should be; None where nothing says so
    decision      value against limits narrowed and widened by GUARD_FACTOR times std
    """

    id: str
    kind: str
    unit: str
    value: float | None
    std: float | None
    as_modelled: float | None
    nominal: float | None
    lower: float | None
    upper: float | None
    decision: Decision
    reason: str
    points: int = 0


@dataclass(frozen=True, slots=True, eq=False)
class ScannedFace:
    """The face of a joint, as the scan shows it.

    centre_mm (3,), normal (3,): of the face as modelled, outward
    offset_mm, std_mm   mean deviation along the normal; None where there is no scan, with the reason
    tilt_deg (2,), tilt_std_deg (2,): turn about the two axes (2, 3) in the face; None where they are not told
    """

    joint: str
    other: str
    centre_mm: Array
    normal: Array
    offset_mm: float | None
    std_mm: float | None
    axes: Array | None
    tilt_deg: tuple[float, float] | None
    tilt_std_deg: tuple[float, float] | None
    samples: int
    reason: str = ""


@dataclass(frozen=True, slots=True)
class FaceLength:
    """Distance of the middles of two joint faces of the part along the line between them [mm]."""

    joints: tuple[str, str]
    nominal_mm: float
    change_mm: float
    std_mm: float


@dataclass(frozen=True, slots=True, eq=False)
class DatumFace:
    """A datum: how far and how much the best fit leaves it off its place."""

    feature: str
    form: str
    offset_mm: float
    tilt_deg: float
    std_mm: float
    held: int


@dataclass(frozen=True, slots=True, eq=False)
class AlignmentDifference:
    """From the best fit to the alignment by datums.

    turn_deg (3,) about x, y, z; shift_mm (3,) of the middle of the part
    faces     (joint, mean deviation in the best fit [mm], in the alignment by datums [mm])
    features  (feature, unit, measured in the best fit, by the datums), of those that either lets measure
    free      how many motions the datums leave, as the best fit has them
    """

    datums: tuple[DatumFace, ...]
    turn_deg: Array
    shift_mm: Array
    largest_mm: float
    faces: tuple[tuple[str, float, float], ...]
    features: tuple[tuple[str, str, float | None, float | None], ...]
    free: int


@dataclass(frozen=True, slots=True, eq=False)
class ScanReport:
    """A scan against its part.

    motion       scan to assembly coordinates, by the alignment named
    information  how sure the pose is
    left_out     points beyond reach, alone in the room, and off their surroundings
    map          deviations on the surface of the part; mesh: the part's mesh in assembly coordinates
    record       number in the ledger; 0 where nothing was recorded
    is_kept      the file lies in the project
    """

    project: str
    part: str
    file: str
    format: str
    sha256: str
    unit: str
    points: int
    left_out: tuple[int, int, int]
    share: float
    alignment: Literal["best fit", "datums"]
    motion: RigidMotion
    information: PoseInformation
    scatter_mm: float
    scanner_std_mm: float
    alternatives: tuple[Alternative, ...]
    runner_up: Alternative | None
    free: tuple[FreeMotion, ...]
    statistics: Statistics
    worst: tuple[WorstPlace, ...]
    map: SurfaceMap
    mesh: TriangleMesh
    features: tuple[ScannedFeature, ...]
    faces: tuple[ScannedFace, ...]
    lengths: tuple[FaceLength, ...]
    difference: AlignmentDifference | None
    notes: tuple[str, ...]
    record: int = 0
    is_kept: bool = False

    @property
    def is_ambiguous(self) -> bool:
        """The scan fits in more than one way."""
        return bool(self.alternatives)

    @property
    def state(self) -> State:
        """Gravest first: a rejected feature, an ambiguous pose, what cannot be told."""
        if any(item.decision == "reject" for item in self.features):
            return "stop"
        if self.is_ambiguous:
            return "not checked"
        doubtful = any(item.decision == "cannot tell" for item in self.features)
        return "caution" if doubtful or self.free or self.is_scale_off else "pass"

    @property
    def is_scale_off(self) -> bool:
        """The scan is larger or smaller than the part as a whole, beyond chance and beyond 1 in 500."""
        off = abs(self.information.scale - 1.0)
        return off > max(3.0 * self.information.scale_std, 0.002)


def decide(value: float, std: float, lower: float | None, upper: float | None) -> tuple[Decision, str]:
    """Guarded decision: accepted or rejected only where chance is below 5 %.

    Source: JCGM 106:2012, 8.3 (memory); ISO 14253-1 (memory).
    """
    if lower is None and upper is None:
        return "not decided", "no limits are stated"
    guard = GUARD_FACTOR * std
    inside = (lower is None or value >= lower + guard) and (upper is None or value <= upper - guard)
    if inside:
        return "accept", "within its limits, and farther from them than the measuring uncertainty"
    below, above = lower is not None and value < lower - guard, upper is not None and value > upper + guard
    if below or above:
        return (
            "reject",
            f"beyond its {'lower' if below else 'upper'} limit by more than the measuring uncertainty",
        )
    return "cannot tell", "nearer to a limit than the measuring uncertainty: measure it by a finer instrument"
