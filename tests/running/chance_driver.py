"""A driver ruled by chance: which open operation ends next, what goes wrong, where it stops."""

from random import Random

from orchestrator.running.operations import (
    Ask,
    Elapsed,
    Look,
    Looked,
    Moment,
    Operation,
    Outcome,
    Probe,
    Read,
    ReadClock,
    Reply,
    Rest,
    Store,
    Stored,
    Wait,
    Write,
)
from orchestrator.running.run import Run
from orchestrator.running.steps.patience import Patience
from tests.running.made_up import AT, EXPECTS, SEQUENCE
from tests.running.world import LATE_S, SETTLE_S, Odds, World

PATIENCE = {name: Patience(late_s=LATE_S, settle_s=SETTLE_S) for name in AT}
LIMIT = 5000


def odds(chance: Random) -> Odds:
    """A mixture of faults: each is absent, rare or common."""

    def some(*choices: float) -> float:
        return chance.choice((0.0, *choices))

    return Odds(
        request_lost=some(0.05, 0.3),
        answer_lost=some(0.05, 0.3),
        late=some(0.1, 0.5),
        refused=some(0.02),
        busy=some(0.05, 0.3),
        down=some(0.01, 0.1),
        drift=some(0.01),
        stranger=some(0.005, 0.05),
        occupied=some(0.1, 0.9),
        unreadable=some(0.05, 0.5),
        moved=some(0.1, 0.5),
        lies=some(0.05),
    )


class ChanceDriver:
    """Drives runs over one world until the change is done, or can't be."""

    def __init__(self, seed: int) -> None:
        self.chance = Random(seed)
        self.world = World(self.chance, odds(self.chance))
        self.stops = self.chance.choice((0.0, 0.0, 0.01, 0.05))
        self.operations = 0
        self.due: dict[Operation, float] = {}

    def new_run(self) -> Run:
        """A run over what the ledger holds."""
        width = self.chance.choice((1, 2, 16))
        return Run(SEQUENCE, EXPECTS, self.world.ledger, width=width, patience=PATIENCE)

    def go(self) -> Run:
        """Drive one run until it is over or the process stops there."""
        run = self.new_run()
        open_now: list[Operation] = []
        while fresh := self._fresh(run) or open_now:
            if fresh is not open_now:
                open_now += fresh
            if self.chance.random() < self.stops:
                self._stop(open_now)
                return run
            self._end_one(run, open_now)
        return run

    def _fresh(self, run: Run) -> list[Operation]:
        fresh = list(run.ready())
        for operation in fresh:
            if isinstance(operation, Wait):
                self.due[operation] = self.world.now + operation.seconds
        return fresh

    def _end_one(self, run: Run, open_now: list[Operation]) -> None:
        self.operations += 1
        assert self.operations < LIMIT, "the run does not end"
        operation = open_now.pop(self.chance.randrange(len(open_now)))
        run.settle(operation, self._answer(operation))

    def _answer(  # noqa: PLR0911 - one return an operation
        self, operation: Operation
    ) -> Outcome:
        self.world.pass_time(self.chance.random() * 0.02)
        match operation:
            case Store(events=events):
                self.world.store(events)
                return Stored()
            case Read():
                return self.world.read(operation)
            case Write():
                return self.world.write(operation)
            case Probe(at=at):
                return self.world.probe(at)
            case Wait():
                self.world.pass_time(max(0.0, self.due.pop(operation) - self.world.now))
                return Elapsed()
            case Rest():
                return Elapsed()
            case Look():
                return Looked()
            case ReadClock():
                return Moment("2026-03-01T02:00:00+00:00")
            case Ask():
                return Reply(go=self.chance.random() > 0.1)

    def _stop(self, open_now: list[Operation]) -> None:
        """The process dies: what is under way may still reach the ledger or a device."""
        for operation in open_now:
            if self.chance.random() < 0.5 and isinstance(operation, Store | Write):
                self._answer(operation)
