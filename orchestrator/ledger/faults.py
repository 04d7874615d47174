"""What can go wrong with the ledger's file, in words: no sqlite3 exception leaves this package."""

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from orchestrator.errors import LedgerError

_DAMAGED = (
    "don't write to it: keep the file, put a copy from before the damage in its place, and take "
    "the rollback notes for any run that is not finished"
)

_WORDS: dict[int, tuple[str, str]] = {
    sqlite3.SQLITE_NOTADB: ("is not a ledger: the file is something else", _DAMAGED),
    sqlite3.SQLITE_CORRUPT: ("is damaged", _DAMAGED),
    sqlite3.SQLITE_FULL: (
        "can't grow: the disk is full; what was stored before is safe, and nothing more was begun",
        "make room on the disk; then 'cutsheet runs' says whether there is a run to resume",
    ),
    sqlite3.SQLITE_BUSY: (
        "is held by another program",
        "close the program that has the file open, then try again",
    ),
    sqlite3.SQLITE_LOCKED: (
        "is held by another program",
        "close the program that has the file open, then try again",
    ),
    sqlite3.SQLITE_READONLY: (
        "can't be written: the file or its folder is read-only",
        "give yourself the right to write in the facility's runs folder",
    ),
    sqlite3.SQLITE_PERM: (
        "can't be opened: the right to do so is missing",
        "give yourself the right to write in the facility's runs folder",
    ),
    sqlite3.SQLITE_CANTOPEN: (
        "can't be opened",
        "see that the facility's runs folder exists and that you may write in it",
    ),
    sqlite3.SQLITE_IOERR: (
        "can't be read or written: the disk reports an error",
        "check the disk, or move the facility's folder to a good local one",
    ),
}


def worded(path: Path, error: sqlite3.Error) -> LedgerError:
    """The error that says what happened to the ledger at ``path``, and what to do."""
    code = getattr(error, "sqlite_errorcode", None)
    what, fix = _WORDS.get((code or 0) & 0xFF, (f"can't be used: {error}", _DAMAGED))
    return LedgerError(f"the ledger {path} {what}", fix)


def damaged(path: Path, how: str) -> LedgerError:
    """The error for a file that opens and is not whole."""
    return LedgerError(f"the ledger {path} is damaged: {how}", _DAMAGED)


@contextmanager
def guarded(path: Path) -> Iterator[None]:
    """Turn whatever sqlite3 or the file system raises inside into a ``LedgerError``.

    Raises:
        LedgerError: something went wrong with the file at ``path``.
    """
    try:
        yield
    except sqlite3.Error as error:
        raise worded(path, error) from error
    except UnicodeDecodeError as error:
        raise damaged(path, "it holds text that is none") from error
    except OSError as error:
        raise LedgerError(
            f"the ledger {path} can't be used: {error.strerror or error}",
            "see that the facility's runs folder exists and that you may write in it",
        ) from error
