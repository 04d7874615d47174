"""Putting a file on disk: whole or not at all, and there when the call returns.

What every edge that writes files stands on. It imports nothing of the project.
"""

import os
import tempfile
from pathlib import Path

_READABLE = 0o644


def replace(path: Path, data: bytes) -> None:
    """Write ``data`` as the file ``path``, in place of what is there.

    It is written beside it, forced to the disk, and renamed (POSIX, rename: a reader finds the old
    file or the new one, never half). A link is followed, and the file keeps its permissions.

    Raises:
        OSError: it can't be written; what was there stays, and nothing is left beside it.
    """
    target = path.resolve()
    mode = target.stat().st_mode & 0o777 if target.exists() else _READABLE
    handle, name = tempfile.mkstemp(prefix=f".{target.name}.", dir=target.parent)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fchmod(file.fileno(), mode)
            os.fsync(file.fileno())
        Path(name).replace(target)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise
    sync(target.parent)


def sync(path: Path) -> None:
    """Have the file or folder at ``path`` on disk; of a folder, the names in it.

    Raises:
        OSError: the disk does not take it.
    """
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
