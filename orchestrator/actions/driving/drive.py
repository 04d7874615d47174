"""The loop that joins a run, the devices, the ledger and the clock.

Whatever is ready is begun side by side; whatever ends first is settled. Events go to disk in one
queue, in the order in which the run gave them: while one batch is being stored, what comes up
meanwhile waits to be the next one (group commit), and devices go on being spoken to. So a disk that
takes its time costs a step that time, and not all steps one after the other.
"""

import asyncio
import sys
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import AsyncExitStack, contextmanager
from typing import Any

from orchestrator.actions.driving.interrupts import AT_ONCE, Interrupts, listening
from orchestrator.actions.driving.perform import Deed, LookRound, Performer, look_nowhere
from orchestrator.running.events import Event, Intended, Paused
from orchestrator.running.operations import (
    Ask,
    Elapsed,
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

TURN_S = 0.0005
"""Seconds after which a thread that goes on working lets another one have its turn."""

NEWS_S = 1.0
"""Seconds for which a look counts that came before the intent of its step was on disk.

After that it is made again: another hand may have been at work. Our own choice.
"""

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
        self._steps = {step.id: step for step in run.sequence.steps}
        self._record_id = record_id
        self._ledger = ledger
        self._clock = clock
        self._reporter = reporter
        self._performer = performer
        self.trouble: Callable[[], str | None] = lambda: None
        self._tasks: dict[asyncio.Task[Any], Deed] = {}  # and what each is at
        self._queue: list[Store] = []
        self._since = 0.0  # when the oldest of the batch was asked for
        self._queued = 0.0  # and that of the queue
        self._batch: tuple[Store, ...] = ()  # what is being put on disk
        self._storing: Future[None] | None = None
        self._thread = ThreadPoolExecutor(1, "ledger")
        self._news = asyncio.Event()
        self._bug: BaseException | None = None
        self._stopped = False  # nothing that ends from now on is settled

    async def until_over(self, presses: Interrupts) -> None:
        """Go on until nothing is ready and nothing is under way, or it is stopped at once."""
        pressed = self._pressed(presses)
        try:
            self._begin()
            while self._tasks or self._queue or self._storing is not None:
                await self._news.wait()
                self._news.clear()
                if self._bug is not None:
                    raise self._bug
                if pressed.done():
                    if presses.presses >= AT_ONCE:
                        await self._stop_at_once()
                        return
                    self._pause()
                    pressed = self._pressed(presses)
        finally:
            pressed.cancel()

    def _pressed(self, presses: Interrupts) -> asyncio.Task[None]:
        pressed = asyncio.ensure_future(presses.next())
        pressed.add_done_callback(lambda _: self._news.set())
        return pressed

    def _begin(self) -> None:
        """Begin all that is ready."""
        if (deed := self._next()) is not None:
            self._spawn(deed)

    def _next(self) -> Deed | None:
        """Begin all that is ready but for one deed, which is given back."""
        own: Deed | None = None
        for operation in self._run.ready():
            if isinstance(operation, Store):
                self._store_soon(operation)
            elif own is None:
                own = operation
            else:
                self._spawn(operation)
        return own

    def _spawn(self, deed: Deed) -> None:
        task = asyncio.ensure_future(self._do(deed))
        self._tasks[task] = deed
        task.add_done_callback(self._ended)

    async def _do(self, deed: Deed) -> None:
        """Do a deed, settle it, and go on with what that makes ready, at once.

        Each detour over the event loop would wait behind all others that have something to do.
        """
        task = asyncio.current_task()
        assert task is not None
        doing: Deed | None = deed
        while doing is not None:
            outcome = await self._performer.perform(doing)
            if self._stopped or task not in self._tasks:
                return
            self._run.settle(doing, outcome)
            doing = self._next()
            if doing is not None:
                self._tasks[task] = doing

    def _ended(self, task: asyncio.Task[None]) -> None:
        known = self._tasks.pop(task, None) is not None
        bug = None if task.cancelled() else task.exception()  # unseen, asyncio would print it
        if known:
            self._bug = self._bug or bug
        self._news.set()

    def _store_soon(self, store: Store) -> None:
        if not self._queue:
            loop = asyncio.get_running_loop()
            self._queued = loop.time()
            if self._storing is None:
                loop.call_soon(self._store)  # what else is settled in this round goes along
        self._queue.append(store)

    def _store(self) -> None:
        """Have all that waits put on disk, unless something is being put there."""
        if self._storing is not None or not self._queue:
            return
        self._batch, self._since = tuple(self._queue), self._queued
        self._queue.clear()
        loop = asyncio.get_running_loop()
        events = [event for store in self._batch for event in store.events]
        self._storing = self._append(events)
        self._storing.add_done_callback(lambda _: loop.call_soon_threadsafe(self._stored_or_bug))

    def _append(self, events: Sequence[Event]) -> Future[None]:
        # In a thread of its own: a sync takes milliseconds, in which others can be answered.
        return self._thread.submit(
            self._ledger.append, self._record_id, tuple(events), self._clock.now()
        )

    def _stored_or_bug(self) -> None:
        if self._stopped:
            return
        try:
            self._stored()
            self._begin()
            self._store()
        except Exception as bug:  # noqa: BLE001 - whatever it is, it is raised where all is let go
            self._bug = self._bug or bug
        if self._bug is not None or not self._tasks:
            self._news.set()

    def _stored(self) -> None:
        """Settle the batch that is on disk now.

        Raises:
            LedgerError: it is not.
        """
        storing, self._storing = self._storing, None
        if storing is None:
            return
        storing.result()
        started: list[str] = []
        waited = asyncio.get_running_loop().time() - self._since
        stored = Stored(stale=waited > NEWS_S)
        for store in self._batch:
            self._run.settle(store, stored)
            for event in store.events:
                self._reporter.stored(event)
                if isinstance(event, Intended):
                    started.append(event.step)
        for name in started:
            self._reporter.step_started(self._steps[name])
        if (why := self.trouble()) is not None:
            self._run.pause(why)

    async def _stop_at_once(self) -> None:
        """Store what is known by now, and the stop."""
        self._stopped = True
        if self._storing is not None:
            await asyncio.wait([asyncio.wrap_future(self._storing)])
            self._stored()
        known = [event for store in self._queue for event in store.events]
        self._queue.clear()
        stopped = Paused(AT_ONCE_BY_OPERATOR)
        await asyncio.wrap_future(self._append([*known, stopped]))
        for event in (*known, stopped):
            self._reporter.stored(event)

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
        self._begin()

    async def let_go(self) -> None:
        """Cancel what is under way, and wait until it has let go.

        Raises:
            Exception: a task had a bug to tell.
        """
        self._stopped = True
        tasks: list[asyncio.Future[Any]] = [*self._tasks]
        self._tasks.clear()
        self._queue.clear()
        for task in tasks:
            task.cancel()
        if self._storing is not None:
            tasks.append(asyncio.wrap_future(self._storing))  # it is let finish
            self._storing = None
        results = await asyncio.gather(*tasks, return_exceptions=True)
        self._thread.shutdown()
        for result in results:
            if isinstance(result, Exception):
                raise result
