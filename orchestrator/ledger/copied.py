"""A ledger in a folder that may only be read: it is looked at in a copy in memory.

SQLite itself wants to write beside a file that has a write-ahead log. What stands in the log of a
process that died, or still works, is in the copy.
"""

import os
import shutil
import sqlite3
import tempfile
from contextlib import closing
from pathlib import Path
from urllib.parse import quote


def may_write(path: Path) -> bool:
    """Whether a ledger at ``path`` may be written, or made where there is none yet."""
    at = next(one for one in (path, *path.parents) if one.exists())
    places = (at, at.parent) if at == path else (at,)
    return all(_allowed(place, os.W_OK) for place in places)


def _allowed(path: Path, how: int) -> bool:
    # By the rights that the process works with, where the system can say so.
    return os.access(path, how, effective_ids=os.access in os.supports_effective_ids)


def copied(path: Path, patience_s: float) -> sqlite3.Connection:
    """The ledger at ``path`` in memory; an empty one, if there is none.

    Raises:
        sqlite3.Error: it can't be read.
        OSError: it may not be read.
    """
    memory = sqlite3.connect(":memory:", isolation_level=None, check_same_thread=False)
    try:
        if path.exists():
            _fill(memory, path, patience_s)
    except BaseException:
        memory.close()
        raise
    return memory


def _fill(memory: sqlite3.Connection, path: Path, patience_s: float) -> None:
    with path.open("rb"):
        pass  # SQLite does not say that it is the right to read which is missing
    log = path.with_name(f"{path.name}-wal")
    index = path.with_name(f"{path.name}-shm")
    if index.exists():
        _back_up(memory, f"file:{quote(str(path))}?mode=ro", patience_s)
    elif log.exists() and log.stat().st_size:
        with tempfile.TemporaryDirectory() as folder:
            for one in (path, log):
                shutil.copyfile(one, Path(folder) / one.name)
            _back_up(memory, f"file:{quote(str(Path(folder) / path.name))}", patience_s)
    else:
        _back_up(memory, f"file:{quote(str(path))}?mode=ro&immutable=1", patience_s)


def _back_up(memory: sqlite3.Connection, source: str, patience_s: float) -> None:
    with closing(sqlite3.connect(source, uri=True, timeout=patience_s)) as connection:
        connection.backup(memory)
