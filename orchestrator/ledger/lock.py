"""The facility's lock: one run at a time.

The lock is ``flock`` on ``runs/lock``, so the operating system takes it away from a process that
dies. The file says in JSON who holds it. Whoever lets go in good order empties the file; a file
that still names somebody was left by a process that died, and the next holder is told so. On a
shared disk the system may not know of locks of other computers: what one of those left is not
taken over, since its process may live.
"""

import fcntl
import getpass
import json
import os
import socket
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import asdict, dataclass, field, replace
from datetime import UTC, datetime
from pathlib import Path

from orchestrator.errors import LedgerError


@dataclass(frozen=True, slots=True, kw_only=True)
class Holder:
    """Who holds the lock: process, host, user name, what was called, since when (ISO 8601).

    ``run`` is the run's id, empty as long as there is none.
    """

    pid: int
    host: str
    user: str
    command: str
    since: str
    run: str = ""

    def __str__(self) -> str:
        run = f", run {self.run}" if self.run else ""
        return (
            f"'{self.command}'{run} by {self.user} on {self.host}, since {self.since} "
            f"(process {self.pid})"
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Held:
    """The lock, held. ``took_over`` names the dead process that had not let go, if there was."""

    holder: Holder
    took_over: Holder | None = None
    name_run: Callable[[str], None] = field(default=lambda _: None, repr=False, compare=False)
    """Writes the run's id into the lock, once there is one."""


@contextmanager
def hold(facility: Path, command: str, run: str = "") -> Iterator[Held]:
    """Hold the lock of the facility in the folder ``facility`` while the block runs.

    Args:
        facility: the facility's folder; its ``runs`` folder is made if it is missing.
        command: what was called, for whoever finds the lock held.
        run: the run's id, if there is one already.

    Raises:
        LedgerError: somebody holds it (the error names who), or the file can't be locked.
    """
    path = facility / "runs" / "lock"
    handle = _open(path)
    try:
        _lock(handle, path)
        left = _read(handle)
        _refuse_far(left, path)
        holder = _myself(command, run)
        _name(handle, path, holder)
        try:
            yield Held(
                holder=holder,
                took_over=left,
                name_run=lambda name: _name(handle, path, replace(holder, run=name)),
            )
        finally:
            with suppress(OSError):  # whoever comes next is told of a lock that was left
                _write(handle, "")
    finally:
        os.close(handle)


def _refuse_far(left: Holder | None, path: Path) -> None:
    if left is not None and left.host != socket.gethostname():
        raise LedgerError(
            f"the facility's lock was left by {left}; from this computer it can't be seen whether "
            "that process still runs",
            f"look on {left.host}; when it has ended there, delete {path} and try again",
        )


def _name(handle: int, path: Path, holder: Holder) -> None:
    try:
        _write(handle, json.dumps(asdict(holder)))
    except OSError as error:
        raise _unusable(path, error) from error


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


def refuse_held(facility: Path) -> None:
    """Look whether somebody holds the facility's lock, before anything long is begun.

    Raises:
        LedgerError: somebody does; the error names who. Or the file can't be looked at.
    """
    who = holder(facility)
    if who is not None:
        raise _held_by(None if who is _NOBODY_KNOWN else who)


def _held_by(who: Holder | None) -> LedgerError:
    return LedgerError(
        f"another run has this facility's lock: {who or 'its holder has left no name'}",
        "wait until it is done, or stop it there; nothing was written to a device",
    )


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
        raise _held_by(_patiently(handle)) from error
    except OSError as error:
        raise _unusable(path, error) from error


def _unusable(path: Path, error: OSError) -> LedgerError:
    return LedgerError(
        f"the facility's lock {path} can't be used: {error.strerror or error}",
        "the facility's folder has to be on a disk that can lock files, with room on it and the "
        "right to write; nothing was written to a device",
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
            run=str(found.get("run", "")),
        )
    except (ValueError, TypeError, KeyError, AttributeError):
        return None


def _write(handle: int, text: str) -> None:
    data = text.encode(errors="backslashreplace")
    os.pwrite(handle, data, 0)
    os.ftruncate(handle, len(data))
    os.fsync(handle)


def _myself(command: str, run: str) -> Holder:
    return Holder(
        pid=os.getpid(),
        host=socket.gethostname(),
        user=_user(),
        command=command,
        since=datetime.now(UTC).astimezone().isoformat(timespec="seconds"),
        run=run,
    )


def _user() -> str:
    try:
        return getpass.getuser()
    except (KeyError, OSError):
        return f"user {os.getuid()}"
