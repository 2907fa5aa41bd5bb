"""The ledger of a project, read without making one."""

from __future__ import annotations

from pathlib import Path

from dryfit.store.ledger import LEDGER_NAME, LedgerRecord, open_ledger


def read_records(folder: Path, kind: str | None = None) -> tuple[LedgerRecord, ...]:
    """The records of a project's ledger, oldest first, of one kind or all; none where it has no ledger yet.

    Raises LedgerRefused where there is a ledger that cannot be read.
    """
    path = folder / LEDGER_NAME
    if not path.exists():
        return ()
    with open_ledger(path) as ledger:
        return ledger.records(kind)
