"""The ledger: what happened, append-only, each record chained to the one before it."""

from __future__ import annotations

import hashlib
import json
import sqlite3
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from types import TracebackType
from typing import Any

from dryfit import __version__
from dryfit.base.errors import Fault, LedgerRefused
from dryfit.store.ledger_schema import (
    APPLICATION_ID,
    GENESIS,
    TRIGGERS,
    VERSION,
    migrate_ledger,
    read_pragma,
)

LEDGER_NAME = "ledger.db"
DEFAULT_TIMEOUT_S = 10.0

_COLUMNS = "id, recorded_at, kind, program_version, payload, payload_sha256, previous_sha256, sha256"


@dataclass(frozen=True, slots=True)
class LedgerRecord:
    """One entry of the ledger.

    recorded_at      UTC, ISO 8601 with microseconds
    payload_sha256   of the payload as canonical JSON
    previous_sha256  hash of the record before this one
    sha256           of all the above together
    """

    id: int
    recorded_at: str
    kind: str
    program_version: str
    payload: Mapping[str, Any]
    payload_sha256: str
    previous_sha256: str
    sha256: str


Check = Callable[[tuple[LedgerRecord, ...]], None]


def read_clock() -> datetime:
    """Now, in UTC."""
    return datetime.now(UTC)


def open_ledger(
    path: Path, timeout_s: float = DEFAULT_TIMEOUT_S, clock: Callable[[], datetime] = read_clock
) -> Ledger:
    """Open the ledger at path, making it where there is none.

    timeout_s : how long to wait for another process that is writing
    Raises LedgerRefused where it is no ledger, was written by a newer program, or cannot be written to.
    """
    with _refusing(path):
        connection = sqlite3.connect(path, timeout=timeout_s, isolation_level=None)
        try:
            _prepare(connection, path, timeout_s)
        except BaseException:
            connection.close()
            raise
    return Ledger(path, connection, clock)


class Ledger:
    """An open ledger; use it in a with statement."""

    def __init__(self, path: Path, connection: sqlite3.Connection, clock: Callable[[], datetime]) -> None:
        self.path = path
        self._connection = connection
        self._clock = clock

    def __enter__(self) -> Ledger:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Let go of the file."""
        self._connection.close()

    def append(self, kind: str, payload: Mapping[str, Any], check: Check | None = None) -> LedgerRecord:
        """Add a record; once this returns, the record is on the disk.

        payload : any JSON mapping with texts as keys, without NaN or infinities
        check : as of append_all
        Raises LedgerRefused for another payload, or where the ledger cannot be written to.
        """
        return self.append_all(kind, [payload], check)[0]

    def append_all(
        self, kind: str, payloads: Sequence[Mapping[str, Any]], check: Check | None = None
    ) -> tuple[LedgerRecord, ...]:
        """Add records of one kind, all of them or none; once this returns, they are on the disk.

        payloads : as of append
        check : told the records of the kind that are there, while no other process can add any; what it raises leaves
            the ledger as it is
        Raises LedgerRefused for a payload that is no JSON, or where the ledger cannot be written to.
        """
        if not kind:
            raise ValueError("a record needs a kind")
        texts = [write_canonical(payload, self.path) for payload in payloads]
        with _refusing(self.path):
            self._connection.execute("BEGIN IMMEDIATE")
            try:
                if check is not None:
                    check(self.records(kind))
                ids = [self._insert(kind, text) for text in texts]
                self._connection.execute("COMMIT")
            finally:
                if self._connection.in_transaction:
                    self._connection.execute("ROLLBACK")
        return tuple(self.get(id) for id in ids)

    def records(self, kind: str | None = None, since: datetime | None = None) -> tuple[LedgerRecord, ...]:
        """Records in the order in which they were appended, of one kind or all; since is inclusive.

        Raises ValueError where since has no time zone.
        """
        where, values = ["1"], []
        if kind is not None:
            where.append("kind = ?")
            values.append(kind)
        if since is not None:
            where.append("recorded_at >= ?")
            values.append(write_time(since))
        return tuple(self._select(f"WHERE {' AND '.join(where)} ORDER BY id", values))

    def latest(self, kind: str) -> LedgerRecord | None:
        """The last record of a kind, or None."""
        return next(self._select("WHERE kind = ? ORDER BY id DESC LIMIT 1", [kind]), None)

    def get(self, id: int) -> LedgerRecord:
        """The record with a number. Raises LedgerRefused where there is none."""
        record = next(self._select("WHERE id = ?", [id]), None)
        if record is None:
            do = "list the records to see their numbers"
            raise LedgerRefused(f"there is no record {id}", str(self.path), do)
        return record

    def verify(self) -> tuple[Fault, ...]:
        """Where the ledger was tampered with; empty where it is whole.

        A ledger cut short and then fitted with a matching counter cannot be told from a shorter one.
        """
        faults: list[Fault] = []
        with _refusing(self.path):
            rows = self._connection.execute(f"SELECT {_COLUMNS} FROM record ORDER BY id").fetchall()
            names = {row[0] for row in self._connection.execute("SELECT name FROM sqlite_master")}
            counter = self._connection.execute("SELECT seq FROM sqlite_sequence").fetchone()
        previous, last_id = GENESIS, 0
        for row in rows:
            faults.extend(_check_row(row, last_id, previous))
            last_id, previous = row[0], row[7]
        do = "restore the ledger from a backup, and find out who changed it"
        if (counter[0] if counter else 0) != last_id:
            faults.append(Fault("ledger", f"records after record {last_id} are gone", do))
        missing = [name for name in TRIGGERS if name not in names]
        if missing:
            faults.append(Fault("ledger", f"its guards are gone: {', '.join(missing)}", do))
        return tuple(faults)

    def _insert(self, kind: str, text: str) -> int:
        last = self._connection.execute("SELECT id, sha256 FROM record ORDER BY id DESC LIMIT 1").fetchone()
        record_id, previous = (last[0] + 1, last[1]) if last else (1, GENESIS)
        fields = (record_id, write_time(self._clock()), kind, __version__, text, _hash(text), previous)
        marks = "?, ?, ?, ?, ?, ?, ?, ?"
        statement = f"INSERT INTO record ({_COLUMNS}) VALUES ({marks})"
        self._connection.execute(statement, (*fields, _hash_fields(fields)))
        return int(record_id)

    def _select(self, rest: str, values: list[Any]) -> Iterator[LedgerRecord]:
        with _refusing(self.path):
            rows = self._connection.execute(f"SELECT {_COLUMNS} FROM record {rest}", values).fetchall()
        for row in rows:
            id, recorded_at, kind, version, text, payload_sha256, previous, sha256 = row
            payload = json.loads(text)
            yield LedgerRecord(id, recorded_at, kind, version, payload, payload_sha256, previous, sha256)


def write_time(moment: datetime) -> str:
    """UTC, ISO 8601 with microseconds: texts of one width that sort as the times do."""
    if moment.tzinfo is None:
        raise ValueError("a time in the ledger needs a time zone")
    return moment.astimezone(UTC).isoformat(timespec="microseconds").replace("+00:00", "Z")


def write_canonical(payload: Mapping[str, Any], path: Path) -> str:
    """One text for one payload: keys sorted, no spaces. Raises LedgerRefused where it is no JSON."""
    do = "give texts, finite numbers, true, false, lists and tables with texts as keys"
    try:
        _check_keys(payload)
        text = json.dumps(
            dict(payload), sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False
        )
        text.encode("utf-8")
    except (TypeError, ValueError, RecursionError) as error:
        raise LedgerRefused(f"the payload is no JSON: {error}", str(path), do) from error
    return text


def _check_keys(value: Any) -> None:
    """json.dumps writes the key 1 as "1" without a word; two keys could become one."""
    if isinstance(value, Mapping):
        for key, inner in value.items():
            if not isinstance(key, str):
                raise TypeError(f"the key {key!r} is no text")
            _check_keys(inner)
    elif isinstance(value, list | tuple):
        for inner in value:
            _check_keys(inner)


def _hash(text: str) -> str:
    return hashlib.sha256(text.encode("utf-8")).hexdigest()


def _hash_fields(fields: tuple[Any, ...]) -> str:
    """Of (id, time, kind, version, payload hash, previous hash); the payload goes in by its hash."""
    covered = [*fields[:4], *fields[5:7]]
    return _hash(json.dumps(covered, separators=(",", ":"), ensure_ascii=False))


def _check_row(row: tuple[Any, ...], last_id: int, previous: str) -> Iterator[Fault]:
    where, do = f"record {row[0]}", "restore the ledger from a backup, and find out who changed it"
    if row[0] != last_id + 1:
        yield Fault(where, f"records between {last_id} and {row[0]} are gone", do)
    if _hash(row[4]) != row[5]:
        yield Fault(where, "the payload is not the one that was recorded", do)
    if row[6] != previous:
        yield Fault(where, "it does not follow on the record before it", do)
    if _hash_fields(row[:7]) != row[7]:
        yield Fault(where, "the record is not the one that was written", do)


_ADVICE = (
    ("not a database", "the file is no database", "name another file, or restore it from a backup"),
    ("locked", "another program is writing to the ledger and does not finish", "close it, then try again"),
    ("unable to open", "the ledger cannot be opened", "check that the folder exists and may be written to"),
    ("readonly", "the ledger cannot be written to", "check the permissions of the file and its folder"),
    ("malformed", "the ledger is damaged", "restore it from a backup"),
    ("full", "the disk is full", "make room, then try again"),
)


def _prepare(connection: sqlite3.Connection, path: Path, timeout_s: float) -> None:
    """Recognise the file, then make or migrate its tables; a strange database is not written to."""
    is_empty = connection.execute("SELECT count(*) FROM sqlite_master").fetchone()[0] == 0
    application, version = read_pragma(connection, "application_id"), read_pragma(connection, "user_version")
    if application != APPLICATION_ID and not (is_empty and application == 0 and version == 0):
        raise LedgerRefused("the file is a database but no ledger", str(path), "name another file")
    if version > VERSION:
        what = f"the ledger has version {version}, written by a newer program"
        raise LedgerRefused(what, str(path), f"update dryfit, which knows version {VERSION} and older")
    _switch_to_wal(connection, time.monotonic() + timeout_s)
    connection.execute("PRAGMA synchronous = FULL")
    connection.execute("PRAGMA foreign_keys = ON")
    connection.execute("PRAGMA recursive_triggers = ON")
    if version < VERSION:
        migrate_ledger(connection)


def _switch_to_wal(connection: sqlite3.Connection, deadline: float) -> None:
    """SQLite does not wait its busy time for a change of journal, so this does."""
    while True:
        try:
            mode = connection.execute("PRAGMA journal_mode = WAL").fetchone()[0]
        except sqlite3.OperationalError as error:
            if "locked" not in str(error) or time.monotonic() > deadline:
                raise
            time.sleep(0.01)
            continue
        if mode != "wal":
            raise sqlite3.OperationalError(f"the journal stays {mode}: the file system may not allow WAL")
        return


@contextmanager
def _refusing(path: Path) -> Iterator[None]:
    """SQLite's errors in three parts."""
    try:
        yield
    except sqlite3.Error as error:
        message = str(error)
        for sign, what, do in _ADVICE:
            if sign in message:
                raise LedgerRefused(f"{what} ({message})", str(path), do) from error
        raise LedgerRefused(f"the ledger refused: {message}", str(path), "see what it says") from error
