"""The simulated network: who answers where, what is on its way, and what goes wrong meanwhile.

It stands where devices, adapters and wires stand for a real run, and has a clock of its own.
Whoever observes it (the referee of ``mocks``) is told each change at the instant of the change.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from random import Random

from mocks.journal import Asked, Cause, Change, Observer
from mocks.site import Site
from mocks.state import Memory, State
from orchestrator.facility.found import DeviceState, Identity
from orchestrator.facility.step import Step, StepKind
from orchestrator.running.events import Failure
from orchestrator.running.operations import (
    Accepted,
    Answers,
    Apart,
    Nobody,
    Outcome,
    ReadFailed,
    Refused,
    Saw,
    Unsure,
    Vacant,
)
from orchestrator.running.parts import parts_of
from orchestrator.running.protocols import Part
from tests.planning.scenes import group
from tests.simulation.trouble import CALM, Odds
from tests.simulation.units import Thing, Unit, done, put_back, thing_of, things, told, value_in

AWAY_S = (3.0, 8.0, 30.0)
"""How long a reboot takes; longer than any request that is answered."""

OTHER_HAND, POWER_CYCLE = "another hand", "a power cycle"


@dataclass
class Flight:
    """A request that may land yet, until ``bound``; ``lands`` says when (None: it is lost).

    Nobody can tell a lost one from one that is late.
    """

    device: str
    step: Step
    bound: float
    lands: float | None
    moving: bool = False


class World:
    """All devices, the time, and what is on its way."""

    def __init__(self, site: Site, units: dict[str, Unit], chance: Random, odds: Odds) -> None:
        self.site = site
        self.units = units
        self.chance = chance
        self.odds = odds
        self.now = 0.0
        self.flights: list[Flight] = []
        self.occupied: set[str] = set()
        self.counted: dict[str, int] = {}
        self._observers: list[Observer] = []
        self.meddled: set[tuple[str, Thing]] = set()
        self._known: set[tuple[str, Thing]] = set()
        self._adopted: set[tuple[str, Thing]] = set()
        self._before_drift: dict[tuple[str, Thing], tuple[State, str | None]] = {}

    # What the referee asks.

    def clock(self) -> float:
        """Seconds since the beginning."""
        return self.now

    def memories(self) -> Mapping[str, Memory]:
        """What each device has in its memory now."""
        return {name: unit.memory for name, unit in self.units.items()}

    def observe(self, observer: Observer) -> None:
        """Tell ``observer`` of everything from now on."""
        self._observers.append(observer)

    def run_due(self) -> None:
        """Nothing waits: time passes only when it is told to."""

    # Time.

    def pass_time(self, until: float) -> None:
        """Let time pass; what is on its way lands when it is due."""
        while due := [one for one in self.flights if one.lands is not None and one.lands <= until]:
            flight = min(due, key=lambda one: one.lands or 0.0)
            self.now = max(self.now, flight.lands or 0.0)
            self.flights.remove(flight)
            self._land(flight)
        self.now = max(self.now, until)
        self.flights = [one for one in self.flights if one.bound > self.now]

    def on_its_way(self, device: str) -> list[Flight]:
        """The requests to ``device`` that may land yet, as far as anybody can know."""
        return [one for one in self.flights if one.device == device and one.bound > self.now]

    # What the run does.

    def read(self, step: Step, at: str, rests: Iterable[Step] = ()) -> Outcome:
        """Answer a read, at ``at``, of what ``step`` is about, and of what it ``rests`` on."""
        self._stir(step.device)
        odds = self.odds
        who = self._at(at)
        if who is None or self._hit("read_lost", odds.read_lost):
            return Nobody("no answer")
        parts = parts_of(step).union(*map(parts_of, rests))
        if who != step.device or self._hit("stranger", odds.stranger):
            return Saw(self._another(step.device, who or "", parts))
        if self._hit("unreadable", odds.unreadable):
            if self.chance.random() < 0.5:
                return ReadFailed(Failure.BUSY, "locked", self.chance.choice((None, 2.0)))
            return ReadFailed(Failure.BROKEN, "half an answer")
        return Saw(told(self.units[step.device], parts))

    def probe(self, at: str) -> Outcome:
        """Say whether anything answers at ``at``."""
        return Vacant() if self._at(at) is None else Answers("somebody")

    def write(self, steps: Sequence[Step], at: str) -> Outcome:
        """Let a write arrive, or get lost; of several steps each may have a fate of its own."""
        odds, first = self.odds, steps[0]
        if self._at(at) != first.device:
            return Refused(Failure.UNREACHABLE, "no connection")
        for step in steps:
            self._tell_asked(step, at)
        if len(steps) == 1:
            return self._write(first)
        if self._hit("refused", odds.refused):
            return Refused(Failure.REJECTED, "not all of it")
        if self._hit("request_lost", odds.request_lost):
            bound = self.now + self.units[first.device].late_s
            self.flights += [Flight(first.device, step, bound, None) for step in steps]
            return Unsure("no answer")
        told = {step.id: self._write(step) for step in steps}
        return Unsure("no answer") if self._hit("answer_lost", odds.answer_lost) else Apart(told)

    def _write(self, step: Step) -> Accepted | Refused | Unsure:
        odds = self.odds
        if self._hit("refused", odds.refused):
            return Refused(Failure.REJECTED, "not now")
        if self._hit("busy", odds.busy):
            return Refused(Failure.BUSY, "locked", self.chance.choice((None, 3.0)))
        unit = self.units[step.device]
        moving = step.kind is StepKind.READDRESS
        bound = unit.settle_s if moving else unit.late_s
        # Whether a device has saved that can't say so, nobody can see: its yes is taken for it.
        shows = unit.tells or step.kind is not StepKind.SAVE
        if shows and self._hit("lies", odds.lies):
            return Accepted()
        if self._hit("request_lost", odds.request_lost):
            self.flights.append(Flight(step.device, step, self.now + bound, None, moving))
            return Unsure("no answer")
        late = shows and self._hit("late", odds.late)
        lands = self.now + (self.chance.uniform(0, bound * 0.9) if late or moving else 0.0)
        flight = Flight(step.device, step, self.now + bound, lands, moving)
        unsure = self._hit("answer_lost", odds.answer_lost)
        if moving:
            lan = done(unit.memory.running, step).lan
            self._become(step.device, replace(unit.memory, pending=lan), Cause.REQUEST)
        if lands > self.now:
            self.flights.append(flight)
        else:
            self._land(flight)
        return Unsure("no answer") if unsure else Accepted()

    def _land(self, flight: Flight) -> None:
        unit = self.units[flight.device]
        if unit.down_until > self.now:
            return
        step, memory = flight.step, unit.memory
        if step.kind is StepKind.SAVE:
            self._become(flight.device, replace(memory, saved=memory.running), Cause.REQUEST)
            return
        running = done(memory.running, step)
        saved = running if unit.keeps else memory.saved
        if step.setting in unit.reboots_on and not unit.keeps:
            running = saved = done(saved, step)  # that is kept; what else was not saved is lost
        pending = None if flight.moving else memory.pending
        self._become(flight.device, Memory(running, saved, pending), Cause.REQUEST)
        if flight.moving:
            self._arrived(flight.device)
        unit.strays.pop(thing_of(step) or ("", ""), None)
        self._adopted.discard((flight.device, thing_of(step) or ("", "")))
        if step.setting in unit.reboots_on:
            unit.down_until = self.now + AWAY_S[0]

    def _arrived(self, device: str) -> None:
        unit = self.units[device]
        if self._net(unit.address) != unit.cable and not self._hit("cable", self.odds.cable):
            unit.cable = self._net(unit.address)
        if self._hit("taken", self.odds.taken):
            self.occupied.add(unit.address)

    # What goes wrong by itself.

    def _stir(self, device: str) -> None:
        """Maybe something happens: a device reboots, or another hand sets a value of one."""
        if self._hit("reboots", self.odds.reboots):
            self.reboot(self.chance.choice(sorted(self.units)), self.chance.choice(AWAY_S))
        if self._hit("drift", self.odds.drift) and not self.on_its_way(device):
            self._drift(device)

    def reboot(self, device: str, away_s: float) -> None:
        """A power cycle: what was not saved is gone, and so is what was on its way."""
        unit = self.units[device]
        memory = unit.memory
        self.flights = [one for one in self.flights if one.device != device]
        running = memory.saved
        if memory.pending is not None and unit.keeps:
            running = replace(running, lan=memory.pending)
            memory = replace(memory, saved=running)
        unit.down_until = max(unit.down_until, self.now + away_s)
        for thing in things(running):
            if value_in(running, thing) != value_in(memory.running, thing):
                unit.strays.setdefault(thing, POWER_CYCLE)
        self._become(device, Memory(running, memory.saved), Cause.REBOOT)
        if self._net(unit.address) != unit.cable and self._net(memory.running.lan.address) == (
            unit.cable
        ):
            unit.cable = self._net(unit.address)  # whoever put the cable there puts it back

    def _drift(self, device: str) -> None:
        """Another hand sets a value of a device, and saves it: one that nobody uses or wants."""
        unit = self.units[device]
        before = unit.memory.running
        sorts = ("number", "hears", "label", "setting", "enabled")
        open_to = [thing for thing in things(before) if thing[0] in sorts]
        if not open_to:
            return
        thing = self.chance.choice(open_to)
        after = put_back(before, thing, self._foreign(before))
        if after == before:
            return
        if unit.strays.get(thing) != OTHER_HAND:
            self._before_drift[device, thing] = before, unit.strays.get(thing)
        unit.strays[thing] = OTHER_HAND
        self.meddled.add((device, thing))
        saved = put_back(unit.memory.saved, thing, after)
        self._become(device, replace(unit.memory, running=after, saved=saved), Cause.ANOTHER_HAND)

    def _foreign(self, state: State) -> State:
        number = self.chance.randrange(900, 990)
        return replace(
            state,
            sources={
                name: replace(
                    one, number=number, group=group(number), label="X", enabled=not one.enabled
                )
                for name, one in state.sources.items()
            },
            destinations={
                name: replace(one, number=number)
                if one.number
                else replace(one, group=group(number))
                for name, one in state.destinations.items()
            },
            settings=dict.fromkeys(state.settings, 77),
        )

    # When the trouble is over.

    def calm(self) -> None:
        """No more trouble: what was away is back, who stood in the way is gone."""
        self.odds = CALM
        self.occupied.clear()
        self.mind_cables()
        self.pass_time(max([self.now, *(u.down_until for u in self.units.values())]) + 60.0)

    def taken_over(self, step: Step) -> None:
        """The run has read what ``step`` wants, whoever set it: it is the run's own from now on.

        Unless it has changed since: it takes time to put on disk what was read.
        """
        thing = thing_of(step) or ("", "")
        running = self.units[step.device].memory.running
        if thing[0] and value_in(running, thing) != value_in(done(running, step), thing):
            return
        if self.units[step.device].strays.pop(thing, None) == OTHER_HAND:
            self._adopted.add((step.device, thing))

    def given_up(self, step: Step) -> None:
        """The run is to do ``step`` again: what another hand had set is that hand's once more."""
        thing = thing_of(step) or ("", "")
        if (step.device, thing) in self._adopted:
            self._adopted.remove((step.device, thing))
            self.units[step.device].strays[thing] = OTHER_HAND

    def take_as_known(self) -> None:
        """A survey has read all values: they are news no more."""
        for unit in self.units.values():
            unit.strays.clear()
        self._before_drift.clear()
        self._adopted.clear()
        self._known = set(self.meddled)

    def mind_cables(self) -> None:
        """Somebody puts every cable where its device's address belongs."""
        for unit in self.units.values():
            unit.cable = self._net(unit.address)

    def put_right(self) -> None:
        """Whoever set a value that nobody wanted sets it back; a power cycle may have taken it."""
        for name, unit in self.units.items():
            strays = [thing for thing, why in unit.strays.items() if why == OTHER_HAND]
            running, saved = unit.memory.running, unit.memory.saved
            for thing in strays:
                before, why = self._before_drift[name, thing]
                running, saved = put_back(running, thing, before), put_back(saved, thing, before)
                del unit.strays[thing]
                if why is not None:
                    unit.strays[thing] = why
                # What the run had taken over from another hand is still that hand's.
                self.meddled -= {(name, thing)} - self._known - self._adopted
            if not strays:
                continue
            self._become(
                name, replace(unit.memory, running=running, saved=saved), Cause.ANOTHER_HAND
            )

    def switch_off(self, device: str, source: str) -> None:
        """Somebody switches a source off, since the run asks for it: as the run knows it."""
        unit, thing = self.units[device], ("enabled", source)
        off = unit.memory.running
        off = off.with_source(source, replace(off.sources[source], enabled=False))
        saved = put_back(unit.memory.saved, thing, off)
        self._become(device, replace(unit.memory, running=off, saved=saved), Cause.ANOTHER_HAND)
        unit.strays.pop(thing, None)

    # Helpers.

    def _at(self, address: str) -> str | None:
        """Who answers at ``address``: a device, somebody unknown (empty), or None."""
        if address in self.occupied:
            return ""
        for name, unit in self.units.items():
            if unit.address == address and unit.down_until <= self.now:
                return name if unit.cable == self._net(address) else None
        return None

    def _another(self, device: str, who: str, parts: frozenset[Part]) -> DeviceState:
        """What is read instead: of a device that is known, or of one just like the one meant."""
        if who not in ("", device):
            return told(self.units[who], parts)
        alike = told(self.units[device], parts)
        return replace(alike, identity=Identity(serial="SN-stranger", model="T-1"))

    def _net(self, address: str) -> str:
        network = self.site.network(address)
        return network.name if network is not None else ""

    def _hit(self, what: str, odds: float) -> bool:
        if odds <= 0 or self.chance.random() >= odds:
            return False
        self.counted[what] = self.counted.get(what, 0) + 1
        return True

    def _become(self, device: str, memory: Memory, cause: Cause) -> None:
        unit = self.units[device]
        before, unit.memory = unit.memory, memory
        change = Change(self.now, device, cause, before, memory)
        for observer in self._observers:
            observer.changed(change)

    def _tell_asked(self, step: Step, at: str) -> None:
        asked = Asked(self.now, step.device, at, "WRITE", step.id, "", "")
        for observer in self._observers:
            observer.asked(asked)
