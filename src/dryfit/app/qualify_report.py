"""What a qualification reports."""

from __future__ import annotations

from dataclasses import dataclass

from dryfit.app.artefact_records import RecordedArtefact
from dryfit.app.outcome_changes import OutcomeChange
from dryfit.app.reading_blunders import SuspectReading
from dryfit.app.reading_fit import ReadingFit
from dryfit.app.trueing import TrueingReport
from dryfit.calc.charts import Moved
from dryfit.model.qualification import Qualification


@dataclass(frozen=True, slots=True)
class Figure:
    """One error figure: in its unit, with its 95 % expanded uncertainty.

    before, before_std  of the last qualification; None where there is none
    """

    name: str
    value: float
    std: float
    dof: float
    expanded: float
    before: float | None
    before_std: float | None


@dataclass(frozen=True, slots=True)
class ReadReport:
    """One reading against what the figures make of it.

    value_mm     as displayed   at_20_mm  brought to 20 C
    predicted_mm by the figures
    off_std      departure over its expected standard deviation; None where nothing else controls it
    """

    record: int
    measure: str
    number: int
    kind: str
    words: str
    instrument: str
    commanded_mm: float
    value_mm: float
    at_20_mm: float
    predicted_mm: float
    off_std: float | None


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A reading that the user left out, and why."""

    record: int
    measure: str
    value_mm: float
    because: str


@dataclass(frozen=True, slots=True, eq=False)
class QualifyReport:
    """A qualification, and what speaks against it.

    qualification  as recorded, or as it would be
    figures        in the order of FIGURES
    readings       in the order of the ledger
    suspects       readings that the others contradict; nothing is left out unasked
    left_out       by the user, now
    scatter_expected_mm, p_value  scatter of printed points that was expected, whence in words, and the chance of
                   residuals so large with it (global test); None where there are no degrees of freedom
    moved          against the last qualification; None where there is none
    trueing        what to turn on the machine
    effect         every characteristic with what was known before, and with these figures
    is_recorded    and why not, where it is not
    is_kept        suspects are kept in, knowingly
    """

    project: str
    machine: str
    artefact: RecordedArtefact
    qualification: Qualification
    figures: tuple[Figure, ...]
    readings: tuple[ReadReport, ...]
    fit: ReadingFit
    suspects: tuple[SuspectReading, ...]
    left_out: tuple[LeftOut, ...]
    scatter_expected_mm: float
    scatter_from: str
    p_value: float | None
    moved: Moved | None
    trueing: TrueingReport
    effect: tuple[OutcomeChange, ...]
    is_recorded: bool
    is_kept: bool
    why_not: str
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Choices:
    """What the user decided.

    without   ledger records of readings to leave out, and because why
    keep      suspects are kept in knowingly
    record    whether to record the result at all
    """

    without: tuple[int, ...] = ()
    because: str = ""
    keep: bool = False
    record: bool = True
