"""The instruments of a project, with what its gauge studies found."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from dryfit.app.ledger_reading import read_records
from dryfit.base.errors import ReferenceUnknown
from dryfit.model.instrument import Instrument
from dryfit.model.instrument_table import COMMON_INSTRUMENTS
from dryfit.model.project import Project
from dryfit.store.ledger import LedgerRecord
from dryfit.store.words import suggest

GAUGE_STUDY = "gauge study"

# The ledger's path (there may be none yet), or records that were read from it.
LedgerSource = Path | Sequence[LedgerRecord]


def instruments_for(project: Project, ledger: LedgerSource) -> tuple[Instrument, ...]:
    """Those of the document, or the common ones where it states none.

    The repeatability is that of the latest gauge study of each; repeatability_from says which.
    """
    studies = gauge_studies(ledger)
    rows = project.instruments or tuple(COMMON_INSTRUMENTS.values())
    return tuple(_with_study(row, studies) for row in rows)


def find_instrument(project: Project, ledger: LedgerSource, id: str) -> Instrument:
    """The instrument of an id. Raises ReferenceUnknown where the project has none of that id."""
    rows = instruments_for(project, ledger)
    found = next((row for row in rows if row.id == id), None)
    if found is not None:
        return found
    do = suggest(id, [row.id for row in rows], "instruments")
    if id in COMMON_INSTRUMENTS:
        do = f'the document states its own instruments: add [[instrument]] with id = "{id}" and like = "{id}"'
    raise ReferenceUnknown(f'there is no instrument "{id}"', "project.toml: instrument", do)


def gauge_studies(ledger: LedgerSource) -> tuple[LedgerRecord, ...]:
    """Recorded gauge studies, oldest first; looking at a project without a ledger makes none."""
    if isinstance(ledger, Path):
        return read_records(ledger.parent, GAUGE_STUDY)
    return tuple(record for record in ledger if record.kind == GAUGE_STUDY)


def _with_study(instrument: Instrument, studies: Sequence[LedgerRecord]) -> Instrument:
    """A study tells more than a stated figure: it was made with this instrument by its user."""
    of_it = [record for record in studies if record.payload.get("instrument") == instrument.id]
    if not of_it:
        return instrument
    latest = of_it[-1]
    return replace(
        instrument,
        repeatability_mm=float(latest.payload["repeatability_mm"]),
        repeatability_dof=float(latest.payload["dof"]),
        repeatability_from=f"gauge study, record {latest.id}",
    )
