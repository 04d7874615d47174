"""Whatever sqlite3 says is put into words with a fix."""

import sqlite3
from pathlib import Path

import pytest

from orchestrator.errors import LedgerError
from orchestrator.ledger import faults

PATH = Path("runs/ledger.sqlite")


def raised(code: int) -> sqlite3.Error:
    """An sqlite3 error with a result code."""
    error = sqlite3.DatabaseError("words of the library")
    error.sqlite_errorcode = code
    return error


@pytest.mark.parametrize(
    ("code", "said"),
    [
        (sqlite3.SQLITE_NOTADB, "not a ledger"),
        (sqlite3.SQLITE_CORRUPT, "damaged"),
        (sqlite3.SQLITE_CORRUPT | 1 << 8, "damaged"),  # an extended code: the low byte counts
        (sqlite3.SQLITE_FULL, "disk is full"),
        (sqlite3.SQLITE_BUSY, "another program"),
        (sqlite3.SQLITE_READONLY, "read-only"),
        (sqlite3.SQLITE_CANTOPEN, "can't be opened"),
        (sqlite3.SQLITE_IOERR, "disk reports an error"),
    ],
)
def test_each_fault_has_its_words(code: int, said: str) -> None:
    """A result code of SQLite (sqlite.org/rescode.html) has words that name file and fix."""
    error = faults.worded(PATH, raised(code))
    assert said in error.what
    assert str(PATH) in error.what
    assert error.fix


def test_an_unknown_fault_gives_the_librarys_words() -> None:
    """A fault without words of its own is not hidden."""
    assert "words of the library" in faults.worded(PATH, raised(sqlite3.SQLITE_MISUSE)).what
    assert "no code at all" in faults.worded(PATH, sqlite3.Error("no code at all")).what


def test_guarded_lets_our_own_errors_through() -> None:
    """A LedgerError raised inside is the one that comes out."""
    own = LedgerError("mine")
    with pytest.raises(LedgerError) as caught, faults.guarded(PATH):
        raise own
    assert caught.value is own


def test_guarded_words_the_file_systems_errors() -> None:
    """An OSError inside becomes a LedgerError with a fix."""
    with pytest.raises(LedgerError) as caught, faults.guarded(PATH):
        raise PermissionError(13, "Permission denied")
    assert "Permission denied" in caught.value.what
    assert caught.value.fix


def test_text_that_is_none_is_damage() -> None:
    """Bytes that are no UTF-8 where text should be are told as damage."""
    with pytest.raises(LedgerError, match="damaged"), faults.guarded(PATH):
        b"\xff".decode()
