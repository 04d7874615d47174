"""Files replaced as a whole: what was there stays until what is new is on the disk."""

from pathlib import Path

from orchestrator import disk
from orchestrator.errors import CallError


def replace_text(path: Path, text: str) -> None:
    """Write ``text`` (UTF-8) as the file ``path``, as :func:`replace_bytes` does."""
    replace_bytes(path, text.encode())


def replace_bytes(path: Path, data: bytes) -> None:
    """Write ``data`` as the file ``path``, whole or not at all; a link is followed.

    Raises:
        CallError: the folder can't be written to, or the disk is full.
    """
    try:
        disk.replace(path, data)
    except OSError as error:
        raise CallError(
            f"{path} can't be written: {error.strerror}",
            "check that the folder exists, may be written to, and that the disk is not full",
        ) from None
