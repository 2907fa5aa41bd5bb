"""Prints: what came off the bed, as it was entered in the ledger."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

from dryfit.model.part import Bed, Compensation

PrintResult = Literal["good", "failed", "stopped"]
PRINT_RESULTS: tuple[PrintResult, ...] = get_args(PrintResult)


@dataclass(frozen=True, slots=True)
class Print:
    """One print of a part.

    record        number in the ledger; 0 where it is not recorded yet
    at            when it was entered, UTC, ISO 8601
    part, machine, material  ids
    bed           pose in which it was printed
    result        good; failed, at what height and why; or stopped by the user
    shape_sha256  of the part's own mesh when it was printed, see app.shape_hash
    mesh_sha256   of the file that held it
    release       letter of the revision that it was printed from; "" where none is stated
    spool         which spool of filament; "" where it is not stated
    started, ended  UTC, ISO 8601; None where not stated
    failed_at_mm  height at which it failed or was stopped [mm]; None where not stated
    because       why it failed or was stopped
    hours, grams  that it took, finished or not; None where not known
    compensation  the corrected copy that was printed; None: the mesh itself
    note          anything else
    corrects      record of the print that this one replaces; None for a new one
    is_withdrawn  a correcting record without a print: the one that it names does not count
    by            who entered it, as they call themselves; "" where not given
    """

    record: int
    at: str
    part: str
    machine: str
    material: str
    bed: Bed
    result: PrintResult
    shape_sha256: str
    mesh_sha256: str
    release: str = ""
    spool: str = ""
    started: str | None = None
    ended: str | None = None
    failed_at_mm: float | None = None
    because: str = ""
    hours: float | None = None
    grams: float | None = None
    compensation: Compensation | None = None
    note: str = ""
    corrects: int | None = None
    is_withdrawn: bool = False
    by: str = ""

    @property
    def moment(self) -> str:
        """When it was printed, as well as is known: its end, else its start, else when it was entered."""
        return self.ended or self.started or self.at


@dataclass(frozen=True, slots=True)
class OwnShape:
    """A decision that a print is off for a reason of its own, which its machine does not share.

    record   of the decision
    std_mm   by about how much its surface may lie off [mm], one standard deviation along each axis
    because  the reason; by: who decided, "" where not given
    """

    record: int
    std_mm: float
    because: str
    by: str = ""
