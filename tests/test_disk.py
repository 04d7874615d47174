"""Files are put on disk whole or not at all."""

import os
from pathlib import Path

import pytest

from orchestrator import disk


def test_what_is_written_is_there(tmp_path: Path) -> None:
    """New and instead of something; nothing else is left in the folder."""
    path = tmp_path / "a.txt"
    disk.replace(path, b"first\n")
    disk.replace(path, b"second\r\n")
    assert path.read_bytes() == b"second\r\n"
    assert [item.name for item in tmp_path.iterdir()] == ["a.txt"]
    assert path.stat().st_mode & 0o777 == 0o644


def test_a_link_is_followed_and_permissions_are_kept(tmp_path: Path) -> None:
    """The file that a link leads to is replaced, not the link."""
    (tmp_path / "real").mkdir()
    real = tmp_path / "real" / "a.txt"
    real.write_text("old", encoding="utf-8")
    real.chmod(0o640)
    (tmp_path / "a.txt").symlink_to(real)
    disk.replace(tmp_path / "a.txt", b"new")
    assert (tmp_path / "a.txt").is_symlink()
    assert real.read_bytes() == b"new"
    assert real.stat().st_mode & 0o777 == 0o640


@pytest.mark.parametrize("call", ["fsync", "fchmod"])
def test_a_full_disk_leaves_what_was_there(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, call: str
) -> None:
    """If the new data does not reach the disk, the old one stays, and nothing beside it."""
    path = tmp_path / "a.txt"
    path.write_text("old", encoding="utf-8")

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, call, full)
    with pytest.raises(OSError, match="No space left"):
        disk.replace(path, b"new")
    assert path.read_text(encoding="utf-8") == "old"
    assert [item.name for item in tmp_path.iterdir()] == ["a.txt"]


def test_the_data_is_on_the_disk_before_it_takes_the_name(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """First the file is forced to the disk, then it is renamed, then the folder is."""
    done: list[str] = []
    fsync, rename = os.fsync, Path.replace

    def noted_fsync(handle: int) -> None:
        folder = os.path.isdir(f"/proc/self/fd/{handle}")  # noqa: PTH112 - a link in proc
        done.append("fsync of the folder" if folder else "fsync")
        fsync(handle)

    def noted_rename(self: Path, to: Path) -> Path:
        done.append("rename")
        return rename(self, to)

    monkeypatch.setattr(os, "fsync", noted_fsync)
    monkeypatch.setattr(Path, "replace", noted_rename)
    disk.replace(tmp_path / "a.txt", b"new")
    assert done == ["fsync", "rename", "fsync of the folder"]
