"""Putting a report on disk: whole or not at all, and there when the call returns."""

from pathlib import Path

from orchestrator import disk
from orchestrator.errors import CallError


def write(path: Path, text: str) -> None:
    """Write ``text`` to ``path``, in place of what is there, at once and durably.

    The folder is made if it is missing. A reader finds the old file or the new one, never half.

    Raises:
        CallError: the file can't be written.
    """
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        disk.replace(path, text.encode(errors="backslashreplace"))
    except OSError as error:
        raise CallError(
            f"{path} can't be written: {error.strerror or error}",
            "name a place that you may write to and that has room",
        ) from error
