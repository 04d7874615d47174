"""A ledger that was cut short or damaged anywhere is told, or gives a whole prefix: never a guess.

"Whole prefix" is what a power cut leaves: the run as it was recorded, with its first so many
events as they were stored.
"""

import random
import shutil
import sqlite3
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path

import pytest

from orchestrator.errors import LedgerError
from orchestrator.ledger import SqliteLedger, ledger_path
from orchestrator.running.events import Event, Failed, Failure, Intended, Proved
from orchestrator.running.record import RunRecord
from tests.ledger.test_store import RECORD

NOW = datetime(2026, 11, 25, 2, 0, tzinfo=UTC)
EVENTS: tuple[Event, ...] = tuple(
    event
    for n in range(40)
    for event in (Intended("s1"), Proved("s1"), Failed("s1", Failure.BROKEN, f"words {n}"))
)
SECTOR = 512


def closed(facility: Path) -> bytes:
    """A ledger that was closed in good order: all of it in the one file."""
    with SqliteLedger(facility) as ledger:
        ledger.begin(RECORD)
        for event in EVENTS:
            ledger.append(RECORD.id, [event], NOW)
    return ledger_path(facility).read_bytes()


def left_open(facility: Path) -> tuple[bytes, bytes]:
    """What a process that was killed leaves: the file, and its write-ahead log beside it."""
    with SqliteLedger(facility) as ledger:
        ledger.begin(RECORD)
        for event in EVENTS[:8]:
            ledger.append(RECORD.id, [event], NOW)
        path = ledger_path(facility)
        return path.read_bytes(), path.with_name("ledger.sqlite-wal").read_bytes()


def put(facility: Path, data: bytes, log: bytes | None = None) -> None:
    """Make a facility whose ledger is these bytes."""
    shutil.rmtree(facility, ignore_errors=True)
    path = ledger_path(facility)
    path.parent.mkdir(parents=True)
    path.write_bytes(data)
    if log is not None:
        path.with_name("ledger.sqlite-wal").write_bytes(log)


def told(facility: Path) -> LedgerError | tuple[RunRecord | None, Sequence[Event]]:
    """What a reader is given: an error in words, or the run (None if there is none) and events."""
    try:
        with SqliteLedger(facility, create=False) as ledger:
            if not ledger.runs():
                return None, ()
            return ledger.record(RECORD.id), ledger.events(RECORD.id)
    except LedgerError as error:
        return error


def check_prefix(found: LedgerError | tuple[RunRecord | None, Sequence[Event]]) -> int | None:
    """How many events a reader was given, None where an error was told; anything else is wrong."""
    if isinstance(found, LedgerError):
        assert found.fix
        assert "ledger" in found.what
        return None
    record, events = found
    assert record in (None, RECORD)
    assert tuple(events) == EVENTS[: len(events)]
    return len(events)


def test_cut_short_at_every_sector(tmp_path: Path) -> None:
    """The one file, cut at each multiple of 512 bytes: always told, as no part may be missing."""
    whole = closed(tmp_path / "whole")
    for size in range(0, len(whole), SECTOR):
        put(tmp_path / "cut", whole[:size])
        assert check_prefix(told(tmp_path / "cut")) is None, size
    put(tmp_path / "cut", whole)
    assert check_prefix(told(tmp_path / "cut")) == len(EVENTS)


def test_a_log_cut_short_at_every_sector(tmp_path: Path) -> None:
    """The write-ahead log, cut likewise: each event that is whole in it is given, no half of one.

    SQLite's own rule (sqlite.org/fileformat2.html, 4.4): the log counts up to its last commit
    that is whole.
    """
    data, log = left_open(tmp_path / "whole")
    counts = []
    for size in range(0, len(log), SECTOR):
        put(tmp_path / "cut", data, log[:size])
        count = check_prefix(told(tmp_path / "cut"))
        assert count is not None, "what was cut off was never whole, so nothing is damaged"
        counts.append(count)
    assert counts == sorted(counts)
    assert set(counts) == set(range(8))


def test_damaged_bytes(tmp_path: Path) -> None:
    """Bytes changed anywhere: told, or nothing that is read has changed."""
    whole = closed(tmp_path / "whole")
    chance = random.Random(4)
    noticed = 0
    for _ in range(150):
        data = bytearray(whole)
        at = chance.randrange(len(data))
        width = chance.choice((1, 1, 16, 512))
        data[at : at + width] = bytes(chance.randrange(256) for _ in data[at : at + width])
        put(tmp_path / "hurt", bytes(data))
        count = check_prefix(told(tmp_path / "hurt"))
        assert count in (None, len(EVENTS))
        noticed += count is None
    assert noticed > 50, "the rest fell on bytes that nobody reads"


@pytest.mark.parametrize("table", ["runs", "devices_before", "events"])
def test_a_value_changed_in_its_place_is_told(tmp_path: Path, table: str) -> None:
    """A number that became another keeps every shape: only the seal shows it."""
    closed(tmp_path)
    column = {"runs": "record", "devices_before": "found", "events": "event"}[table]
    other = sqlite3.connect(ledger_path(tmp_path))
    for old, new in (("s1", "s7"), ("CV-20931", "CV-20937")):
        statement = f"UPDATE {table} SET {column} = replace({column}, ?, ?)"  # noqa: S608 - our own
        other.execute(statement, (old, new))
    other.commit()
    other.close()
    found = told(tmp_path)
    assert isinstance(found, LedgerError)
    assert "is not what was stored" in found.what
    assert "rollback notes" in found.fix
