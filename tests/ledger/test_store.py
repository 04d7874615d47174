"""Runs are stored durably, come back exactly, and damage is told in words."""

import os
import signal
import sqlite3
import subprocess
import sys
import tempfile
import textwrap
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import pytest

from orchestrator.errors import LedgerError
from orchestrator.facility.found import DeviceState, Found, Identity, InterfaceState
from orchestrator.facility.step import Sequence, Step, StepKind
from orchestrator.ledger import SqliteLedger, ledger_path
from orchestrator.ledger.seal import seal
from orchestrator.running.events import Event, Failed, Failure, Finished, Intended, Paused, Proved
from orchestrator.running.protocols import Ledger
from orchestrator.running.record import RunRecord
from orchestrator.running.view import RunState

ROOT = Path(__file__).parents[2]
NOW = datetime(2026, 11, 25, 2, 0, tzinfo=timezone(timedelta(hours=1)))
IDENTITY = Identity(serial="CV-20931", model="CE-40", firmware="4.1.2")
STATE = DeviceState(
    identity=IDENTITY, interfaces={"main": InterfaceState(address="127.44.3.31", prefix=24)}
)
STEP = Step(
    id="s1",
    kind=StepKind.DISABLE,
    device="north-engine",
    at="127.44.3.31",
    source="program-1",
    as_found=True,
    wanted=False,
)
RECORD = RunRecord(
    id="2026-11-25-1",
    facility="Tern Point Radio",
    title="Studio North, new engine",
    made_at=NOW.isoformat(),
    digest="abc",
    sequence=Sequence(steps=(STEP,)),
    expects={"north-engine": IDENTITY},
    before={
        "z-node": Found(at="127.44.3.40", state=STATE, response_s=0.1),
        "north-engine": Found(at="127.44.3.31", state=STATE, response_s=0.1),
    },
)
EVENTS: tuple[Event, ...] = (
    Intended("s1"),
    Proved("s1"),
    Paused("a person said so"),
)


@pytest.fixture
def ledger(tmp_path: Path) -> Iterator[SqliteLedger]:
    """A new ledger."""
    with SqliteLedger(tmp_path, patience_s=0.05) as made:
        yield made


def filled(facility: Path, events: int = 400) -> Path:
    """A closed ledger with a run and some events, all of it in the one file."""
    with SqliteLedger(facility) as made:
        made.begin(RECORD)
        made.append(RECORD.id, [Intended("s1")] * events, NOW)
    path = ledger_path(facility)
    assert not path.with_name("ledger.sqlite-wal").exists()
    return path


def test_what_was_stored_comes_back(ledger: SqliteLedger) -> None:
    """A run, its states of before and their order, and its events are what was given."""
    stored: Ledger = ledger
    stored.begin(RECORD)
    stored.append(RECORD.id, EVENTS[:1], NOW)
    stored.append(RECORD.id, EVENTS[1:], NOW)
    assert stored.record(RECORD.id) == RECORD
    assert list(stored.record(RECORD.id).before) == ["z-node", "north-engine"]
    assert tuple(stored.events(RECORD.id)) == EVENTS


def test_events_keep_their_time(ledger: SqliteLedger) -> None:
    """The time at which each event was stored comes back with its offset."""
    ledger.begin(RECORD)
    ledger.append(RECORD.id, EVENTS, NOW)
    assert [(at, at.utcoffset()) for at, _ in ledger.timeline(RECORD.id)] == [
        (NOW, timedelta(hours=1))
    ] * 3


def test_another_tool_can_read_it(tmp_path: Path) -> None:
    """The file is plain SQLite with the tables that are documented."""
    path = filled(tmp_path, events=2)
    connection = sqlite3.connect(path)
    assert connection.execute("SELECT id, title, undoes FROM runs").fetchall() == [
        ("2026-11-25-1", "Studio North, new engine", None)
    ]
    assert connection.execute(
        "SELECT n, kind, step, json_extract(event, '$.step') FROM events"
    ).fetchall() == [(1, "intended", "s1", "s1"), (2, "intended", "s1", "s1")]
    assert (
        connection.execute(
            "SELECT json_extract(found, '$.state.identity.serial') FROM devices_before"
        ).fetchall()
        == [("CV-20931",)] * 2
    )
    connection.close()


def test_durability_is_asked_for(ledger: SqliteLedger) -> None:
    """The file is in write-ahead mode and every commit is put on disk (FULL is 2)."""
    assert ledger._connection.execute("PRAGMA journal_mode").fetchone() == ("wal",)
    assert ledger._connection.execute("PRAGMA synchronous").fetchone() == (2,)


def test_what_was_stored_outlives_kill_9(tmp_path: Path) -> None:
    """Events are there after the process that stored them was killed without a word."""
    filled(tmp_path, events=1)
    child = textwrap.dedent("""
        import os, signal, sys
        from datetime import datetime, UTC
        from pathlib import Path
        from orchestrator.ledger import SqliteLedger
        from orchestrator.running.events import Proved
        SqliteLedger(Path(sys.argv[1])).append("2026-11-25-1", [Proved("s1")], datetime.now(UTC))
        os.kill(os.getpid(), signal.SIGKILL)
    """)
    done = subprocess.run([sys.executable, "-c", child, str(tmp_path)], cwd=ROOT, check=False)
    assert done.returncode == -signal.SIGKILL
    with SqliteLedger(tmp_path) as again:
        assert tuple(again.events(RECORD.id)) == (Intended("s1"), Proved("s1"))


def test_ids_are_the_date_and_a_count(ledger: SqliteLedger) -> None:
    """The next id counts on from the highest of its day; another day starts at 1."""
    assert ledger.new_id(NOW) == "2026-11-25-1"
    for name in ("2026-11-25-1", "2026-11-25-12", "2026-11-25-x"):
        ledger.begin(replace(RECORD, id=name))
    assert ledger.new_id(NOW) == "2026-11-25-13"
    assert ledger.new_id(NOW + timedelta(days=1)) == "2026-11-26-1"


def test_a_list_of_runs_says_how_each_stands(ledger: SqliteLedger) -> None:
    """Paused, finished and undone follow from the events; unfinished ones own identities."""
    for name, undoes, events in (
        ("r1", None, EVENTS),
        ("r2", None, (Proved("s1"), Finished())),
        ("r3", "r2", (Finished(),)),
        ("r4", None, ()),
    ):
        ledger.begin(replace(RECORD, id=name, undoes=undoes))
        ledger.append(name, events, NOW)
    assert [(line.id, line.state) for line in ledger.runs()] == [
        ("r1", RunState.PAUSED),
        ("r2", RunState.UNDONE),
        ("r3", RunState.FINISHED),
        ("r4", RunState.RUNNING),
    ]
    assert ledger.unfinished() == ("r1", "r4")


def test_an_unknown_run_is_an_error_in_words(ledger: SqliteLedger) -> None:
    """Asking for, or adding to, a run that is not there names it and the way out."""
    for ask in (
        lambda: ledger.record("r9"),
        lambda: ledger.events("r9"),
        lambda: ledger.append("r9", EVENTS, NOW),
    ):
        with pytest.raises(LedgerError) as caught:
            ask()
        assert "no run r9" in caught.value.what
        assert "cutsheet runs" in caught.value.fix


def test_a_run_is_begun_once(ledger: SqliteLedger) -> None:
    """A second run of the same id is refused and changes nothing."""
    ledger.begin(RECORD)
    with pytest.raises(LedgerError, match="already"):
        ledger.begin(replace(RECORD, title="other"))
    assert ledger.record(RECORD.id) == RECORD


def test_a_batch_is_stored_whole_or_not_at_all(ledger: SqliteLedger) -> None:
    """When the second event of a batch can't be stored, the first is not there either."""
    ledger.begin(RECORD)

    def broken() -> Iterator[Event]:
        yield Intended("s1")
        raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        ledger.append(RECORD.id, broken(), NOW)
    assert tuple(ledger.events(RECORD.id)) == ()
    ledger.append(RECORD.id, EVENTS, NOW)
    assert tuple(ledger.events(RECORD.id)) == EVENTS


def test_a_full_disk_is_told_and_loses_nothing_stored(ledger: SqliteLedger) -> None:
    """With no page left, the batch is refused in words and earlier events stay."""
    ledger.begin(RECORD)
    ledger.append(RECORD.id, EVENTS, NOW)
    (pages,) = ledger._connection.execute("PRAGMA page_count").fetchone()
    ledger._connection.execute(f"PRAGMA max_page_count = {pages}")
    long = [Failed("s1", Failure.REJECTED, "x" * 2000)] * 50
    with pytest.raises(LedgerError, match="disk is full") as caught:
        ledger.append(RECORD.id, long, NOW)
    assert "make room" in caught.value.fix
    assert tuple(ledger.events(RECORD.id)) == EVENTS
    ledger._connection.execute("PRAGMA max_page_count = 100000")
    ledger.append(RECORD.id, long, NOW)
    assert len(ledger.events(RECORD.id)) == len(EVENTS) + 50


def test_a_file_held_by_another_program_is_told(ledger: SqliteLedger) -> None:
    """A write lock of somebody else is a LedgerError after the patience is over."""
    ledger.begin(RECORD)
    other = sqlite3.connect(ledger.path, isolation_level=None)
    other.execute("BEGIN EXCLUSIVE")
    with pytest.raises(LedgerError, match="another program"):
        ledger.append(RECORD.id, EVENTS, NOW)
    other.execute("ROLLBACK")
    other.close()
    ledger.append(RECORD.id, EVENTS, NOW)


def test_a_file_that_is_no_database_is_told_and_kept(tmp_path: Path) -> None:
    """Garbage is refused in words and left as it is."""
    path = ledger_path(tmp_path)
    path.parent.mkdir()
    path.write_bytes(b"not a database, and long enough to look at. " * 100)
    before = path.read_bytes()
    with pytest.raises(LedgerError, match="not a ledger") as caught:
        SqliteLedger(tmp_path)
    assert "rollback notes" in caught.value.fix
    assert path.read_bytes() == before


@pytest.mark.parametrize("keep", [0.0, 0.02, 0.3, 0.5, 0.9])
def test_a_truncated_file_is_told(tmp_path: Path, keep: float) -> None:
    """A ledger cut short anywhere, down to nothing, is refused and never taken for a new one."""
    path = filled(tmp_path)
    whole = path.read_bytes()
    path.write_bytes(whole[: int(len(whole) * keep)])
    with pytest.raises(LedgerError) as caught:
        SqliteLedger(tmp_path)
    assert caught.value.fix


def test_an_overwritten_page_is_told(tmp_path: Path) -> None:
    """A page of nonsense inside the file is found when it is opened."""
    path = filled(tmp_path)
    data = bytearray(path.read_bytes())
    for at in range(4096, len(data), 4096):
        data[at : at + 512] = b"\xff" * 512
    path.write_bytes(data)
    with pytest.raises(LedgerError, match="damaged"):
        SqliteLedger(tmp_path)


def test_a_value_that_makes_no_sense_is_told(tmp_path: Path) -> None:
    """A record or an event that another hand altered is a LedgerError that names it."""
    path = filled(tmp_path, events=2)
    other = sqlite3.connect(path)
    row = (RECORD.id, 2, NOW.isoformat(), "intended", "s1", "{}")
    other.execute("UPDATE events SET event = ?, seal = ? WHERE n = 2", ("{}", seal(*row)))
    other.commit()
    other.close()
    with SqliteLedger(tmp_path) as ledger, pytest.raises(LedgerError, match="event 2 of run"):
        ledger.events(RECORD.id)


def test_missing_events_are_told(tmp_path: Path) -> None:
    """A gap in a run's events is damage: its state would be a wrong one."""
    path = filled(tmp_path, events=3)
    other = sqlite3.connect(path)
    other.execute("DELETE FROM events WHERE n = 2")
    other.commit()
    other.close()
    with SqliteLedger(tmp_path) as ledger, pytest.raises(LedgerError, match="missing"):
        ledger.events(RECORD.id)


@contextmanager
def as_nobody() -> Iterator[None]:
    """Be a user without rights for a while, where the tests run as root."""
    if os.geteuid() != 0:
        yield
        return
    os.seteuid(65534)
    try:
        yield
    finally:
        os.seteuid(0)


def test_a_read_only_folder_is_told() -> None:
    """Where nothing may be written, both a new ledger and an old one are refused in words."""
    with tempfile.TemporaryDirectory() as name:
        facility = Path(name)
        facility.chmod(0o555)
        with as_nobody(), pytest.raises(LedgerError) as caught:
            SqliteLedger(facility)
        assert "right to write" in caught.value.fix or "may write" in caught.value.fix
        facility.chmod(0o755)
        filled(facility)
        runs = facility / "runs"
        ledger_path(facility).chmod(0o444)
        runs.chmod(0o555)
        with as_nobody(), pytest.raises(LedgerError) as caught:
            SqliteLedger(facility)
        assert "write" in caught.value.fix
        runs.chmod(0o755)


def test_looking_at_a_facility_without_runs_makes_nothing(tmp_path: Path) -> None:
    """A command that only reads does not make a ledger."""
    with pytest.raises(LedgerError, match="no run has been made"):
        SqliteLedger(tmp_path, create=False)
    assert list(tmp_path.iterdir()) == []


def test_a_new_ledger_leaves_no_scraps(tmp_path: Path) -> None:
    """Making the file in place at once leaves only the ledger behind."""
    with SqliteLedger(tmp_path):
        pass
    assert [path.name for path in (tmp_path / "runs").iterdir()] == ["ledger.sqlite"]


def test_two_at_once_make_one_ledger(tmp_path: Path) -> None:
    """Programs that find no ledger at the same moment end up with the same one."""
    errors: list[BaseException] = []

    def work(n: int) -> None:
        try:
            with SqliteLedger(tmp_path) as made:
                made.begin(replace(RECORD, id=f"r{n}"))
        except LedgerError as error:
            errors.append(error)

    threads = [threading.Thread(target=work, args=(n,)) for n in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert errors == []
    with SqliteLedger(tmp_path) as ledger:
        assert {line.id for line in ledger.runs()} == {"r0", "r1", "r2", "r3"}


def test_another_thread_may_use_it(ledger: SqliteLedger) -> None:
    """The ledger may be called from a worker thread."""
    ledger.begin(RECORD)
    worker = threading.Thread(target=lambda: ledger.append(RECORD.id, EVENTS, datetime.now(UTC)))
    worker.start()
    worker.join()
    assert tuple(ledger.events(RECORD.id)) == EVENTS
