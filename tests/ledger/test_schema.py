"""Older ledgers are migrated, newer and foreign ones refused."""

import sqlite3
from collections.abc import Iterator
from pathlib import Path

import pytest

from orchestrator.errors import LedgerError
from orchestrator.ledger import schema
from orchestrator.ledger.seal import seal

PATH = Path("ledger.sqlite")
INVENTED_ZERO_TO_ONE = (
    "CREATE TABLE runs (id TEXT PRIMARY KEY, called TEXT NOT NULL)",
    "INSERT INTO runs SELECT name, name FROM old_runs",
    "DROP TABLE old_runs",
)
INVENTED_ONE_TO_TWO = ("ALTER TABLE runs ADD COLUMN sum INTEGER DEFAULT 7",)


@pytest.fixture
def connection() -> Iterator[sqlite3.Connection]:
    """A database in memory."""
    made = sqlite3.connect(":memory:", isolation_level=None)
    yield made
    made.close()


def old(connection: sqlite3.Connection) -> None:
    """Make an invented version 0 with one run in it."""
    connection.execute(f"PRAGMA application_id = {schema.APPLICATION_ID}")
    connection.execute("CREATE TABLE old_runs (name TEXT)")
    connection.execute("INSERT INTO old_runs VALUES ('2020-01-01-1')")


def test_an_empty_file_becomes_the_newest(connection: sqlite3.Connection) -> None:
    """A new ledger has the tables that the docstring names, and is marked as ours."""
    schema.migrate(connection, PATH)
    assert schema.version(connection) == len(schema.MIGRATIONS)
    names = {row[0] for row in connection.execute("SELECT name FROM sqlite_master")}
    assert {"runs", "devices_before", "events"} <= names
    columns = {row[1] for row in connection.execute("PRAGMA table_info(events)")}
    assert columns == {"run", "n", "at", "kind", "step", "event", "seal"}
    assert all(f"``{name}``" in (schema.__doc__ or "") for name in columns)
    schema.check(connection, PATH)


def test_an_older_ledger_is_migrated_step_by_step(connection: sqlite3.Connection) -> None:
    """An invented version 0 goes through every migration and keeps its runs."""
    old(connection)
    schema.migrate(connection, PATH, (INVENTED_ZERO_TO_ONE, INVENTED_ONE_TO_TWO))
    assert schema.version(connection) == 2
    assert connection.execute("SELECT * FROM runs").fetchall() == [
        ("2020-01-01-1", "2020-01-01-1", 7)
    ]


def test_only_the_migrations_still_due_are_done(connection: sqlite3.Connection) -> None:
    """A version 1 does not go through the first migration again."""
    old(connection)
    schema.migrate(connection, PATH, (INVENTED_ZERO_TO_ONE,))
    schema.migrate(connection, PATH, (INVENTED_ZERO_TO_ONE, INVENTED_ONE_TO_TWO))
    assert schema.version(connection) == 2
    before = connection.total_changes
    schema.migrate(connection, PATH, (INVENTED_ZERO_TO_ONE, INVENTED_ONE_TO_TWO))
    assert connection.total_changes == before


def test_a_migration_that_fails_leaves_all_as_it_was(connection: sqlite3.Connection) -> None:
    """Half a migration is no migration: version, tables and rows are the old ones."""
    old(connection)
    with pytest.raises(sqlite3.OperationalError):
        schema.migrate(connection, PATH, (INVENTED_ZERO_TO_ONE, ("NONSENSE",)))
    assert schema.version(connection) == 0
    assert connection.execute("SELECT name FROM old_runs").fetchall() == [("2020-01-01-1",)]
    assert not connection.in_transaction


def test_a_newer_ledger_is_refused_in_words(connection: sqlite3.Connection) -> None:
    """A newer version is neither guessed at nor touched."""
    schema.migrate(connection, PATH)
    newer = len(schema.MIGRATIONS) + 1
    connection.execute(f"PRAGMA user_version = {newer}")
    with pytest.raises(LedgerError) as caught:
        schema.migrate(connection, PATH)
    assert "newer Cutsheet" in caught.value.what
    assert caught.value.fix
    assert schema.version(connection) == newer


def test_another_programs_database_is_refused(connection: sqlite3.Connection) -> None:
    """A database with tables and without our mark is left alone."""
    connection.execute("CREATE TABLE songs (title TEXT)")
    with pytest.raises(LedgerError, match="another program"):
        schema.migrate(connection, PATH)
    assert [row[0] for row in connection.execute("SELECT name FROM sqlite_master")] == ["songs"]


def test_a_ledger_of_the_first_version_is_sealed(connection: sqlite3.Connection) -> None:
    """What was stored before there were seals keeps its values and gets its seals."""
    schema.migrate(connection, PATH, schema.MIGRATIONS[:1])
    assert schema.version(connection) == 1
    connection.execute("INSERT INTO runs VALUES ('r1', 'title', 'then', 'abc', NULL, '{}')")
    connection.execute("INSERT INTO devices_before VALUES ('r1', 'd', '{}')")
    connection.execute("INSERT INTO events VALUES ('r1', 1, 'then', 'paused', NULL, '{}')")
    schema.migrate(connection, PATH)
    assert schema.version(connection) == 2
    for table, columns in schema.COLUMNS.items():
        query = f"SELECT {columns}, seal FROM {table}"  # noqa: S608 - both are our own words
        (row,) = connection.execute(query).fetchall()
        assert row[-1] == seal(*row[:-1])
