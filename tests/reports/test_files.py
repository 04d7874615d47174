"""A report is on disk whole or not at all."""

import os
from pathlib import Path

import pytest

from orchestrator.errors import CallError
from orchestrator.reports import files


def test_a_file_is_written_and_replaced(tmp_path: Path) -> None:
    """The text is there, a missing folder is made, the second text takes the first's place."""
    path = tmp_path / "new" / "notes.md"
    files.write(path, "one\n")
    files.write(path, "twö\n")
    assert path.read_text(encoding="utf-8") == "twö\n"
    assert [entry.name for entry in path.parent.iterdir()] == ["notes.md"]
    assert path.stat().st_mode & 0o777 == 0o644


def test_a_failed_write_leaves_the_old_text_and_no_scraps(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """When the disk gives an error, the old file stands and nothing else is left."""
    path = tmp_path / "notes.md"
    files.write(path, "old")

    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(CallError, match="No space left") as caught:
        files.write(path, "new")
    assert caught.value.fix
    assert path.read_text(encoding="utf-8") == "old"
    assert [entry.name for entry in tmp_path.iterdir()] == ["notes.md"]


def test_a_place_that_cannot_be_written_is_told(tmp_path: Path) -> None:
    """A path below a file is a CallError that names the path."""
    (tmp_path / "file").write_text("", encoding="utf-8")
    with pytest.raises(CallError, match=r"file/notes\.md"):
        files.write(tmp_path / "file" / "notes.md", "x")


def test_half_a_surrogate_pair_does_not_stop_the_notes(tmp_path: Path) -> None:
    """Text that is no Unicode is written as its escape."""
    files.write(tmp_path / "n", "a\ud800b")
    assert (tmp_path / "n").read_text(encoding="utf-8") == "a\\ud800b"
