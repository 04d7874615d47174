"""The loop that joins a run, the devices, the ledger and the clock.

One round: what is ready is taken; its events are stored in one go, and settled before anything
else of the round is begun; the rest is begun side by side; then whatever ends first is settled.
"""

import asyncio
from collections.abc import Iterable
from contextlib import AsyncExitStack

from orchestrator.actions.interrupts import AT_ONCE, Interrupts, listening
from orchestrator.actions.perform import Deed, LookRound, Performer, look_nowhere
from orchestrator.running.events import Event, Intended, Paused
from orchestrator.running.operations import (
    Ask,
    Elapsed,
    Operation,
    Outcome,
    Reply,
    Rest,
    Store,
    Stored,
)
from orchestrator.running.protocols import (
    Clock,
    Ledger,
    OpenAdapter,
    Person,
    ProbeAddress,
    Reporter,
)
from orchestrator.running.run import Run

BY_OPERATOR = "stopped by the operator"
AT_ONCE_BY_OPERATOR = "stopped at once by the operator; what was in hand is read first at resume"


async def drive(
    run: Run,
    record_id: str,
    *,
    open_adapter: OpenAdapter,
    probe: ProbeAddress,
    ledger: Ledger,
    clock: Clock,
    reporter: Reporter,
    person: Person,
    interrupts: Interrupts | None = None,
    look: LookRound = look_nowhere,
) -> None:
    """Drive ``run`` until it is finished or paused: ``run.finished`` and ``run.paused`` say which.

    ``record_id`` is the run's id in the ledger. A first press of Ctrl-C (or of ``interrupts``)
    pauses it: the steps in hand finish. A second one stops at once, which is stored as a pause
    too, though ``run.paused`` does not know of it. ``look`` reads and audits everything at
    go/no-go points.

    Raises:
        LedgerError: an event can't be stored; nothing that follows from it was done.
        Exception: a bug in an adapter or here. What was in hand is cancelled, not hidden.
    """
    presses = interrupts or Interrupts()
    performer = Performer(open_adapter, probe, clock, person, look)
    driver = _Driver(
        run, record_id, ledger=ledger, clock=clock, reporter=reporter, performer=performer
    )
    async with AsyncExitStack() as ending:
        ending.push_async_callback(performer.close)
        ending.push_async_callback(driver.let_go)
        with listening(presses):
            await driver.until_over(presses)


class _Driver:
    def __init__(
        self,
        run: Run,
        record_id: str,
        *,
        ledger: Ledger,
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
        self._tasks: dict[asyncio.Task[Outcome], Deed] = {}

    async def until_over(self, presses: Interrupts) -> None:
        """Go round until nothing is ready and nothing is under way, or it is stopped at once."""
        pressed = asyncio.ensure_future(presses.next())
        try:
            while self._begin() or self._tasks:
                waited = {pressed, *self._tasks}
                ended, _ = await asyncio.wait(waited, return_when=asyncio.FIRST_COMPLETED)
                if pressed in ended:
                    if presses.presses >= AT_ONCE:
                        self._append([Paused(AT_ONCE_BY_OPERATOR)])
                        return
                    self._pause()
                    pressed = asyncio.ensure_future(presses.next())
                self._settle(task for task in tuple(self._tasks) if task in ended)
        finally:
            pressed.cancel()

    def _begin(self) -> bool:
        """Store and begin all that is ready; whether anything is under way."""
        while operations := self._run.ready():
            stores = [each for each in operations if isinstance(each, Store)]
            self._store(stores)
            for operation in operations:
                if not isinstance(operation, Store):
                    task = asyncio.ensure_future(self._performer.perform(operation))
                    self._tasks[task] = operation
        return bool(self._tasks)

    def _store(self, stores: list[Store]) -> None:
        events = [event for store in stores for event in store.events]
        if not events:
            return
        self._append(events)
        for store in stores:
            self._run.settle(store, Stored())
        started = {event.step for event in events if isinstance(event, Intended)}
        for step in self._run.in_hand:
            if step.id in started:
                self._reporter.step_started(step)

    def _append(self, events: Iterable[Event]) -> None:
        # The call is made in the loop itself: it is short, and nothing may overtake it.
        events = tuple(events)
        self._ledger.append(self._record_id, events, self._clock.now())
        for event in events:
            self._reporter.stored(event)

    def _settle(self, ended: Iterable[asyncio.Task[Outcome]]) -> None:
        for task in ended:
            operation: Operation = self._tasks.pop(task)
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
        tasks = tuple(self._tasks)
        self._tasks.clear()
        for task in tasks:
            task.cancel()
        for result in await asyncio.gather(*tasks, return_exceptions=True):
            if isinstance(result, Exception):
                raise result
