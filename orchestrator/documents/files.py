"""Files replaced as a whole: what was there stays until what is new is on the disk."""

import os
import tempfile
from pathlib import Path

from orchestrator.errors import CallError

_READABLE = 0o644


def replace_text(path: Path, text: str) -> None:
    """Write ``text`` (UTF-8) as the file ``path``, as :func:`replace_bytes` does."""
    replace_bytes(path, text.encode())


def replace_bytes(path: Path, data: bytes) -> None:
    """Write ``data`` as the file ``path``, whole or not at all.

    It is written beside it, forced to the disk, and renamed; a link is followed, and the file
    keeps its permissions.

    Raises:
        CallError: the folder can't be written to, or the disk is full.
    """
    target = path.resolve()
    try:
        mode = target.stat().st_mode & 0o777 if target.exists() else _READABLE
        handle, name = tempfile.mkstemp(prefix=f".{target.name}.", dir=target.parent)
    except OSError as error:
        raise CallError(f"{path} can't be written: {error.strerror}", _FIX) from None
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fchmod(file.fileno(), mode)
            os.fsync(file.fileno())
        Path(name).replace(target)
        _sync_folder(target.parent)
    except OSError as error:
        Path(name).unlink(missing_ok=True)
        raise CallError(f"{path} can't be written: {error.strerror}", _FIX) from None


_FIX = "check that the folder exists, may be written to, and that the disk is not full"


def _sync_folder(folder: Path) -> None:
    """Force the folder's entry to the disk too, so that the rename survives a power cut."""
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
