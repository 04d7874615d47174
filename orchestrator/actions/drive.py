"""The loop that joins a run, the devices, the ledger and the clock.

Whatever is ready is begun side by side; whatever ends first is settled. Events go to disk in one
queue, in the order in which the run gave them: while one batch is being stored, what comes up
meanwhile waits to be the next one (group commit), and devices go on being spoken to. So a disk that
takes its time costs a step that time, and not all steps one after the other.
"""

import asyncio
import sys
from collections.abc import Callable, Coroutine, Iterable, Iterator
from contextlib import AsyncExitStack, contextmanager
from typing import Any, TypeVar

from orchestrator.actions.interrupts import AT_ONCE, Interrupts, listening
from orchestrator.actions.perform import Deed, LookRound, Performer, look_nowhere
from orchestrator.running.events import Event, Intended, Paused
from orchestrator.running.operations import (
    Ask,
    Elapsed,
    Operation,
    Reply,
    Rest,
    Store,
    Stored,
)
from orchestrator.running.protocols import (
    Clock,
    OpenAdapter,
    Person,
    ProbeAddress,
    Recorder,
    Reporter,
)
from orchestrator.running.run import Run

T = TypeVar("T")

TURN_S = 0.0005
"""Seconds after which a thread that goes on working lets another one have its turn."""

BY_OPERATOR = "stopped by the operator"
AT_ONCE_BY_OPERATOR = "stopped at once by the operator; what was in hand is read first at resume"


async def drive(
    run: Run,
    record_id: str,
    *,
    open_adapter: OpenAdapter,
    probe: ProbeAddress,
    ledger: Recorder,
    clock: Clock,
    reporter: Reporter,
    person: Person,
    interrupts: Interrupts | None = None,
    look: LookRound = look_nowhere,
    trouble: Callable[[], str | None] = lambda: None,
) -> None:
    """Drive ``run`` until it is finished or paused: ``run.finished`` and ``run.paused`` say which.

    ``record_id`` is the run's id in the ledger. A first press of Ctrl-C (or of ``interrupts``)
    pauses it: the steps in hand finish. A second one stops at once, which is stored as a pause
    too, though ``run.paused`` does not know of it. ``look`` reads and audits everything at
    go/no-go points. ``trouble`` is asked after each storing: what it says pauses the run likewise.

    Raises:
        LedgerError: an event can't be stored; nothing that follows from it was done.
        Exception: a bug in an adapter or here. What was in hand is cancelled, not hidden.
    """
    presses = interrupts or Interrupts()
    performer = Performer(open_adapter, probe, clock, person, look)
    driver = _Driver(
        run, record_id, ledger=ledger, clock=clock, reporter=reporter, performer=performer
    )
    driver.trouble = trouble
    async with AsyncExitStack() as ending:
        ending.push_async_callback(performer.close)
        ending.push_async_callback(driver.let_go)
        with listening(presses), short_turns():
            await driver.until_over(presses)


@contextmanager
def short_turns() -> Iterator[None]:
    """Let threads take turns after a tenth of the usual time while devices are driven.

    One thread stores events and another one writes the notes anew. With Python's usual turns each
    of their turns could hold up whatever device has answered for 5 ms.
    """
    usual = sys.getswitchinterval()
    sys.setswitchinterval(min(usual, TURN_S))
    try:
        yield
    finally:
        sys.setswitchinterval(usual)


class _Driver:
    def __init__(
        self,
        run: Run,
        record_id: str,
        *,
        ledger: Recorder,
        clock: Clock,
        reporter: Reporter,
        performer: Performer,
    ) -> None:
        self._run = run
        self._record_id = record_id
        self._ledger = ledger
        self._clock = clock
        self._reporter = reporter
        self._performer = performer
        self._tasks: dict[asyncio.Task[Any], Deed] = {}
        self._ended: list[asyncio.Task[Any]] = []  # their operations are to be settled
        self._news = asyncio.Event()
        self.trouble: Callable[[], str | None] = lambda: None
        self._queue: list[Store] = []
        self._storing: asyncio.Task[tuple[Store, ...]] | None = None

    async def until_over(self, presses: Interrupts) -> None:
        """Go round until nothing is ready and nothing is under way, or it is stopped at once."""
        pressed = self._told(presses.next())
        try:
            while self._begin():
                await self._news.wait()
                self._news.clear()
                if pressed.done():
                    if presses.presses >= AT_ONCE:
                        await self._stop_at_once()
                        return
                    self._pause()
                    pressed = self._told(presses.next())
                if self._storing is not None and self._storing.done():
                    await self._stored()
                self._settle()
        finally:
            pressed.cancel()

    def _told(self, doing: Coroutine[Any, Any, T]) -> asyncio.Task[T]:
        """Begin something whose end is news."""
        task = asyncio.ensure_future(doing)
        task.add_done_callback(lambda _: self._news.set())
        return task

    def _begin(self) -> bool:
        """Begin all that is ready; whether anything is under way."""
        for operation in self._run.ready():
            if isinstance(operation, Store):
                self._queue.append(operation)
            else:
                task = self._told(self._performer.perform(operation))
                task.add_done_callback(self._ended.append)
                self._tasks[task] = operation
        if self._queue and self._storing is None:
            batch, self._queue = tuple(self._queue), []
            self._storing = self._told(self._store(batch))
        return bool(self._tasks) or self._storing is not None

    async def _store(self, batch: tuple[Store, ...]) -> tuple[Store, ...]:
        await self._append(event for store in batch for event in store.events)
        return batch

    async def _append(self, events: Iterable[Event]) -> None:
        # In a thread of its own: a sync takes milliseconds, in which others can be answered.
        await asyncio.to_thread(
            self._ledger.append, self._record_id, tuple(events), self._clock.now()
        )

    async def _stored(self) -> None:
        """Settle the batch that is on disk now."""
        if self._storing is None:
            return
        storing, self._storing = self._storing, None
        batch = await storing
        started: set[str] = set()
        for store in batch:
            self._run.settle(store, Stored())
            for event in store.events:
                self._reporter.stored(event)
                if isinstance(event, Intended):
                    started.add(event.step)
        for step in self._run.in_hand if started else ():
            if step.id in started:
                self._reporter.step_started(step)
        if (why := self.trouble()) is not None:
            self._run.pause(why)

    async def _stop_at_once(self) -> None:
        """Store what is known by now, and the stop."""
        await self._stored()
        known = [event for store in self._queue for event in store.events]
        self._queue.clear()
        stopped = Paused(AT_ONCE_BY_OPERATOR)
        await self._append([*known, stopped])
        for event in (*known, stopped):
            self._reporter.stored(event)

    def _settle(self) -> None:
        """Settle what has ended, in the order in which it did."""
        ended = tuple(self._ended)
        self._ended.clear()
        for task in ended:
            operation: Operation | None = self._tasks.pop(task, None)
            if operation is not None:
                self._run.settle(operation, task.result())

    def _pause(self) -> None:
        self._run.pause(BY_OPERATOR)
        for task, operation in tuple(self._tasks.items()):
            if isinstance(operation, Ask | Rest) and not task.done():
                # Nobody is made to answer a question of a run that stops, or to wait for it.
                task.cancel()
                del self._tasks[task]
                asked = isinstance(operation, Ask)
                outcome = Reply(go=False, by=BY_OPERATOR) if asked else Elapsed()
                self._run.settle(operation, outcome)

    async def let_go(self) -> None:
        """Cancel what is under way, and wait until it has let go.

        Raises:
            Exception: a task had a bug to tell.
        """
        tasks: list[asyncio.Task[Any]] = [*self._tasks]
        self._tasks.clear()
        for task in tasks:
            task.cancel()
        if self._storing is not None:
            tasks.append(self._storing)  # what is being put on disk is let finish
            self._storing = None
        for result in await asyncio.gather(*tasks, return_exceptions=True):
            if isinstance(result, Exception):
                raise result
