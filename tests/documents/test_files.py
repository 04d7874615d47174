"""Files are replaced as a whole."""

import os
from pathlib import Path

import pytest

from orchestrator.documents.files import replace_text
from orchestrator.errors import CallError


def test_what_is_written_is_there(tmp_path: Path) -> None:
    """New and instead of something; nothing else is left in the folder."""
    path = tmp_path / "a.txt"
    replace_text(path, "first ☃\n")
    replace_text(path, "second\r\n")
    assert path.read_bytes() == b"second\r\n"
    assert [item.name for item in tmp_path.iterdir()] == ["a.txt"]
    assert path.stat().st_mode & 0o777 == 0o644


def test_a_link_is_followed(tmp_path: Path) -> None:
    """The file that a link leads to is replaced, not the link."""
    (tmp_path / "real").mkdir()
    (tmp_path / "real" / "a.txt").write_text("old", encoding="utf-8")
    (tmp_path / "a.txt").symlink_to(tmp_path / "real" / "a.txt")
    replace_text(tmp_path / "a.txt", "new")
    assert (tmp_path / "a.txt").is_symlink()
    assert (tmp_path / "real" / "a.txt").read_text(encoding="utf-8") == "new"


@pytest.mark.parametrize("call", ["fsync", "fchmod"])
def test_a_full_disk_leaves_what_was_there(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, call: str
) -> None:
    """If the new text does not reach the disk, the old one stays, and nothing beside it."""
    path = tmp_path / "a.txt"
    path.write_text("old", encoding="utf-8")

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, call, full)
    with pytest.raises(CallError, match="No space left"):
        replace_text(path, "new")
    assert path.read_text(encoding="utf-8") == "old"
    assert [item.name for item in tmp_path.iterdir()] == ["a.txt"]


def test_the_text_is_on_the_disk_before_it_takes_the_name(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """First the file is forced to the disk, then it is renamed, then the folder is."""
    done: list[str] = []
    fsync, rename = os.fsync, Path.replace

    def noted_fsync(handle: int) -> None:
        done.append("fsync")
        fsync(handle)

    def noted_rename(self: Path, to: Path) -> Path:
        done.append("rename")
        return rename(self, to)

    monkeypatch.setattr(os, "fsync", noted_fsync)
    monkeypatch.setattr(Path, "replace", noted_rename)
    replace_text(tmp_path / "a.txt", "new")
    assert done == ["fsync", "rename", "fsync"]


def test_a_folder_that_does_not_exist(tmp_path: Path) -> None:
    """The caller's mistake, in words."""
    with pytest.raises(CallError, match="can't be written"):
        replace_text(tmp_path / "none" / "a.txt", "new")
