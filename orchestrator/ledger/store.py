"""The ledger in SQLite: one file, readable with any SQLite tool (its tables: ``schema``).

Write-ahead log with ``synchronous=FULL``: when a call returns, what it stored survives the loss
of power. A new file is made whole under another name and put in place at once, so that an empty
``ledger.sqlite`` is always damage and never taken for a facility without runs.
"""

import os
import sqlite3
import threading
from collections.abc import Iterable, Iterator, Sequence
from contextlib import closing, contextmanager
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from orchestrator import disk
from orchestrator.errors import LedgerError
from orchestrator.ledger.codec import (
    dump_event,
    dump_found,
    dump_record,
    load_event,
    load_found,
    load_record,
)
from orchestrator.ledger.copied import copied, may_write
from orchestrator.ledger.faults import damaged, guarded
from orchestrator.ledger.schema import COLUMNS, check, migrate
from orchestrator.ledger.seal import broken, seal
from orchestrator.running.events import Event
from orchestrator.running.record import RunRecord
from orchestrator.running.view import RunLine, run_lines

_ROWS_AT_ONCE = 100
"""So that an older SQLite takes it too, which has room for 999 values in one statement."""


def ledger_path(facility: Path) -> Path:
    """Where the ledger of the facility in the folder ``facility`` stands."""
    return facility / "runs" / "ledger.sqlite"


class SqliteLedger:
    """A facility's runs; fulfils :class:`orchestrator.running.protocols.Ledger`.

    ``facility`` is the facility's folder. ``patience_s``: how long to wait for another program
    that holds the file. With ``create`` False a missing ledger is an error and nothing is made.
    With ``looks`` it is only to be read: where the folder may not be written, a copy is.

    Raises:
        LedgerError: the file can't be used; every method may raise it.
    """

    def __init__(
        self, facility: Path, *, patience_s: float = 5.0, create: bool = True, looks: bool = False
    ) -> None:
        self.path = ledger_path(facility)
        self._alone = threading.Lock()
        self._last: dict[str, int] = {}  # how many events of a run are known to be there
        with guarded(self.path):
            only_read = looks and not may_write(self.path)
            if not self.path.exists():
                if not create:
                    raise LedgerError(
                        f"no run has been made here yet: there is no {self.path}",
                        "a run is made by 'cutsheet apply'; else name the right facility",
                    )
                if not only_read:
                    _make(self.path)
            if self.path.exists():
                _refuse_cut(self.path)
            self._connection = (copied if only_read else _open)(self.path, patience_s)
            try:
                check(self._connection, self.path)
                migrate(self._connection, self.path)
            except BaseException:
                self._connection.close()
                raise

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, why: BaseException | None, at: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Let go of the file."""
        with guarded(self.path):
            self._connection.close()

    def new_id(self, now: datetime) -> str:
        """The next id for a run: the date and a count, such as ``2026-11-25-1``."""
        day = now.date().isoformat()
        used = [
            int(name.removeprefix(f"{day}-"))
            for (name,) in self._rows("SELECT id FROM runs")
            if name.startswith(f"{day}-") and name.removeprefix(f"{day}-").isdecimal()
        ]
        return f"{day}-{max(used, default=0) + 1}"

    def begin(self, record: RunRecord) -> None:
        """Store a new run with the states of its devices, all of it or nothing.

        Raises:
            LedgerError: there is a run of that id already.
        """
        with self._transaction() as connection:
            if connection.execute("SELECT 1 FROM runs WHERE id = ?", (record.id,)).fetchone():
                raise LedgerError(f"there is a run {record.id} already", "give it a new id")
            values = (
                record.id,
                record.title,
                record.made_at,
                record.digest,
                record.undoes,
                dump_record(replace(record, before={})),
            )
            _insert(connection, "runs", [values])
            _insert(
                connection,
                "devices_before",
                [(record.id, name, dump_found(found)) for name, found in record.before.items()],
            )

    def append(self, run: str, events: Iterable[Event], at: datetime) -> None:
        """Store events of a run, in order, in one transaction: all of them or none.

        Raises:
            LedgerError: no such run.
        """
        texts = [(event, dump_event(event)) for event in events]
        if not self._added(run, texts, at):
            self._add(run, texts, at)

    def _added(self, run: str, texts: Sequence[tuple[Event, str]], at: datetime) -> bool:
        """Add events by one statement, which is a transaction of its own, if that can be done.

        Of each call of SQLite's a thread comes back behind all others that have something to do.
        """
        with self._alone, guarded(self.path):
            last = self._last.pop(run, None)
            if last is None or len(texts) > _ROWS_AT_ONCE:
                return False
            try:
                _insert(self._connection, "events", _rows_of(run, last, texts, at))
            except sqlite3.IntegrityError:
                return False  # another program has added some, or the run is there no more
            self._last[run] = last + len(texts)
        return True

    def _add(self, run: str, texts: Sequence[tuple[Event, str]], at: datetime) -> None:
        with self._transaction() as connection:
            known, last = connection.execute(
                "SELECT EXISTS (SELECT 1 FROM runs WHERE id = :run), "
                "(SELECT coalesce(max(n), 0) FROM events WHERE run = :run)",
                {"run": run},
            ).fetchone()
            if not known:
                raise _no_such_run(run)
            _insert(connection, "events", _rows_of(run, last, texts, at))
        self._last[run] = last + len(texts)

    def record(self, run: str) -> RunRecord:
        """Give a run back, the states of before included.

        Raises:
            LedgerError: no such run.
        """
        rows = self._sealed("runs", "id = ?", run)
        if not rows:
            raise _no_such_run(run)
        before = self._sealed("devices_before", "run = ? ORDER BY rowid", run)
        return replace(
            load_record(rows[0][5], f"run {run}"),
            before={name: load_found(text, f"{name} in run {run}") for _, name, text, _ in before},
        )

    def events(self, run: str) -> Sequence[Event]:
        """All events of a run, oldest first.

        Raises:
            LedgerError: no such run.
        """
        return tuple(event for _, event in self.timeline(run))

    def timeline(self, run: str) -> tuple[tuple[datetime, Event], ...]:
        """All events of a run with the time at which each was stored, oldest first.

        Raises:
            LedgerError: no such run.
        """
        with self._alone, guarded(self.path):
            self._must_exist(self._connection, run)
        rows = self._sealed("events", "run = ? ORDER BY n", run)
        if [row[1] for row in rows] != list(range(1, len(rows) + 1)):
            raise damaged(self.path, f"events of run {run} are missing")
        return tuple(
            (datetime.fromisoformat(at), load_event(text, f"event {n} of run {run}"))
            for _, n, at, _, _, text, _ in rows
        )

    def runs(self) -> tuple[RunLine, ...]:
        """Every run, oldest first, with its state."""
        ids = [name for (name,) in self._rows("SELECT id FROM runs ORDER BY rowid")]
        return run_lines([(self.record(name), self.events(name)) for name in ids])

    def unfinished(self) -> tuple[str, ...]:
        """The runs that still own identities: neither finished nor undone, oldest first."""
        return tuple(line.id for line in self.runs() if line.unfinished)

    def _sealed(self, table: str, where: str, run: str) -> list[tuple[Any, ...]]:
        """The rows of a run in a table, each with its seal last.

        Raises:
            LedgerError: a row is not what was stored.
        """
        query = f"SELECT {COLUMNS[table]}, seal FROM {table} WHERE {where}"  # noqa: S608 - our own
        rows = self._rows(query, run)
        for row in rows:
            if broken(row):
                what = {"runs": "the record", "events": f"event {row[1]}"}.get(table, row[1])
                raise damaged(self.path, f"{what} of run {run} is not what was stored")
        return rows

    def _rows(self, query: str, *values: str) -> list[tuple[Any, ...]]:
        with self._alone, guarded(self.path):
            return self._connection.execute(query, values).fetchall()

    @contextmanager
    def _transaction(self) -> Iterator[sqlite3.Connection]:
        with self._alone, guarded(self.path):
            self._connection.execute("BEGIN IMMEDIATE")
            try:
                yield self._connection
                self._connection.execute("COMMIT")
            except BaseException:
                if self._connection.in_transaction:
                    self._connection.execute("ROLLBACK")
                raise

    @staticmethod
    def _must_exist(connection: sqlite3.Connection, run: str) -> None:
        if not connection.execute("SELECT 1 FROM runs WHERE id = ?", (run,)).fetchone():
            raise _no_such_run(run)


def _rows_of(
    run: str, last: int, texts: Sequence[tuple[Event, str]], at: datetime
) -> list[tuple[object, ...]]:
    """The rows of events that follow the ``last`` that is there."""
    when = at.isoformat()
    return [
        (run, n, when, event.kind, getattr(event, "step", None), text)
        for n, (event, text) in enumerate(texts, last + 1)
    ]


def _insert(connection: sqlite3.Connection, table: str, rows: Sequence[tuple[object, ...]]) -> None:
    """Insert rows, many by one statement: after each one Python may have to wait for its turn."""
    columns = COLUMNS[table]
    marks = ", ".join("?" for _ in columns.split(","))
    statement = f"INSERT INTO {table} ({columns}, seal) VALUES "  # noqa: S608 - our own
    for first in range(0, len(rows), _ROWS_AT_ONCE):
        part = rows[first : first + _ROWS_AT_ONCE]
        values = [value for row in part for value in (*row, seal(*row))]
        connection.execute(statement + ", ".join([f"({marks}, ?)"] * len(part)), values)


def _no_such_run(run: str) -> LedgerError:
    return LedgerError(f"there is no run {run}", "'cutsheet runs' lists the runs of this facility")


def _open(path: Path, patience_s: float) -> sqlite3.Connection:
    connection = sqlite3.connect(
        path, timeout=patience_s, isolation_level=None, check_same_thread=False
    )
    try:
        connection.execute("PRAGMA journal_mode = WAL")
        connection.execute("PRAGMA synchronous = FULL")
        connection.execute("PRAGMA foreign_keys = ON")
    except BaseException:
        connection.close()
        raise
    return connection


def _refuse_cut(path: Path) -> None:
    """Refuse a file that is shorter than it says (sqlite.org/fileformat2.html, 1.3).

    Beside a log, pages may still be on their way from there.

    Raises:
        LedgerError: it was cut short.
    """
    size = path.stat().st_size
    if size == 0:
        raise damaged(path, "the file is empty")
    log = path.with_name(f"{path.name}-wal")
    if log.exists() and log.stat().st_size:
        return
    with path.open("rb") as file:
        head = file.read(100)
    if not head.startswith(b"SQLite format 3\0"):
        return  # no ledger at all, as SQLite will say
    page = int.from_bytes(head[16:18], "big")
    pages = int.from_bytes(head[28:32], "big")
    if size < pages * (65536 if page == 1 else page):
        raise damaged(path, f"it was cut short, to {size} bytes")


def _make(path: Path) -> None:
    """Make an empty ledger in place at once; one that appeared meanwhile is left as it is."""
    path.parent.mkdir(parents=True, exist_ok=True)
    making = path.with_name(f".ledger-{os.getpid()}-{threading.get_ident()}")
    try:
        with closing(sqlite3.connect(making, isolation_level=None)) as connection:
            migrate(connection, making)
        disk.sync(making)
        try:
            os.link(making, path)
        except FileExistsError:
            return
    finally:
        making.unlink(missing_ok=True)
    disk.sync(path.parent)
    disk.sync(path.parent.parent)
