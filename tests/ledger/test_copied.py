"""A ledger that may only be read is looked at in a copy, its log included."""

import shutil
import sqlite3
import tempfile
from contextlib import closing
from pathlib import Path

import pytest

from orchestrator.errors import LedgerError
from orchestrator.ledger.copied import copied, may_write
from orchestrator.ledger.store import SqliteLedger, ledger_path
from tests.ledger.test_store import as_nobody, filled


def runs_in(connection: sqlite3.Connection) -> int:
    """How many runs a ledger holds."""
    with closing(connection):
        return int(connection.execute("SELECT count(*) FROM runs").fetchone()[0])


def test_a_ledger_that_was_closed(tmp_path: Path) -> None:
    """Nothing is made beside it."""
    filled(tmp_path)
    path = ledger_path(tmp_path)
    there = sorted(path.parent.iterdir())
    assert runs_in(copied(path, 1.0)) == 1
    assert sorted(path.parent.iterdir()) == there


def test_what_stands_in_the_log_of_a_process_that_works_or_has_died(tmp_path: Path) -> None:
    """The one has an index beside its log, the other may have left the log alone."""
    filled(tmp_path)
    path = ledger_path(tmp_path)
    with closing(sqlite3.connect(path, isolation_level=None)) as other:
        other.execute("PRAGMA journal_mode = WAL")
        other.execute("PRAGMA wal_autocheckpoint = 0")
        other.execute("INSERT INTO runs SELECT 'r9', title, made_at, digest, undoes, record, seal "
                      "FROM runs LIMIT 1")  # fmt: skip
        assert runs_in(copied(path, 1.0)) == 2
        dead = tmp_path / "dead"
        dead.mkdir()
        for name in (path.name, f"{path.name}-wal"):
            shutil.copyfile(path.parent / name, dead / name)
    assert runs_in(copied(dead / path.name, 1.0)) == 2
    assert sorted(one.name for one in dead.iterdir()) == [path.name, f"{path.name}-wal"]


def test_where_it_may_be_written(tmp_path: Path) -> None:
    """The file and its folder; where there is none, the next folder above."""
    assert may_write(ledger_path(tmp_path))
    with tempfile.TemporaryDirectory() as name:
        facility = Path(name)
        filled(facility)
        facility.chmod(0o755)
        path = ledger_path(facility)
        with as_nobody():
            assert not may_write(path)
            with SqliteLedger(facility, looks=True) as ledger:
                assert len(ledger.runs()) == 1


def test_one_that_may_not_even_be_read() -> None:
    """That is said, with the right that is missing."""
    with tempfile.TemporaryDirectory() as name:
        facility = Path(name)
        filled(facility)
        facility.chmod(0o755)
        ledger_path(facility).chmod(0o600)
        with as_nobody(), pytest.raises(LedgerError, match="Permission denied"):
            SqliteLedger(facility, looks=True)
