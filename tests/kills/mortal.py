"""The command itself, which dies by SIGKILL when its ledger comes to a given number of events.

Nothing but the moment of death is arranged. ``before``: as the events with number N are to be
stored, so that they are not; ``after``: as soon as they are on disk. Each is a process of its own,
forked from one that has imported the command and done nothing else: that takes two seconds of
every start, and there are hundreds.
"""

import multiprocessing
import os
import signal
import sys
from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from pathlib import Path

from orchestrator.cli import main
from orchestrator.ledger.store import SqliteLedger
from orchestrator.running.events import Event

PATIENCE_S = 100
SIGKILLED = -signal.SIGKILL
_APPEND = SqliteLedger.append
_FORKS = multiprocessing.get_context("forkserver")


def run(
    number: int,
    moment: str,
    command: Sequence[str],
    environment: Mapping[str, str],
    said: Path,
) -> int:
    """Run the command in a process of its own until it ends or dies; its exit status.

    What it prints is written to ``said``. A process that a signal killed has the signal's number,
    negative, for a status.

    Raises:
        TimeoutError: it did not end within ``PATIENCE_S`` seconds, and was killed.
    """
    _FORKS.set_forkserver_preload([__name__])
    process = _FORKS.Process(
        target=_live, args=(number, moment, tuple(command), dict(environment), str(said))
    )
    process.start()
    process.join(PATIENCE_S)
    if process.exitcode is None:
        process.kill()
        process.join()
        raise TimeoutError(f"the command did not end within {PATIENCE_S} s")
    return process.exitcode


def _live(
    number: int, moment: str, command: Sequence[str], environment: Mapping[str, str], said: str
) -> None:
    out = os.open(said, os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
    os.dup2(out, sys.stdout.fileno())
    os.dup2(out, sys.stderr.fileno())
    sys.stdin = Path(os.devnull).open(encoding="utf-8")  # noqa: SIM115 - as long as it lives
    os.environ.update(environment)
    _arrange(number, moment)
    main.run(list(command))


def _arrange(number: int, moment: str) -> None:
    """Let this process die at the event of that ``number``, counted from 1."""
    stored = 0

    def append(self: SqliteLedger, run: str, events: Iterable[Event], at: datetime) -> None:
        nonlocal stored
        events = tuple(events)
        there = stored < number <= stored + len(events)
        if there and moment == "before":
            os.kill(os.getpid(), signal.SIGKILL)
        _APPEND(self, run, events, at)
        stored += len(events)
        if there:
            os.kill(os.getpid(), signal.SIGKILL)

    SqliteLedger.append = append  # type: ignore[method-assign]  # the moment of death
