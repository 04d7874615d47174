"""One process of the tool: a run, what it has open, and how it dies.

Ready events go into the ledger in one commit, as the real loop does it: at once, or after a while,
in which devices go on answering. The rest is answered in the order in which chance lets it end.
"""

import heapq
from collections.abc import Mapping
from itertools import count
from random import Random

from orchestrator.ledger.codec import dump_event, load_event
from orchestrator.running.events import Event
from orchestrator.running.fold import fold
from orchestrator.running.operations import (
    Ask,
    Elapsed,
    Operation,
    Outcome,
    Probe,
    Read,
    Reply,
    Store,
    Stored,
    Wait,
    Write,
)
from orchestrator.running.record import RunRecord
from orchestrator.running.run import Run
from orchestrator.running.steps.patience import Patience
from tests.simulation.watch import Watch
from tests.simulation.world import World

LIMIT = 6000
"""A run that takes more operations than this does not end."""

SLOW_DISK = 0.3
"""How often a commit takes its time."""

STALE_S = 1.0
"""What was looked at while a commit took longer than this is no news. As the real loop has it."""


class Stopped(Exception):
    """The process dies here."""


class Ledger:
    """What is on disk of one run, as text: whatever is not in it is forgotten."""

    def __init__(self, watch: Watch) -> None:
        self.lines: list[str] = []
        self.watch = watch

    def append(self, event: Event) -> None:
        """Keep one event."""
        self.lines.append(dump_event(event))
        self.watch.stored(event)

    def events(self) -> list[Event]:
        """All that is kept."""
        return [load_event(line, "an event") for line in self.lines]


class Process:
    """One process, from its start to its end or its death.

    ``dies_after``: the number of events after which it dies; without it, chance decides. ``rooms``:
    the room of each device; without it, each is a room of its own.
    """

    def __init__(
        self,
        record: RunRecord,
        ledger: Ledger,
        world: World,
        chance: Random,
        dies_after: int | None = None,
        *,
        rooms: Mapping[str, str] | None = None,
    ) -> None:
        self.run = Run(
            record.sequence,
            record.expects,
            ledger.events(),
            width=chance.choice((1, 2, 16)),
            patience={
                name: Patience(late_s=unit.late_s, settle_s=unit.settle_s)
                for name, unit in world.units.items()
            },
            found={name: found.state for name, found in record.before.items()},
            terms=record.terms,
            rooms=rooms,
        )
        self.record = record
        self.world = world
        self._ledger = ledger
        self._watch = ledger.watch
        self._chance = chance
        self._left = dies_after
        self._open: list[tuple[float, int, Operation | None]] = []  # None: a commit
        self._queue: list[Store] = []
        self._since: float | None = None  # a commit is under way
        self._number = count()
        self.operations = 0
        ledger.watch.process_began()

    def go(self) -> bool:
        """Go on until the run is over; False where the process died before."""
        try:
            while self._begin():
                self._end_one()
        except Stopped:
            self._die()
            return False
        if self.run.state != fold(self._ledger.events()):
            self._watch.broken.append("ledger: the run's state is not what its ledger comes to")
        return True

    def _begin(self) -> bool:
        while fresh := self.run.ready():
            for operation in fresh:
                if isinstance(operation, Store):
                    self._queue.append(operation)
                else:
                    self._due(self._takes(operation), operation)
            if not self._queue or self._since is not None:
                continue
            self._since = self.world.now
            if self._chance.random() < SLOW_DISK:
                self._due(self._chance.choice((0.01, 0.2, 3.0)), None)
            else:
                self._commit()
        return bool(self._open)

    def _due(self, seconds: float, operation: Operation | None) -> None:
        heapq.heappush(self._open, (self.world.now + seconds, next(self._number), operation))

    def _commit(self) -> None:
        """Have all that waits on disk: as a whole or not at all, as one commit of the ledger is."""
        began, self._since = self._since, None
        stale = began is not None and self.world.now - began > STALE_S
        stores, self._queue = self._queue, []
        events = [event for store in stores for event in store.events]
        for _ in events:
            self._maybe_die()
        if self._left is not None and self._left < len(events):
            raise Stopped
        for event in events:
            self._ledger.append(event)
        self._count_down(len(events))
        for store in stores:
            self.run.settle(store, Stored(stale=stale))
        self._watch.committed(stale=[store.events for store in stores] if stale else [])

    def _takes(self, operation: Operation) -> float:
        if isinstance(operation, Wait):
            return operation.seconds
        return self._chance.choice((0.01, 0.05, self._chance.uniform(0.0, 2.0)))

    def _end_one(self) -> None:
        self.operations += 1
        if self.operations > LIMIT:
            raise AssertionError("the run does not end")
        due, _, operation = heapq.heappop(self._open)
        self.world.pass_time(due)
        if operation is None:
            self._commit()
            return
        self._maybe_die()
        if self._chance.random() < self.world.odds.interrupts:
            self.run.pause("a person stopped it")
        self.run.settle(operation, self._answer(operation))

    def _answer(self, operation: Operation) -> Outcome:
        match operation:
            case Read(step=step, at=at, rests=rests):
                outcome = self.world.read(step, at, rests)
                self._watch.read(step, at, outcome)
                return outcome
            case Probe(step=step, at=at):
                outcome = self.world.probe(at)
                self._watch.probed(step, at, outcome)
                return outcome
            case Write(steps=steps, at=at):
                self._watch.about_to_write(steps, at)
                return self.world.write(steps, at)
            case Ask():
                return Reply(go=self._chance.random() >= self.world.odds.no_go, by="a person")
            case _:
                return Elapsed()

    def _maybe_die(self) -> None:
        if self._left is None and self._chance.random() < self.world.odds.stops:
            raise Stopped

    def _count_down(self, events: int) -> None:
        if self._left is not None:
            self._left -= events
            if self._left <= 0:
                raise Stopped

    def _die(self) -> None:
        """What was sent may still reach its device."""
        for _, _, operation in self._open:
            if isinstance(operation, Write) and self._chance.random() < 0.5:
                self._answer(operation)
