"""The ledger: append-only, chained, safe between processes and under kill -9."""

import os
import random
import re
import shutil
import signal
import sqlite3
import stat
import subprocess
import sys
import tempfile
import time
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from dryfit.base.errors import LedgerRefused
from dryfit.store.ledger import Ledger, open_ledger, write_canonical
from dryfit.store.ledger_schema import APPLICATION_ID, MIGRATIONS, VERSION, migrate_ledger


@pytest.fixture
def path(tmp_path):
    return tmp_path / "ledger.db"


@pytest.fixture
def filled(path):
    with open_ledger(path) as ledger:
        for index in range(3):
            ledger.append("forecast", {"index": index})
    return path


def raw(path):
    return sqlite3.connect(path, isolation_level=None)


def test_append_and_read_back(path):
    payload = {"b": [1, 2.5, None, True], "a": {"text": "Grüße \u2028"}}
    with open_ledger(path) as ledger:
        first = ledger.append("forecast", payload)
        second = ledger.append("reading", {})
    with open_ledger(path) as ledger:
        assert ledger.records() == (first, second)
        assert ledger.get(1).payload == payload
        assert ledger.latest("forecast") == first
        assert ledger.latest("bond") is None
        assert ledger.verify() == ()
    assert second.previous_sha256 == first.sha256
    assert re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{6}Z", first.recorded_at)


def test_several_records_are_appended_together_or_not_at_all(path):
    with open_ledger(path) as ledger:
        records = ledger.append_all("reading", [{"a": 1}, {"a": 2}])
        assert [(record.id, record.payload["a"]) for record in records] == [(1, 1), (2, 2)]
        with pytest.raises(LedgerRefused, match="no JSON"):
            ledger.append_all("reading", [{"a": 3}, {"a": float("nan")}])
        assert ledger.append_all("reading", []) == ()
        assert ledger.records() == records
        assert ledger.verify() == ()


def test_filters(path):
    start = datetime(2030, 1, 1, tzinfo=UTC)
    hours = iter(range(4))
    with open_ledger(path, clock=lambda: start + timedelta(hours=next(hours))) as ledger:
        for kind in ("forecast", "reading", "forecast", "reading"):
            ledger.append(kind, {})
        assert [r.id for r in ledger.records("forecast")] == [1, 3]
        assert [r.id for r in ledger.records(since=start + timedelta(hours=2))] == [3, 4]
        assert [r.id for r in ledger.records("forecast", start + timedelta(hours=1))] == [3]
        with pytest.raises(ValueError, match="time zone"):
            ledger.records(since=datetime(2030, 1, 1))


def test_a_record_that_is_not_there(filled):
    with open_ledger(filled) as ledger, pytest.raises(LedgerRefused, match="no record 9"):
        ledger.get(9)


@pytest.mark.parametrize(
    "payload",
    [{"a": float("nan")}, {"a": [float("inf")]}, {1: "a"}, {"a": {2: 3}}, {"a": object()}, {"a": "\ud800"}],
)
def test_what_is_no_json_is_refused_and_nothing_is_written(path, payload):
    with open_ledger(path) as ledger:
        with pytest.raises(LedgerRefused, match="no JSON"):
            ledger.append("forecast", payload)
        assert ledger.records() == ()


def test_canonical_json_does_not_depend_on_order(path):
    assert write_canonical({"b": 1, "a": [1.5]}, path) == write_canonical({"a": [1.5], "b": 1}, path)
    assert write_canonical({"b": 1, "a": [1.5]}, path) == '{"a":[1.5],"b":1}'


STATEMENTS = {
    "update": "UPDATE record SET payload = '{}' WHERE id = 2",
    "update or replace": "UPDATE OR REPLACE record SET id = 1 WHERE id = 2",
    "delete": "DELETE FROM record WHERE id = 3",
    "replace by id": "INSERT OR REPLACE INTO record SELECT 2, recorded_at, kind, program_version, payload, "
    "payload_sha256, (SELECT sha256 FROM record WHERE id = 3), 'x' FROM record WHERE id = 2",
    "replace by hash": "INSERT OR REPLACE INTO record SELECT 4, recorded_at, kind, program_version, payload, "
    "payload_sha256, (SELECT sha256 FROM record WHERE id = 3), sha256 FROM record WHERE id = 2",
    "insert or ignore": "INSERT OR IGNORE INTO record SELECT * FROM record WHERE id = 2",
    "upsert": "INSERT INTO record SELECT * FROM record WHERE id = 2 ON CONFLICT DO UPDATE SET payload = '{}'",
    "unchained": "INSERT INTO record SELECT 4, recorded_at, kind, program_version, payload, "
    "payload_sha256, previous_sha256, 'x' FROM record WHERE id = 2",
}


@pytest.mark.parametrize("statement", STATEMENTS.values(), ids=STATEMENTS)
@pytest.mark.parametrize("opener", ["ours, first", "ours, second", "foreign"])
def test_records_can_only_be_appended(filled, statement, opener):
    with open_ledger(filled) as first, open_ledger(filled) as second:
        foreign = raw(filled)
        connection = {"ours, first": first, "ours, second": second}.get(opener)
        connection = foreign if connection is None else connection._connection
        before = foreign.execute("SELECT * FROM record").fetchall()
        with pytest.raises(sqlite3.IntegrityError, match=r"append-only|does not follow"):
            connection.execute(statement)
        assert foreign.execute("SELECT * FROM record").fetchall() == before
        foreign.close()
        assert first.verify() == ()


def test_connection_settings(filled):
    with open_ledger(filled) as ledger:
        execute = ledger._connection.execute
        names = ("journal_mode", "synchronous", "foreign_keys", "recursive_triggers", "application_id")
        values = {name: execute(f"PRAGMA {name}").fetchone()[0] for name in names}
    assert values == {
        "journal_mode": "wal",
        "synchronous": 2,
        "foreign_keys": 1,
        "recursive_triggers": 1,
        "application_id": APPLICATION_ID,
    }


TAMPERING = {
    "payload": ("UPDATE record SET payload = '{\"index\":7}' WHERE id = 2", "record 2", "payload is not"),
    "time": ("UPDATE record SET recorded_at = '2000' WHERE id = 2", "record 2", "that was written"),
    "middle": ("DELETE FROM record WHERE id = 2", "record 3", "between 1 and 3 are gone"),
    "end": ("DELETE FROM record WHERE id = 3", "ledger", "after record 2 are gone"),
    "all": ("DELETE FROM record", "ledger", "after record 0 are gone"),
    "order": ("UPDATE record SET id = 10 - id", "record 7", "does not follow"),
}


@pytest.mark.parametrize(("statement", "where", "what"), TAMPERING.values(), ids=TAMPERING)
def test_tampering_is_seen(filled, statement, where, what):
    connection = raw(filled)
    connection.execute("DROP TRIGGER record_no_update")
    connection.execute("DROP TRIGGER record_no_delete")
    connection.execute(statement)
    connection.close()
    with open_ledger(filled) as ledger:
        faults = ledger.verify()
    assert any(fault.where == where and what in fault.what for fault in faults)
    assert any("guards are gone: record_no_update, record_no_delete" in fault.what for fault in faults)


def test_a_changed_payload_with_its_hashes_recomputed_breaks_the_chain(filled):
    with open_ledger(filled) as ledger:
        other = ledger.get(2)
    connection = raw(filled)
    connection.execute("DROP TRIGGER record_no_update")
    connection.execute("UPDATE record SET sha256 = ? WHERE id = 2", (other.sha256[::-1],))
    connection.close()
    with open_ledger(filled) as ledger:
        assert any(f.where == "record 3" and "does not follow" in f.what for f in ledger.verify())


def refused(path, **keys):
    with pytest.raises(LedgerRefused) as caught:
        open_ledger(path, **keys)
    error = caught.value
    assert error.where == str(path)
    assert error.do
    return error.what


def test_what_is_no_ledger_is_refused_and_left_as_it_is(tmp_path):
    text = tmp_path / "text.db"
    text.write_bytes(b"this is a text, long enough not to be taken for an empty file" * 20)
    foreign = tmp_path / "foreign.db"
    connection = raw(foreign)
    connection.execute("CREATE TABLE a (b)")
    connection.close()
    marked = tmp_path / "marked.db"
    connection = raw(marked)
    connection.execute("PRAGMA application_id = 77")
    connection.close()
    before = [file.read_bytes() for file in (text, foreign, marked)]
    assert "no database" in refused(text)
    assert "no ledger" in refused(foreign)
    assert "no ledger" in refused(marked)
    assert "cannot be opened" in refused(tmp_path)
    assert "cannot be opened" in refused(tmp_path / "nowhere" / "ledger.db")
    assert [file.read_bytes() for file in (text, foreign, marked)] == before


def test_a_newer_ledger_is_refused(filled):
    connection = raw(filled)
    connection.execute(f"PRAGMA user_version = {VERSION + 1}")
    connection.close()
    assert "written by a newer program" in refused(filled)


def test_an_empty_file_left_by_a_kill_becomes_a_ledger(path):
    path.touch()
    with open_ledger(path) as ledger:
        assert ledger.append("forecast", {}).id == 1


def test_a_damaged_ledger_is_refused(filled):
    with open_ledger(filled) as ledger:
        for index in range(50):
            ledger.append("forecast", {"text": "x" * 500, "index": index})
    data = bytearray(filled.read_bytes())
    data[4096:] = b"\xff" * (len(data) - 4096)
    filled.write_bytes(data)
    with open_ledger(filled) as ledger, pytest.raises(LedgerRefused, match="damaged"):
        ledger.records()


def test_a_ledger_locked_for_too_long_is_refused(filled):
    blocker = raw(filled)
    with open_ledger(filled, timeout_s=0.1) as ledger:
        blocker.execute("BEGIN IMMEDIATE")
        with pytest.raises(LedgerRefused, match="another program is writing") as caught:
            ledger.append("forecast", {})
        assert "try again" in caught.value.do
        blocker.execute("ROLLBACK")
        assert ledger.append("forecast", {}).id == 4
    blocker.close()


@pytest.fixture
def open_folder():
    """A folder that users other than root can reach; tests may run as root, whom no mode stops."""
    folder = Path(tempfile.mkdtemp())
    folder.chmod(0o755)
    yield folder
    folder.chmod(0o755)
    shutil.rmtree(folder)


@pytest.mark.parametrize("exists", [False, True])
def test_a_folder_that_cannot_be_written_to(open_folder, exists):
    path = open_folder / "ledger.db"
    if exists:
        open_ledger(path).close()
        path.chmod(stat.S_IRUSR | stat.S_IRGRP | stat.S_IROTH)
    open_folder.chmod(0o555)
    was_root = os.geteuid() == 0
    if was_root:
        os.seteuid(65534)
    try:
        assert re.search("cannot be (opened|written to)", refused(path, timeout_s=0.1))
    finally:
        if was_root:
            os.seteuid(0)


def test_migration_runs_each_step_once_and_all_or_nothing(path):
    steps = {**MIGRATIONS, 1: ("CREATE TABLE note (text TEXT)",), 2: ("ALTER TABLE note ADD COLUMN by TEXT",)}
    open_ledger(path).close()
    connection = raw(path)
    migrate_ledger(connection, 3, steps)
    migrate_ledger(connection, 3, steps)
    assert connection.execute("PRAGMA user_version").fetchone() == (3,)
    assert [row[1] for row in connection.execute("PRAGMA table_info(note)")] == ["text", "by"]
    with pytest.raises(sqlite3.OperationalError):
        migrate_ledger(connection, 4, {**steps, 3: ("CREATE TABLE third (a)", "nonsense")})
    assert connection.execute("PRAGMA user_version").fetchone() == (3,)
    assert connection.execute("SELECT name FROM sqlite_master WHERE name = 'third'").fetchall() == []
    connection.close()


APPENDER = """
import sys
from pathlib import Path
from dryfit.store.ledger import open_ledger
path, name, count = Path(sys.argv[1]), sys.argv[2], int(sys.argv[3])
with open_ledger(path, timeout_s=30) as ledger:
    for index in range(count):
        record = ledger.append("reading", {"name": name, "index": index})
        print(record.id, record.sha256, flush=True)
"""


def start(path, name, count):
    command = [sys.executable, "-c", APPENDER, str(path), name, str(count)]
    return subprocess.Popen(command, stdout=subprocess.PIPE, encoding="utf-8")


def test_two_benches_at_once_lose_nothing(path):
    processes = [start(path, name, 100) for name in ("left", "right")]
    acknowledged = [line for process in processes for line in process.communicate()[0].splitlines()]
    assert [process.returncode for process in processes] == [0, 0]
    with open_ledger(path) as ledger:
        records = ledger.records()
        assert ledger.verify() == ()
    assert {f"{r.id} {r.sha256}" for r in records} == set(acknowledged)
    for name in ("left", "right"):
        assert [r.payload["index"] for r in records if r.payload["name"] == name] == list(range(100))


def test_of_many_at_once_one_alone_takes_a_letter(path):
    """Each looks whether the letter is taken, and takes a while over it: no other may write meanwhile."""

    def take(name):
        def refuse_taken(records):
            taken = [record.payload["letter"] for record in records]
            time.sleep(0.02)
            if "A" in taken:
                raise ValueError("taken")

        with open_ledger(path, timeout_s=30) as ledger:
            try:
                return ledger.append("release", {"letter": "A", "name": name}, refuse_taken).id
            except ValueError:
                return None

    with open_ledger(path) as ledger:
        ledger.append("other", {})
    with ThreadPoolExecutor(8) as pool:
        made = [id for id in pool.map(take, range(8)) if id is not None]
    with open_ledger(path) as ledger:
        assert [record.id for record in ledger.records("release")] == made
        assert len(made) == 1
        assert ledger.verify() == ()


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="needs kill -9")
def test_kill_at_any_moment_loses_no_acknowledged_record(path):
    choose = random.Random(20)
    acknowledged = []
    for turn in range(20):
        process = start(path, f"turn {turn}", 100_000)
        first = process.stdout.readline()
        time.sleep(choose.uniform(0.0, 0.08))
        process.send_signal(signal.SIGKILL)
        # A line that the kill cut short was not acknowledged.
        lines = (first + process.communicate()[0]).split("\n")[:-1]
        acknowledged += lines
    with open_ledger(path) as ledger:
        kept = {f"{r.id} {r.sha256}" for r in ledger.records()}
        assert ledger.verify() == ()
    assert len(acknowledged) >= 20
    assert set(acknowledged) <= kept


def test_an_open_ledger_is_a_context(path):
    with open_ledger(path) as ledger:
        assert isinstance(ledger, Ledger)
    with pytest.raises(LedgerRefused):
        ledger.append("forecast", {})
