"""Readings: one value each, read off an instrument and entered in the ledger."""

from __future__ import annotations

from dataclasses import dataclass

from dryfit.model.artefact import Measure


@dataclass(frozen=True, slots=True)
class Reading:
    """One reading of a measure of an artefact, or of a print of a part.

    record        number in the ledger; 0 where it is not recorded yet
    at            UTC, ISO 8601
    artefact      ledger record of the artefact, or of the print, that it is read off
    measure       id of the measure
    value_mm      as displayed; of a square the gap, positive where it opens at the tip of the blade
    instrument    id of the instrument
    temp_c        of body and instrument [C]; None where it was not taken: not corrected, and said so
    corrects      record of the reading that this one replaces; None for a new one
    is_withdrawn  a correcting record without a value: the reading that it names does not count
    is_confirmed  queried as implausible and confirmed by the user
    by            who read it, as they call themselves; "" where not given
    part          id of the part that was printed; "" for a reading of an artefact
    ends          what was measured, in the part's own design frame, so that it stays what it was when joints or
                  numbers change; None for a reading of an artefact
    """

    record: int
    at: str
    machine: str
    artefact: int
    measure: str
    value_mm: float
    instrument: str
    temp_c: float | None = None
    corrects: int | None = None
    is_withdrawn: bool = False
    is_confirmed: bool = False
    by: str = ""
    part: str = ""
    ends: Measure | None = None
