"""The facility's lock: one run at a time.

The lock is ``flock`` on ``runs/lock``, so the operating system takes it away from a process that
dies. The file says in JSON who holds it. Whoever lets go in good order empties the file; a file
that still names somebody was left by a process that died, and the next holder is told so.
"""

import fcntl
import getpass
import json
import os
import socket
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from pathlib import Path

from orchestrator.errors import LedgerError


@dataclass(frozen=True, slots=True, kw_only=True)
class Holder:
    """Who holds the lock: process, host, user name, what was called, since when (ISO 8601)."""

    pid: int
    host: str
    user: str
    command: str
    since: str

    def __str__(self) -> str:
        return (
            f"'{self.command}' by {self.user} on {self.host}, since {self.since} "
            f"(process {self.pid})"
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Held:
    """The lock, held. ``took_over`` names the dead process that had not let go, if there was."""

    holder: Holder
    took_over: Holder | None = None


@contextmanager
def hold(facility: Path, command: str) -> Iterator[Held]:
    """Hold the lock of the facility in the folder ``facility`` while the block runs.

    Args:
        facility: the facility's folder; its ``runs`` folder is made if it is missing.
        command: what was called, for whoever finds the lock held.

    Raises:
        LedgerError: somebody holds it (the error names who), or the file can't be locked.
    """
    path = facility / "runs" / "lock"
    handle = _open(path)
    try:
        _lock(handle, path)
        held = Held(holder=_myself(command), took_over=_read(handle))
        _write(handle, json.dumps(asdict(held.holder)))
        try:
            yield held
        finally:
            _write(handle, "")
    finally:
        os.close(handle)


def holder(facility: Path) -> Holder | None:
    """Who holds the facility's lock now; None if nobody does. Takes and makes nothing.

    Raises:
        LedgerError: the file can't be looked at.
    """
    path = facility / "runs" / "lock"
    try:
        handle = os.open(path, os.O_RDONLY)
    except FileNotFoundError:
        return None
    except OSError as error:
        raise _unusable(path, error) from error
    try:
        fcntl.flock(handle, fcntl.LOCK_SH | fcntl.LOCK_NB)
    except BlockingIOError:
        return _patiently(handle) or _NOBODY_KNOWN
    except OSError as error:
        raise _unusable(path, error) from error
    else:
        return None
    finally:
        os.close(handle)


_NOBODY_KNOWN = Holder(pid=0, host="?", user="?", command="?", since="?")


def _open(path: Path) -> int:
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        return os.open(path, os.O_RDWR | os.O_CREAT, 0o666)
    except OSError as error:
        raise _unusable(path, error) from error


def _lock(handle: int, path: Path) -> None:
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError as error:
        who = _patiently(handle)
        raise LedgerError(
            f"another run has this facility's lock: {who or 'its holder has left no name'}",
            "wait until it is done, or stop it there; nothing was written",
        ) from error
    except OSError as error:
        raise _unusable(path, error) from error


def _unusable(path: Path, error: OSError) -> LedgerError:
    return LedgerError(
        f"the facility's lock {path} can't be used: {error.strerror or error}",
        "the facility's folder has to be on a disk that can lock files, with the right to write",
    )


def _patiently(handle: int) -> Holder | None:
    """The holder's name; the holder may be about to write it, so look a few times."""
    for _ in range(10):
        who = _read(handle)
        if who is not None:
            return who
        time.sleep(0.02)
    return None


def _read(handle: int) -> Holder | None:
    """The holder that the file names; None if it is empty or makes no sense."""
    text = os.pread(handle, 65536, 0)
    try:
        found = json.loads(text)
        return Holder(
            pid=int(found["pid"]),
            host=str(found["host"]),
            user=str(found["user"]),
            command=str(found["command"]),
            since=str(found["since"]),
        )
    except (ValueError, TypeError, KeyError):
        return None


def _write(handle: int, text: str) -> None:
    os.ftruncate(handle, 0)
    os.pwrite(handle, text.encode(errors="backslashreplace"), 0)
    os.fsync(handle)


def _myself(command: str) -> Holder:
    return Holder(
        pid=os.getpid(),
        host=socket.gethostname(),
        user=_user(),
        command=command,
        since=datetime.now(UTC).astimezone().isoformat(timespec="seconds"),
    )


def _user() -> str:
    try:
        return getpass.getuser()
    except (KeyError, OSError):
        return f"user {os.getuid()}"
