"""What is added to the end of a file is there, whatever becomes of the file meanwhile."""

import os
from collections.abc import Iterator
from pathlib import Path
from unittest.mock import patch

import pytest

from orchestrator.reports.tail import Tail


@pytest.fixture
def tail(tmp_path: Path) -> Iterator[Tail]:
    """The end of a file with one line."""
    path = tmp_path / "notes.md"
    path.write_text("one\n", encoding="utf-8")
    tail = Tail(path)
    yield tail
    tail.let_go()


def test_lines_come_after_those_that_are_there(tail: Tail) -> None:
    """Each is there when the call returns; half a surrogate pair is told as its escape."""
    assert not tail.add("two\n")
    assert tail.path.read_text(encoding="utf-8") == "one\ntwo\n"
    assert not tail.add("\ud800\n")
    assert tail.path.read_text(encoding="utf-8") == "one\ntwo\n\\ud800\n"


def test_the_file_stays_open(tail: Tail) -> None:
    """It is opened once for many additions, and again after it was let go."""
    with patch("os.open", wraps=os.open) as opening:
        for _ in range(3):
            tail.add("more\n")
        assert opening.call_count == 1
        tail.let_go()
        tail.add("more\n")
        assert opening.call_count == 2


def test_each_addition_is_on_disk(tail: Tail) -> None:
    """The file is opened so that a write returns when it is (POSIX, O_DSYNC), or is synced."""
    with patch("os.open", wraps=os.open) as opening, patch("os.fsync", wraps=os.fsync) as syncing:
        tail.add("more\n")
    durably = getattr(os, "O_DSYNC", 0)
    assert opening.call_args.args[1] & durably == durably
    assert durably or syncing.call_count == 1


def test_another_file_in_its_place_gets_the_lines(tail: Tail) -> None:
    """As where an editor has saved it: a new file of that name."""
    tail.add("two\n")
    other = tail.path.with_name("other.md")
    other.write_text("edited\n", encoding="utf-8")
    other.replace(tail.path)
    assert not tail.add("three\n")
    assert tail.path.read_text(encoding="utf-8") == "edited\nthree\n"


@pytest.mark.parametrize("moved", [False, True])
def test_a_file_that_is_gone_is_told(tail: Tail, *, moved: bool) -> None:
    """And gets nothing: who has moved it away keeps it as it was."""
    tail.add("two\n")
    away = tail.path.with_name("away.md")
    tail.path.rename(away)
    if not moved:
        away.unlink()
    assert tail.add("three\n")
    assert not tail.path.exists()
    assert not moved or away.read_text(encoding="utf-8") == "one\ntwo\n"


def test_a_write_that_is_cut_short_goes_on(tail: Tail) -> None:
    """A system may take a part of what it is given."""
    write = os.write
    with patch("os.write", lambda handle, data: write(handle, data[:2])):
        tail.add("three\n")
    assert tail.path.read_text(encoding="utf-8") == "one\nthree\n"


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="there is no /dev/full here")
def test_a_full_disk_is_told_with_its_file(tail: Tail) -> None:
    """By the name that the user knows."""
    tail.path.unlink()
    tail.path.symlink_to("/dev/full")
    with pytest.raises(OSError, match="No space left") as told:
        tail.add("two\n")
    assert told.value.filename == str(tail.path)
