"""The end of a file, to which lines are added durably, one lot after another."""

import os
from pathlib import Path

_DURABLY = getattr(os, "O_DSYNC", 0)
"""Has a write return once what was added is on disk, and the new length (POSIX, open)."""


class Tail:
    """The end of the file at ``path``, which somebody else may take away or put another one for.

    It stays open from one addition to the next: each call into the system is one more turn to wait
    for, while devices are driven.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self._handle: int | None = None
        self._file: tuple[int, int] | None = None  # which file that is

    def add(self, text: str) -> bool:
        """Have ``text`` on disk at the end of the file; True if there is no file.

        Raises:
            OSError: it can't be written; nothing more than a part of ``text`` was added.
        """
        try:
            there = self.path.stat()
            if self._handle is None or self._file != (there.st_dev, there.st_ino):
                self._open()
        except FileNotFoundError:
            self.let_go()
            return True
        assert self._handle is not None
        try:
            _write(self._handle, text.encode(errors="backslashreplace"))
        except OSError as error:
            error.filename = str(self.path)
            raise
        return False

    def let_go(self) -> None:
        """Close the file. What is added after this opens it again."""
        if self._handle is not None:
            handle, self._handle = self._handle, None
            os.close(handle)

    def _open(self) -> None:
        self.let_go()
        self._handle = os.open(self.path, os.O_WRONLY | os.O_APPEND | _DURABLY)
        opened = os.fstat(self._handle)
        self._file = opened.st_dev, opened.st_ino


def _write(handle: int, data: bytes) -> None:
    while data:  # a disk that is nearly full takes a part; the next call then says why
        data = data[os.write(handle, data) :]
    if not _DURABLY:
        os.fsync(handle)
