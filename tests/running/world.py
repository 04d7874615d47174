"""Four simulated devices, their faults, and what must hold at every write: a referee.

It knows nothing of the run's table; it is told only of reads, probes and writes as they arrive,
and of what is in the ledger. What breaks a rule is kept in ``broken``, in words.
"""

from dataclasses import dataclass, field
from random import Random

from orchestrator.facility.found import (
    DestinationState,
    DeviceState,
    Identity,
    InterfaceState,
    SourceState,
)
from orchestrator.facility.step import AddressValue, Assigned, Hearing, Step, StepKind
from orchestrator.running.events import Answered, Event, Failed, Failure, Intended, Proved, Resumed
from orchestrator.running.operations import (
    Accepted,
    Answers,
    Nobody,
    Outcome,
    Read,
    ReadFailed,
    Refused,
    Saw,
    Stranger,
    Unsure,
    Vacant,
    Write,
)
from tests.running.made_up import AT, BENCH, BY_ID, EXPECTS, FRESH, JOINED, NODE, NORTH, SOUTH

LATE_S, SETTLE_S = 15.0, 30.0
NUMBERS = {NORTH: 311, SOUTH: 411, NODE: None, FRESH: 1}


@dataclass
class Unit:
    """One simulated device."""

    identity: Identity
    address: AddressValue
    number: int | None
    enabled: bool = True
    hears: int | None = None
    clock: int = 0
    unsaved: bool = False
    down_until: float = 0.0


@dataclass
class Flight:
    """A write on its way: it lands at ``lands`` (never, if None) and is gone after that.

    ``before``: how many writes had landed when it was sent.
    """

    step: Step
    sent: float
    lands: float | None
    before: int


@dataclass
class Odds:
    """How likely each fault is, each time it could happen."""

    request_lost: float = 0.0
    answer_lost: float = 0.0
    late: float = 0.0
    refused: float = 0.0
    busy: float = 0.0
    down: float = 0.0
    drift: float = 0.0
    stranger: float = 0.0
    occupied: float = 0.0
    unreadable: float = 0.0
    moved: float = 0.0
    lies: float = 0.0


@dataclass
class World:
    """The devices, the time, the ledger, and the referee's notes."""

    chance: Random
    odds: Odds
    now: float = 0.0
    ledger: list[Event] = field(default_factory=list)
    flights: list[Flight] = field(default_factory=list)
    landed: list[str] = field(default_factory=list)
    seen: dict[str, tuple[str, bool]] = field(default_factory=dict)
    drifted: set[str] = field(default_factory=set)
    writes: list[str] = field(default_factory=list)
    broken: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.units = {
            name: Unit(EXPECTS[name], AddressValue("main", AT[name], 24), NUMBERS[name])
            for name in AT
        }
        self.units[NODE].hears = 411
        self.units[FRESH].address = BENCH
        self.intruder: Unit | None = None
        if self._hit(self.odds.occupied):
            self.intruder = Unit(Identity(serial="S-9", model="M-9"), JOINED, None)

    # time

    def pass_time(self, seconds: float) -> None:
        """Let time pass; what is on its way lands when it is due."""
        self.now += seconds
        due = [flight for flight in self.flights if flight.lands is not None]
        for flight in sorted(due, key=lambda flight: flight.lands or 0.0):
            if flight.lands is not None and flight.lands <= self.now:
                self.flights.remove(flight)
                self._land(flight)
        self.flights = [each for each in self.flights if not self._dead(each)]

    def _dead(self, flight: Flight) -> bool:
        bound = SETTLE_S if flight.step.kind is StepKind.READDRESS else LATE_S
        return self.now - flight.sent > bound

    def _land(self, flight: Flight) -> None:
        step = flight.step
        later = {name for name in self.landed[flight.before :] if name != step.id}
        same_thing = {name for name in later if _thing(BY_ID[name]) == _thing(step)}
        if same_thing and step.device not in self.drifted:
            self.broken.append(f"{step.id} landed late, over {sorted(same_thing)}")
        self.landed.append(step.id)
        unit = self.units[step.device]
        match step.wanted:
            case bool(enabled):
                unit.enabled = enabled
            case Assigned(number=number):
                unit.number = number
                unit.unsaved = True
            case Hearing(number=number):
                unit.hears = number
            case AddressValue() as address:
                unit.address = address
            case int(clock):
                unit.clock = clock
            case None:
                unit.unsaved = False

    # what the network answers

    def _at(self, address: str) -> Unit | None:
        everyone = [*self.units.values(), self.intruder]
        for unit in filter(None, everyone):
            if unit.address.address == address and unit.down_until <= self.now:
                return unit
        return None

    def _hit(self, odds: float) -> bool:
        return odds > 0 and self.chance.random() < odds

    def stir(self, device: str) -> None:
        """Maybe something happens to ``device``: it goes away for a while, or another hand."""
        unit = self.units[device]
        if self._hit(self.odds.down):
            unit.down_until = self.now + self.chance.choice((1.0, 5.0, 40.0, 500.0))
        if self._hit(self.odds.drift) and unit.number is not None:
            self.drifted.add(device)
            unit.number = self.chance.choice((411, 311, 2990, 900 + self.chance.randrange(90)))
        if unit.address == BENCH and self._hit(self.odds.moved) and "fresh.clock" in self.proved():
            unit.address = JOINED  # somebody does it before the run does
            self.flights = [each for each in self.flights if each.step.device != FRESH]

    def read(self, operation: Read) -> Outcome:
        """Answer a read, and note what it saw."""
        step = operation.step
        self.seen.pop(step.device, None)
        self.stir(step.device)
        if self._hit(self.odds.stranger):
            return Stranger("another unit answers")
        unit = self._at(operation.at)
        if unit is None:
            return Nobody()
        if unit is not self.units[step.device]:
            return Stranger(f"{unit.identity} answers")
        if self._hit(self.odds.busy):
            return ReadFailed(Failure.BUSY, "locked")
        if self._hit(self.odds.unreadable):
            return ReadFailed(Failure.BROKEN, "no sense")
        matches = self.value(step) == step.as_found or step.kind is StepKind.SAVE
        self.seen[step.device] = (step.id, matches)
        return Saw(self._state(unit))

    def _state(self, unit: Unit) -> DeviceState:
        held = unit.address
        interface = InterfaceState(address=held.address, prefix=held.prefix, gateway=held.gateway)
        return DeviceState(
            identity=unit.identity,
            interfaces={"main": interface},
            sources={
                "one": SourceState(
                    number=unit.number, groups=(None,), label="", enabled=unit.enabled
                )
            },
            destinations={"in": DestinationState(hears=unit.hears)},
            settings={"ptp_domain": unit.clock},
            unsaved=unit.unsaved,
        )

    def probe(self, address: str) -> Outcome:
        """Answer a probe."""
        return Vacant() if self._at(address) is None else Answers("something")

    def write(self, operation: Write) -> Outcome:
        """Let a write arrive or get lost, and judge it."""
        step = operation.step
        self._judge(step)
        self.writes.append(step.id)
        self.seen.pop(step.device, None)
        if self._at(operation.at) is not self.units[step.device]:
            return Refused(Failure.UNREACHABLE, "no connection")
        if self._hit(self.odds.refused):
            return Refused(Failure.REJECTED, "no")
        if self._hit(self.odds.busy):
            return Refused(Failure.BUSY, "locked", self.chance.choice((None, 3.0)))
        late = 0.0
        if self._hit(self.odds.late):
            late = self.chance.uniform(0.0, LATE_S * 0.9)
        lies = self._hit(self.odds.lies)
        lost = not lies and self._hit(self.odds.request_lost)
        lands = None if lost or lies else self.now + late
        unsure = lost or (not lies and self._hit(self.odds.answer_lost))
        if not lies:
            self.flights.append(Flight(step, self.now, lands, len(self.landed)))
        self.pass_time(0.0)
        return Unsure("no answer") if unsure else Accepted()

    # the referee

    def value(self, step: Step) -> object:
        """What the device really holds of what ``step`` is about."""
        unit = self.units[step.device]
        match step.kind:
            case StepKind.DISABLE | StepKind.ENABLE:
                return unit.enabled
            case StepKind.RENUMBER:
                return Assigned(unit.number)
            case StepKind.REPOINT:
                return Hearing(unit.hears)
            case StepKind.SET:
                return unit.clock
            case StepKind.READDRESS | StepKind.CONFIRM:
                return unit.address
            case _:
                return None

    def proved(self) -> set[str]:
        """The steps that the ledger calls proved, the last word on each counting."""
        proved: set[str] = set()
        for event in self.ledger:
            if isinstance(event, Proved):
                proved.add(event.step)
            elif isinstance(event, Failed):
                proved.discard(event.step)
        return proved

    def _judge(self, step: Step) -> None:
        intent = Intended(step.id)
        if intent not in _since(self.ledger, Resumed()):
            self.broken.append(f"{step.id} was written without a stored intent")
        if step.phase and not any(_is_go(event, step.phase) for event in self.ledger):
            self.broken.append(f"{step.id} was written before a person said go")
        if missing := set(step.after) - self.proved():
            self.broken.append(f"{step.id} was written before {sorted(missing)} was proved")
        if self.seen.get(step.device) != (step.id, True):
            self.broken.append(f"{step.id} was written without a matching read right before")
        for flight in self.flights:
            if flight.step.device != step.device or flight.step.kind is StepKind.SAVE:
                continue  # a save carries no value: landing late, it does no harm
            if step.device in self.drifted:
                continue  # another hand's value can look like our own landing
            if flight.step.id != step.id:
                self.broken.append(f"{step.id} was written while {flight.step.id} was in flight")
            elif step.kind is StepKind.READDRESS:
                self.broken.append("a readdress was sent twice while the first could land")
        if step.kind is StepKind.READDRESS and self._at(JOINED.address) is not None:
            self.broken.append("a readdress onto an address that answers")

    def store(self, events: tuple[Event, ...]) -> None:
        """Keep events, and check each proof against the device itself."""
        for event in events:
            self.ledger.append(event)
            if isinstance(event, Proved):
                self._check_proof(BY_ID[event.step])
            if isinstance(event, Failed) and not event.unsure:
                self._check_failure(event.step)

    def _check_proof(self, step: Step) -> None:
        if step.device in self.drifted or step.kind in (StepKind.READDRESS, StepKind.SAVE):
            return
        if self.value(step) != step.wanted:
            self.broken.append(f"{step.id} was called proved, but is not")

    def _check_failure(self, name: str) -> None:
        if any(flight.step.id == name and flight.lands for flight in self.flights):
            self.broken.append(f"{name} was called surely not done, but may land yet")

    def calm(self) -> None:
        """No more faults; what was away is back."""
        self.odds = Odds()
        self.intruder = None
        for unit in self.units.values():
            unit.down_until = 0.0

    def done(self) -> bool:
        """Whether every device is as the change wants it."""
        units = self.units
        return (
            (units[NORTH].number, units[SOUTH].number, units[NODE].hears) == (411, 311, 311)
            and units[NORTH].enabled
            and units[SOUTH].enabled
            and not units[SOUTH].unsaved
            and units[FRESH].address == JOINED
            and units[FRESH].clock == 7
            and units[FRESH].enabled
        )


def _thing(step: Step) -> tuple[str, str | None]:
    aspect = "enabled" if step.kind in (StepKind.DISABLE, StepKind.ENABLE) else step.kind
    return (step.device, aspect)


def _is_go(event: Event, phase: int) -> bool:
    return isinstance(event, Answered) and event.go and event.question == f"go:{phase}"


def _since(events: list[Event], mark: Event) -> list[Event]:
    if mark not in events:
        return events
    return events[len(events) - events[::-1].index(mark) :]
