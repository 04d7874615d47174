"""The command itself, which dies by SIGKILL when its ledger comes to a given number of events.

``python -m tests.kills.mortal N before|after COMMAND..``: nothing but the moment of death is
arranged. ``before``: as the events with number N are to be stored, so that they are not; ``after``:
as soon as they are on disk.
"""

import os
import signal
import sys
from collections.abc import Iterable
from datetime import datetime

from orchestrator.cli import main
from orchestrator.ledger.store import SqliteLedger
from orchestrator.running.events import Event

_APPEND = SqliteLedger.append


def arrange(number: int, moment: str) -> None:
    """Let the process die at the event of that ``number``, counted from 1."""
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


if __name__ == "__main__":
    arrange(int(sys.argv[1]), sys.argv[2])
    main.run(sys.argv[3:])
