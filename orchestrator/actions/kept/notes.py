"""Keeps the rollback notes true: written before the first write, and again after each step.

For a large run the whole notes are too long to be written anew at every step. So what a step did
is added to their end as a line, at once and durably, and the whole is written anew whenever that
takes no more than a small part of the time. Both are true; lines are added before what they tell of
is done (a step that is begun), or as soon as it is known (how it ended).
"""

import threading
import time
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from datetime import datetime
from functools import partial
from pathlib import Path
from types import TracebackType
from typing import Self

from orchestrator.errors import CallError, words
from orchestrator.reports import rollback_notes
from orchestrator.reports.tail import Tail
from orchestrator.running.events import Event, Finished, Paused
from orchestrator.running.protocols import Recorder
from orchestrator.running.record import RunRecord

REST = 100
"""After the whole was written, so many times as long only lines are added. Our own choice."""

INLINE_S = 0.02
"""Notes that take longer than this are written aside, while steps go on."""


def notes_path(folder: Path, run: str) -> Path:
    """Where the notes of a run lie."""
    return folder / "runs" / run / "rollback-notes.md"


class NotesKeeper:
    """Stores events in ``ledger``, and keeps the notes true in every one of ``paths``.

    A place that can't be written any more does not stop the storing; ``trouble`` says it.
    ``now`` gives seconds.
    """

    def __init__(
        self,
        record: RunRecord,
        events: Iterable[Event],
        paths: Iterable[Path],
        ledger: Recorder,
        *,
        now: Callable[[], float] = time.monotonic,
    ) -> None:
        self._record = record
        self._steps = {step.id: step for step in record.sequence.steps}
        self._events = list(events)
        self.paths = tuple(paths)
        self._tails = [Tail(path) for path in self.paths]
        self._ledger = ledger
        self._now = now
        self._alone = threading.Lock()
        self._listed = False  # whether the list at the end has been begun
        self._took, self._ended = 0.0, float("-inf")
        self._aside: Future[None] | None = None
        # One place is written by whoever stores: to go over to a thread takes longer than that.
        self._threads = ThreadPoolExecutor(max(1, len(self.paths)), "notes")
        self.trouble: str | None = None

    def __enter__(self) -> Self:
        """Write the whole notes, or let nothing begin.

        Raises:
            CallError: a place can't be written.
        """
        self.write()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, why: BaseException | None, at: TracebackType | None
    ) -> None:
        self._threads.shutdown()
        self._let_go()

    def write(self) -> None:
        """Write the whole notes as they are true now, to every place.

        Raises:
            CallError: a place can't be written.
        """
        start = self._now()
        count = len(self._events)
        text = rollback_notes.text(self._record, self._events[:count])
        with self._alone:
            self._listed = False
            since = self._since(self._events[count:])
            self._let_go()
            for path in self.paths:
                rollback_notes.write(path, text + since)
        self._ended = self._now()
        self._took = self._ended - start

    def append(self, run: str, events: Iterable[Event], at: datetime) -> None:
        """Store events, and tell of them in the notes.

        Raises:
            LedgerError: they can't be stored.
        """
        stored = tuple(events)
        with self._alone:
            added = self._since(stored)
            self._events.extend(stored)
            tails = self._tails if added else []
            telling = [self._threads.submit(tail.add, added).result for tail in tails[1:]]
            telling += [partial(tail.add, added) for tail in tails[:1]]
            try:
                self._ledger.append(run, stored, at)
            finally:
                gone = [self._told(each) for each in telling]
        if any(isinstance(event, Paused | Finished) for event in stored):
            self.finish()
        elif any(gone) or self._now() - self._ended >= REST * self._took:
            self._write_anew()

    def finish(self) -> None:
        """Write the whole notes once more, after what is being written aside."""
        if self._aside is not None:
            self._aside.result()
            self._aside = None
        self._write_or_say()

    def _let_go(self) -> None:
        for tail in self._tails:
            tail.let_go()

    def _write_anew(self) -> None:
        if self._took <= INLINE_S:
            self._write_or_say()
        elif self._aside is None or self._aside.done():
            self._aside = self._threads.submit(self._write_or_say)

    def _write_or_say(self) -> None:
        try:
            self.write()
        except CallError as error:
            self._say(error)

    def _told(self, telling: Callable[[], bool]) -> bool:
        try:
            return telling()
        except OSError as error:
            self._say(CallError(f"{error.filename or ''}: {error.strerror or error}"))
            return False

    def _say(self, error: CallError) -> None:
        self.trouble = self.trouble or (
            f"the rollback notes can't be kept true any more: {words(error).what.strip(': ')}"
        )

    def _since(self, events: Sequence[Event]) -> str:
        """The lines for the list at the end, with its head if it is not there yet."""
        told = [rollback_notes.since(self._steps, event) for event in events]
        lines = [line for entry in told for line in entry]
        head = rollback_notes.SINCE if lines and not self._listed else ()
        self._listed |= bool(lines)
        return "".join(f"{line}\n" for line in (*head, *lines))
