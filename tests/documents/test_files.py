"""What can't be written is told in words."""

import os
from pathlib import Path

import pytest

from orchestrator.documents.files import replace_text
from orchestrator.errors import CallError


def test_what_is_written_is_there(tmp_path: Path) -> None:
    """As UTF-8, line ends as they are."""
    path = tmp_path / "a.txt"
    replace_text(path, "second ☃\r\n")
    assert path.read_bytes() == "second ☃\r\n".encode()


def test_a_full_disk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The old text stays, and the reason is told."""
    path = tmp_path / "a.txt"
    path.write_text("old", encoding="utf-8")

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(CallError, match="No space left"):
        replace_text(path, "new")
    assert path.read_text(encoding="utf-8") == "old"


def test_a_folder_that_does_not_exist(tmp_path: Path) -> None:
    """The caller's mistake, in words."""
    with pytest.raises(CallError, match="can't be written"):
        replace_text(tmp_path / "none" / "a.txt", "new")
