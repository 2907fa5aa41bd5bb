"""The tables of the ledger, and the triggers that make it append-only."""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping, Sequence
from types import MappingProxyType

# "DryF" in ASCII; stands in the header of the file, so that no other database is taken for a ledger.
APPLICATION_ID = 0x44727946
GENESIS = "0" * 64  # what the first record names as the hash before it

_CREATE_RECORD = """
CREATE TABLE record (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    recorded_at TEXT NOT NULL,
    kind TEXT NOT NULL,
    program_version TEXT NOT NULL,
    payload TEXT NOT NULL,
    payload_sha256 TEXT NOT NULL,
    previous_sha256 TEXT NOT NULL,
    sha256 TEXT NOT NULL UNIQUE
) STRICT
"""
_CREATE_INDEX = "CREATE INDEX record_kind ON record (kind, id)"
_REFUSE_UPDATE = """
CREATE TRIGGER record_no_update BEFORE UPDATE ON record
BEGIN SELECT RAISE(ABORT, 'the ledger is append-only: no record may be changed'); END
"""
_REFUSE_DELETE = """
CREATE TRIGGER record_no_delete BEFORE DELETE ON record
BEGIN SELECT RAISE(ABORT, 'the ledger is append-only: no record may be removed'); END
"""
# INSERT OR REPLACE slips past a delete trigger on a connection without recursive_triggers. This one runs
# before the conflict is resolved, so it holds on any connection.
_REFUSE_REPLACE = """
CREATE TRIGGER record_no_replace BEFORE INSERT ON record
WHEN EXISTS (SELECT 1 FROM record WHERE id = NEW.id OR sha256 = NEW.sha256)
BEGIN SELECT RAISE(ABORT, 'the ledger is append-only: no record may be replaced'); END
"""
_REFUSE_UNCHAINED = f"""
CREATE TRIGGER record_chained BEFORE INSERT ON record
WHEN NEW.previous_sha256 IS NOT COALESCE((SELECT sha256 FROM record ORDER BY id DESC LIMIT 1), '{GENESIS}')
BEGIN SELECT RAISE(ABORT, 'the record does not follow on the last one'); END
"""

TRIGGERS = ("record_no_update", "record_no_delete", "record_no_replace", "record_chained")

# The key n holds the statements from version n to n + 1; an empty file has version 0.
MIGRATIONS: Mapping[int, Sequence[str]] = MappingProxyType(
    {
        0: (
            f"PRAGMA application_id = {APPLICATION_ID}",
            _CREATE_RECORD,
            _CREATE_INDEX,
            _REFUSE_UPDATE,
            _REFUSE_DELETE,
            _REFUSE_REPLACE,
            _REFUSE_UNCHAINED,
        )
    }
)
VERSION = 1


def read_pragma(connection: sqlite3.Connection, name: str) -> int:
    """An integer out of the header of the file."""
    return int(connection.execute(f"PRAGMA {name}").fetchone()[0])


def migrate_ledger(
    connection: sqlite3.Connection,
    newest: int = VERSION,
    steps: Mapping[int, Sequence[str]] = MIGRATIONS,
) -> None:
    """Bring the tables to the newest version, in one transaction: all of it or nothing."""
    connection.execute("BEGIN IMMEDIATE")
    try:
        # Read inside the transaction: another process may have done it while this one waited.
        for version in range(read_pragma(connection, "user_version"), newest):
            for statement in steps[version]:
                connection.execute(statement)
            connection.execute(f"PRAGMA user_version = {version + 1}")
        connection.execute("COMMIT")
    finally:
        if connection.in_transaction:
            connection.execute("ROLLBACK")
