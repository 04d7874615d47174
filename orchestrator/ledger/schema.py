"""The ledger's tables, their version, and how an older ledger becomes a newer one.

``PRAGMA application_id`` marks the file as a Cutsheet ledger, ``PRAGMA user_version`` is the
version of its tables. Version 2, readable with any SQLite tool:

``runs``            one row a run
    ``id``          short and speakable, such as ``2026-11-25-1``
    ``title``       what the run is called
    ``made_at``     ISO 8601 time with an offset
    ``digest``      of its sequence
    ``undoes``      the run that it takes back, or NULL
    ``record``      JSON: the whole record but for the states of before
``devices_before``  the state of each device to be touched, stored before the first write
    ``run``, ``device``
    ``found``       JSON: where it answered, and its whole state
``events``          what happened, oldest first
    ``run``, ``n``  counts from 1 in each run
    ``at``          ISO 8601 time with an offset
    ``kind``        ``intended``, ``sent``, ``proved``, ``failed``, ``paused`` ...
    ``step``        the step's id, or NULL
    ``event``       JSON: the whole event

Each table ends with ``seal``: 16 hexadecimal digits over the row's other columns, in this order
(see ``seal``). Version 1 had none.

``MIGRATIONS[n]`` turns version n into version n + 1; an empty file is version 0. A migration
happens whole or not at all. A newer version is refused: guessing would cost more than waiting.
"""

import sqlite3
from collections.abc import Sequence
from pathlib import Path

from orchestrator.errors import LedgerError
from orchestrator.ledger.faults import damaged
from orchestrator.ledger.seal import seal

APPLICATION_ID = 0x43555453
"""``CUTS`` in ASCII."""

Migration = Sequence[str]

_CREATE: Migration = (
    """CREATE TABLE runs (
        id TEXT PRIMARY KEY,
        title TEXT NOT NULL,
        made_at TEXT NOT NULL,
        digest TEXT NOT NULL,
        undoes TEXT,
        record TEXT NOT NULL)""",
    """CREATE TABLE devices_before (
        run TEXT NOT NULL REFERENCES runs (id),
        device TEXT NOT NULL,
        found TEXT NOT NULL,
        PRIMARY KEY (run, device))""",
    """CREATE TABLE events (
        run TEXT NOT NULL REFERENCES runs (id),
        n INTEGER NOT NULL,
        at TEXT NOT NULL,
        kind TEXT NOT NULL,
        step TEXT,
        event TEXT NOT NULL,
        PRIMARY KEY (run, n))""",
)

COLUMNS = {
    "runs": "id, title, made_at, digest, undoes, record",
    "devices_before": "run, device, found",
    "events": "run, n, at, kind, step, event",
}
"""Each table's columns but the seal, in the order in which they are sealed."""

_SEAL: Migration = tuple(
    statement
    for table, columns in COLUMNS.items()
    for statement in (
        f"ALTER TABLE {table} ADD COLUMN seal TEXT NOT NULL DEFAULT ''",
        f"UPDATE {table} SET seal = seal({columns})",  # noqa: S608 - both are our own words
    )
)

MIGRATIONS: Sequence[Migration] = (_CREATE, _SEAL)


def version(connection: sqlite3.Connection) -> int:
    """The version of the tables in the file."""
    found: int = connection.execute("PRAGMA user_version").fetchone()[0]
    return found


def migrate(
    connection: sqlite3.Connection, path: Path, migrations: Sequence[Migration] = MIGRATIONS
) -> None:
    """Bring the tables to the version that this Cutsheet writes.

    Raises:
        LedgerError: the file is a newer ledger, or some other program's database.
        sqlite3.Error: the file can't be written; it is as it was.
    """
    _refuse_strangers(connection, path)
    newest = len(migrations)
    _refuse_newer(connection, path, newest)
    if version(connection) == newest:
        return
    connection.create_function("seal", -1, seal, deterministic=True)
    connection.execute("BEGIN IMMEDIATE")
    try:
        for at in range(version(connection), newest):
            for statement in migrations[at]:
                connection.execute(statement)
        connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
        connection.execute(f"PRAGMA user_version = {newest}")
        connection.execute("COMMIT")
    except BaseException:
        if connection.in_transaction:
            connection.execute("ROLLBACK")
        raise


def _refuse_strangers(connection: sqlite3.Connection, path: Path) -> None:
    mark = connection.execute("PRAGMA application_id").fetchone()[0]
    tables = connection.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]
    if mark != APPLICATION_ID and tables:
        raise LedgerError(
            f"{path} is a database of another program",
            "move it elsewhere; Cutsheet makes its own ledger there",
        )


def _refuse_newer(connection: sqlite3.Connection, path: Path, newest: int) -> None:
    found = version(connection)
    if found > newest:
        raise LedgerError(
            f"the ledger {path} was written by a newer Cutsheet (its version is {found}; this "
            f"one reads up to {newest})",
            "use the newer Cutsheet, at least until no run is unfinished",
        )


def check(connection: sqlite3.Connection, path: Path) -> None:
    """Look through the file for damage, and whether tables and their indexes tell the same rows.

    Raises:
        LedgerError: the file is damaged.
        sqlite3.Error: the file is too damaged even to look.
    """
    said = [str(row[0]) for row in connection.execute("PRAGMA integrity_check(3)")]
    if said != ["ok"]:
        raise damaged(path, "; ".join(line.replace("\n", " ") for line in said))
