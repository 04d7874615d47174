"""Putting a report on disk: whole or not at all, and there when the call returns."""

import os
import tempfile
from pathlib import Path

from orchestrator.errors import CallError


def write(path: Path, text: str) -> None:
    """Write ``text`` to ``path``, in place of what is there, at once and durably.

    The folder is made if it is missing. A reader finds the old file or the new one, never half.

    Raises:
        CallError: the file can't be written.
    """
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        _replace(path, text.encode(errors="backslashreplace"))
    except OSError as error:
        raise CallError(
            f"{path} can't be written: {error.strerror or error}",
            "name a place that you may write to and that has room",
        ) from error


def _replace(path: Path, data: bytes) -> None:
    handle, name = tempfile.mkstemp(prefix=f".{path.name}.", dir=path.parent)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fchmod(file.fileno(), 0o644)
            os.fsync(file.fileno())
        Path(name).replace(path)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise
    folder = os.open(path.parent, os.O_RDONLY)
    try:
        os.fsync(folder)
    finally:
        os.close(folder)
