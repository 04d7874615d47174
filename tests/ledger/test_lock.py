"""One run at a time, also across processes that die."""

import errno
import json
import os
import signal
import subprocess
import sys
import textwrap
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from orchestrator.errors import LedgerError
from orchestrator.ledger import lock

ROOT = Path(lock.__file__).parents[2]
CHILD = textwrap.dedent("""
    import sys, time
    from pathlib import Path
    from orchestrator.ledger.lock import hold
    with hold(Path(sys.argv[1]), "cutsheet apply order.yaml"):
        print("held", flush=True)
        sys.stdin.readline()
    print("let go", flush=True)
    sys.stdin.readline()
""")


@contextmanager
def other(facility: Path) -> Iterator[subprocess.Popen[str]]:
    """Another process that holds the lock until it gets a line."""
    with subprocess.Popen(
        [sys.executable, "-c", CHILD, str(facility)],
        cwd=ROOT,
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    ) as child:
        assert child.stdout is not None
        assert child.stdout.readline() == "held\n"
        try:
            yield child
        finally:
            child.kill()


def test_a_held_lock_names_its_holder(tmp_path: Path) -> None:
    """Who holds the lock in another process is named: command, user, host, process."""
    with other(tmp_path) as child:
        with pytest.raises(LedgerError) as caught, lock.hold(tmp_path, "cutsheet resume"):
            pass
        assert "'cutsheet apply order.yaml'" in caught.value.what
        assert f"(process {child.pid})" in caught.value.what
        assert caught.value.fix
        seen = lock.holder(tmp_path)
        assert seen is not None
        assert seen.pid == child.pid
        with pytest.raises(LedgerError, match=f"process {child.pid}"):
            lock.refuse_held(tmp_path)
        child.kill()
        child.wait()
        lock.refuse_held(tmp_path)


def test_a_killed_process_is_taken_over_and_named(tmp_path: Path) -> None:
    """After kill -9 the lock can be had at once, and the dead holder is told."""
    with other(tmp_path) as child:
        child.send_signal(signal.SIGKILL)
        child.wait()
        assert lock.holder(tmp_path) is None
        with lock.hold(tmp_path, "cutsheet resume") as held:
            assert held.took_over is not None
            assert held.took_over.pid == child.pid
            assert held.took_over.command == "cutsheet apply order.yaml"


def test_a_process_that_lets_go_leaves_nothing_to_take_over(tmp_path: Path) -> None:
    """Letting go in good order frees the lock while the process still lives."""
    with other(tmp_path) as child:
        assert child.stdin is not None
        assert child.stdout is not None
        child.stdin.write("\n")
        child.stdin.flush()
        assert child.stdout.readline() == "let go\n"
        with lock.hold(tmp_path, "cutsheet resume") as held:
            assert held.took_over is None
            assert held.holder.pid == os.getpid()


def test_the_same_process_cannot_hold_it_twice(tmp_path: Path) -> None:
    """A second hold in one process is refused too, and the first stays held."""
    with lock.hold(tmp_path, "first"):
        with pytest.raises(LedgerError, match="'first'"), lock.hold(tmp_path, "second"):
            pass
        assert lock.holder(tmp_path) is not None
    assert lock.holder(tmp_path) is None


def test_an_error_inside_lets_go(tmp_path: Path) -> None:
    """Whatever ends the block lets the lock go in good order."""
    with pytest.raises(ZeroDivisionError), lock.hold(tmp_path, "first"):
        raise ZeroDivisionError
    with lock.hold(tmp_path, "second") as held:
        assert held.took_over is None


def test_holding_it_counts_as_held_even_without_a_name(tmp_path: Path) -> None:
    """A holder whose name can't be read still keeps others out."""
    with lock.hold(tmp_path, "first"):
        (tmp_path / "runs" / "lock").write_text("{half", encoding="utf-8")
        with pytest.raises(LedgerError, match="left no name"), lock.hold(tmp_path, "second"):
            pass
        seen = lock.holder(tmp_path)
        assert seen is not None
        assert seen.pid == 0


def test_looking_makes_nothing(tmp_path: Path) -> None:
    """To ask who holds the lock makes no file."""
    assert lock.holder(tmp_path) is None
    assert list(tmp_path.iterdir()) == []


def test_a_place_that_cannot_hold_a_lock_is_an_error_in_words(tmp_path: Path) -> None:
    """A file where the runs folder should be raises a LedgerError with a fix."""
    (tmp_path / "runs").write_text("", encoding="utf-8")
    with pytest.raises(LedgerError) as caught, lock.hold(tmp_path, "x"):
        pass
    assert "runs/lock" in caught.value.what
    assert caught.value.fix
    with pytest.raises(LedgerError):
        lock.holder(tmp_path)


def test_a_user_without_a_name_is_given_by_number(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where the system knows no name for the user, its number stands."""

    def nobody() -> str:
        raise KeyError("no such user")

    monkeypatch.setattr("getpass.getuser", nobody)
    assert lock._user() == f"user {os.getuid()}"


def test_the_run_is_named_once_there_is_one(tmp_path: Path) -> None:
    """Whoever finds the lock held is told which run it is."""
    with lock.hold(tmp_path, "apply: Studio North") as held:
        held.name_run("2026-11-25-1")
        with pytest.raises(LedgerError, match="run 2026-11-25-1"), lock.hold(tmp_path, "second"):
            pass
    with lock.hold(tmp_path, "resume 2026-11-25-1", "2026-11-25-1"):
        seen = lock.holder(tmp_path)
        assert seen is not None
        assert seen.run == "2026-11-25-1"


def test_what_another_computer_left_is_not_taken_over(tmp_path: Path) -> None:
    """Its process may live, on a disk that both share; who and where to look is told."""
    path = tmp_path / "runs" / "lock"
    path.parent.mkdir()
    left = {"pid": 7, "host": "far-away", "user": "u", "command": "apply: X", "since": "s"}
    path.write_text(json.dumps(left), encoding="utf-8")
    with pytest.raises(LedgerError) as caught, lock.hold(tmp_path, "second"):
        pass
    assert "'apply: X' by u on far-away" in caught.value.what
    assert f"delete {path}" in caught.value.fix
    path.unlink()
    with lock.hold(tmp_path, "second"):
        pass


def test_a_lock_that_can_not_be_written_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """On a full disk nothing begins, and it is said in words."""

    def full(*_: object) -> int:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(os, "pwrite", full)
    with pytest.raises(LedgerError, match="No space left") as caught, lock.hold(tmp_path, "x"):
        pass
    assert "nothing was written to a device" in caught.value.fix
