"""What a dimension schedule says: its records."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from dryfit.app.schedule_changes import DimensionChange
from dryfit.app.schedule_decisions import Decision
from dryfit.app.schedule_problem import Label
from dryfit.app.schedule_worth import Worth
from dryfit.base.estimate import Estimate
from dryfit.calc.adjust import Consistency
from dryfit.model.finding import State

# Begins the id of what photographs measured together.
PHOTO_GROUP = "photo:"


@dataclass(frozen=True, slots=True)
class SourceWeight:
    """What one source contributes to a dimension.

    weight          by how much the size moves with the source, in their units; exact relations have none: None
    variance_share  of the variance of the size, 0 to 1
    """

    id: str
    words: str
    stated: str
    weight: float | None
    variance_share: float
    source: str
    date: str
    reliability: str


@dataclass(frozen=True, slots=True)
class Repeated:
    """Several values of one dimension by itself."""

    count: int
    consistency: Consistency


@dataclass(frozen=True, slots=True)
class Scheduled:
    """One line of the schedule.

    prototype_mm, model_mm      None where the evidence does not determine it; unknown says why
    prototype_95_mm, model_95_mm  expanded uncertainty at 95 %
    photographs   ids of the photographs among its sources
    features, parts, characteristics, joints   what hangs on it
    printed       parts that hang on it and are printed already
    """

    id: str
    prototype_mm: Estimate | None
    prototype_95_mm: float | None
    model_mm: Estimate | None
    model_95_mm: float | None
    unknown: str
    sources: tuple[SourceWeight, ...]
    photographs: tuple[str, ...]
    repeated: Repeated | None
    features: tuple[str, ...]
    parts: tuple[str, ...]
    joints: tuple[str, ...]
    characteristics: tuple[str, ...]
    printed: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Tested:
    """One row of the adjustment.

    residual          observed less adjusted; 0 for an exact row
    normalised        test value; None where nothing controls the row
    redundancy        share that the others control; None for an exact row
    smallest_blunder  that would be noticed; None where nothing controls the row
    robust_weight     by the robust alternative; None where that was not made
    """

    label: Label
    residual: float
    normalised: float | None
    redundancy: float | None
    smallest_blunder: float | None
    robust_weight: float | None


@dataclass(frozen=True, slots=True)
class WithoutIt:
    """A dimension without a suspect, and without those named before it."""

    id: str
    prototype_mm: Estimate
    model_mm: Estimate | None


@dataclass(frozen=True, slots=True)
class SuspectRow:
    """A row that is probably wrong.

    limit           the test value beyond which it was named
    size, size_std  by how much, in its unit
    alike           words of rows that the others cannot tell from it
    without         dimensions that differ without it
    decision        to keep it knowingly; None: it is open
    """

    label: Label
    normalised: float
    limit: float
    size: float
    size_std: float
    alike: tuple[str, ...]
    without: tuple[WithoutIt, ...]
    p_value: float | None
    decision: Decision | None
    features: tuple[str, ...]
    parts: tuple[str, ...]


@dataclass(frozen=True, slots=True, eq=False)
class ScheduleReport:
    """The schedule of a project.

    robust     prototype sizes by the robust alternative, by dimension; empty where everything agrees
    scale      model over prototype [-]
    record     number of its ledger record; None where none was made
    left_out   rows that decisions leave out
    """

    project: str
    invented: bool
    dimensions: tuple[Scheduled, ...]
    tested: tuple[Tested, ...]
    suspects: tuple[SuspectRow, ...]
    critical: float
    level: float
    tests: int
    vpv: float
    dof: int
    p_value: float | None
    robust: Mapping[str, float]
    scale: Estimate | None
    scale_from: str
    decisions: tuple[Decision, ...]
    idle_decisions: tuple[str, ...]
    changes: tuple[DimensionChange, ...]
    since: str
    record: int | None
    worth: Worth | None
    left_out: tuple[Label, ...] = ()

    @property
    def open_suspects(self) -> tuple[SuspectRow, ...]:
        """Those about which nothing is decided."""
        return tuple(item for item in self.suspects if item.decision is None)

    @property
    def unknown(self) -> tuple[Scheduled, ...]:
        """Dimensions that nothing determines."""
        return tuple(item for item in self.dimensions if item.prototype_mm is None)

    @property
    def is_consistent(self) -> bool | None:
        """Whether the global test passes at 5 %; None where nothing is controlled."""
        return None if self.p_value is None else self.p_value >= 0.05

    @property
    def state(self) -> State:
        """Stop with an open suspect; not checked with an unknown size; caution where the rest disagrees."""
        if self.open_suspects:
            return "stop"
        if self.unknown or not self.dimensions:
            return "not checked"
        if self.suspects or self.is_consistent is False:
            return "caution"
        return "pass"
