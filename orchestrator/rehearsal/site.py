"""The simulated network: what becomes of each operation of a run, and how long it takes.

A request arrives half-way through its time; a readdressed unit answers nobody until it has
settled. A bench is a cable to one unit, so what is spoken to there is always the unit meant.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from random import Random

from orchestrator.facility.found import DestinationState, SourceState
from orchestrator.facility.step import Hearing, Sequence, Step, StepKind
from orchestrator.facility.traits import Effect
from orchestrator.rehearsal.holdings import Holdings
from orchestrator.rehearsal.judge import Judge
from orchestrator.rehearsal.premises import Premises
from orchestrator.rehearsal.silences import Silences
from orchestrator.rehearsal.troubles import BUSY_S, Troubles, taken
from orchestrator.rehearsal.unit import Unit
from orchestrator.running.events import Failure
from orchestrator.running.operations import (
    Accepted,
    Answers,
    Nobody,
    Outcome,
    Probe,
    Read,
    ReadFailed,
    Refused,
    Saw,
    Stranger,
    Unsure,
    Vacant,
    Write,
)
from orchestrator.running.rehearsed import Fault, Trouble

TIMEOUT_S = 5.0
"""Seconds after which a request counts as not answered, where nothing says otherwise."""

READ_TRIES, READ_S = 3, 10.0
"""How often a read is repeated by the layer that sends it, and for how many seconds at most."""

PROBE_S = 1.0
"""Seconds that a look at an address takes at which nobody answers."""

REQUESTS_OF_A_READ = 2
"""Who it is, and the part that the step is about."""

FOREVER = float("inf")

Held = SourceState | DestinationState


@dataclass
class Landing:
    """A write on its way: what it does, and when."""

    step: Step
    unit: Unit
    at: float


@dataclass
class Site:
    """Every unit of the survey, on a virtual clock, under ``faults``."""

    premises: Premises
    faults: tuple[Fault, ...]
    chance: Random
    now: float = 0.0
    landings: list[Landing] = field(default_factory=list)

    def __post_init__(self) -> None:
        premises = self.premises
        self.units: Mapping[str, Unit] = {
            name: Unit(name, found, premises.traits[name]) for name, found in premises.units.items()
        }
        self.holdings = Holdings(premises, self.units)
        self.judge = Judge(premises, self.holdings, self.units)
        self.silences = Silences(self.holdings, self.units)
        self.troubles = Troubles(self.faults, premises.sequence, self.chance)
        self.intruders = taken(self.faults, premises.sequence)
        self._busy_until: dict[str, float] = {}
        self._gone: dict[str, Unit] = {}
        self._by_another: list[tuple[Unit, str, Held, Held]] = []

    # time

    def next_change(self) -> float:
        """When something happens that no operation brings about; infinite if nothing will."""
        back = (unit.away_until for unit in self._gone.values())
        landing = (one.at for one in self.landings)
        return min((*back, *landing), default=FOREVER)

    def pass_to(self, when: float) -> None:
        """Let time pass, and happen what is due."""
        while (then := self.next_change()) <= when:
            self.now = max(self.now, then)
            due = sorted((one for one in self.landings if one.at <= self.now), key=lambda o: o.at)
            self.landings = [one for one in self.landings if one.at > self.now]
            for one in due:
                self._land(one)
            for unit in [one for one in self._gone.values() if not one.away(self.now)]:
                self._back(unit)
        self.now = max(self.now, when)

    def calm(self) -> None:
        """The trouble is over: who was away is back, what another hand changed is put back."""
        self.troubles.calm()
        self.intruders = {}
        self._busy_until.clear()
        for unit in tuple(self._gone.values()):
            unit.away_until = self.now
            self._back(unit)
        for unit, name, before, theirs in self._by_another:
            now = unit.running.sources.get(name, unit.running.destinations.get(name))
            if _meant_so(self.premises.sequence, unit, name, theirs):
                continue  # the run has found it as it is to be
            if now is not None and (back := _put_back(now, before, theirs)) is not None:
                self._set(unit, name, back)
        self._by_another.clear()

    # operations: how long, then what came of it

    def takes(self, operation: Read | Write | Probe) -> float:
        """How long ``operation`` takes from now, in seconds."""
        unit = self._meant(operation.step)
        if isinstance(operation, Probe):
            answers = self._who(operation.step, operation.at) is not None
            return self._pace(unit) if answers else PROBE_S
        longest = self._timeout(unit)
        there = self._who(operation.step, operation.at) is not None
        if isinstance(operation, Read):
            pace = min(longest, REQUESTS_OF_A_READ * self._pace(unit))
            return pace if there else self._until_back(unit, operation.at, longest) + pace
        save = operation.step.kind is StepKind.SAVE
        sent = min(longest, self._pace(unit)) + (unit.traits.save_s if save else 0.0)
        return sent if there else longest

    def _until_back(self, unit: Unit, at: str, longest: float) -> float:
        """How long a read is tried at an address where nobody answers yet."""
        most = min(READ_S, READ_TRIES * longest)
        if unit.address != at or unit.away_until - self.now > most:
            return most
        return unit.away_until - self.now + self.chance.random() * min(1.0, longest)

    def _timeout(self, unit: Unit) -> float:
        return self.premises.timeouts.get(unit.name, TIMEOUT_S)

    def _pace(self, unit: Unit) -> float:
        spread = self.chance.uniform(0.8, 1.25) * (5 if self.chance.random() < 0.01 else 1)  # noqa: PLR2004 - our own choice
        return unit.response_s * spread * self.troubles.slower(unit.name)

    def read(self, operation: Read) -> Outcome:
        """What a read finds."""
        step, device = operation.step, operation.step.device
        self._strike(self._meant(step))
        unit = self._who(step, operation.at)
        lost = any(self.troubles.lost(device, each) for each in _LOSSES)
        if operation.at in self.intruders.values() and unit is None:
            return Stranger("a unit that no survey found answers")
        if unit is None or (lost and self.chance.random() < _STILL_LOST):
            return Nobody("no answer")
        if unit.name != device:
            return Stranger(f"{unit.running.identity} answers")
        if self._busy(device):
            return ReadFailed(Failure.BUSY, "it says that it is busy")
        self.judge.read(step, unit)
        return Saw(unit.running)

    def write(self, operation: Write, took: float) -> Outcome:
        """Let a write arrive, or not; ``took``: seconds from its start until now."""
        step, device = operation.step, operation.step.device
        unit = self._who(step, operation.at)
        for one in operation.steps:
            self.judge.sent(one, unit)
        meant = self._meant(step)
        self._strike(meant)
        if unit is None or meant.away(self.now):
            return Refused(Failure.UNREACHABLE, "no connection")
        if self._busy(device):
            return Refused(Failure.BUSY, "it says that it is busy")
        if self.troubles.lost(device, Trouble.LOSES_REQUESTS):
            return Unsure("no answer")
        late = self.troubles.suffers(device, Trouble.APPLIES_LATE) and not _unseen(step, unit)
        after = self.chance.uniform(0.0, unit.traits.late_s) * 0.95 if late else 0.0
        self.landings += [Landing(one, unit, self.now + after) for one in operation.steps]
        self.pass_to(self.now)
        silent = took >= self._timeout(unit) or self.troubles.lost(device, Trouble.LOSES_ANSWERS)
        return Unsure("no answer") if silent else Accepted()

    def probe(self, operation: Probe) -> Outcome:
        """What a look at an address finds."""
        there = self._who(operation.step, operation.at)
        taken_now = operation.at in self.intruders.values()
        return (
            Answers("something takes connections") if there is not None or taken_now else Vacant()
        )

    # what happens to units

    def _land(self, one: Landing) -> None:
        unit, step = one.unit, one.step
        if unit.away(self.now):
            return  # it was on its way when the unit went
        self.judge.lands(step, unit)
        before = unit.address
        unit.do(step)
        if unit.address != before:
            self._go(unit, self._settling(unit), silent=False)
        elif step.kind is StepKind.SET and _effect(unit, step) is Effect.REBOOTS:
            self._go(unit, self._settling(unit))
            unit.restarted_by(step)
            self.judge.rebooted(unit)
        self._look(unit, because=step.id)

    def _strike(self, asked: Unit) -> None:
        for fault in self.troubles.asked(asked.name):
            unit = self.units[fault.device]
            match fault.trouble:
                case Trouble.BUSY:
                    self._busy_until[unit.name] = self.now + self.chance.uniform(*BUSY_S)
                case Trouble.OTHER_HAND:
                    self._another_hand(unit)
                case Trouble.GOES_AWAY:
                    self._go(unit, FOREVER)
                case _:
                    self._reboot(unit)

    def _reboot(self, unit: Unit) -> None:
        self._go(unit, self._settling(unit))
        unit.reboot()
        self.judge.rebooted(unit)
        self._look(unit, because=f"{unit.name} restarted")

    def _settling(self, unit: Unit) -> float:
        return self.chance.uniform(0.3, 1.0) * unit.traits.settle_s

    def _go(self, unit: Unit, seconds: float, *, silent: bool = True) -> None:
        """``unit`` answers nobody for so long; what was on its way to it is lost."""
        self.landings = [one for one in self.landings if one.unit is not unit]
        unit.away_until = self.now + seconds
        unit.silent = silent
        self._gone[unit.name] = unit
        self._look(unit)

    def _back(self, unit: Unit) -> None:
        del self._gone[unit.name]
        unit.silent = False
        self._look(unit, because=f"{unit.name} is back")

    def _another_hand(self, unit: Unit) -> None:
        """Somebody gives a source a number that is nobody's, or points a destination at nothing."""
        sources, destinations = unit.running.sources, unit.running.destinations
        name = self.chance.choice([*sources, *destinations] or [""])
        if name in sources:
            number = 1_000_000 + self.chance.randrange(1000)
            nobodys = tuple(None for _ in sources[name].groups)
            theirs: Held = replace(sources[name], number=number, groups=nobodys)
            self._by_another.append((unit, name, sources[name], theirs))
            self._set(unit, name, theirs)
        elif name in destinations:
            theirs = replace(destinations[name], hears=None)
            self._by_another.append((unit, name, destinations[name], theirs))
            self._set(unit, name, theirs)

    def _set(self, unit: Unit, name: str, held: Held) -> None:
        state = unit.running
        if isinstance(held, SourceState):
            unit.change(replace(state, sources={**state.sources, name: held}))
        else:
            unit.change(replace(state, destinations={**state.destinations, name: held}))
        self._look(unit, because="another hand", own=False)

    def _look(self, unit: Unit, because: str = "", *, own: bool = True) -> None:
        things = self.judge.changed(unit, because, own=own)
        self.silences.look(unit, things, self.now)

    # who is where

    def _meant(self, step: Step) -> Unit:
        return self.units[step.device]

    def _who(self, step: Step, at: str) -> Unit | None:
        """The unit that answers at an address now."""
        if self.holdings.network(at) is None:
            unit = self._meant(step)
            return unit if unit.address == at and not unit.away(self.now) else None
        for owner in self.holdings.owners(("address", self.holdings.network(at) or "", at)):
            unit = self.units.get(owner) or self._meant(step)
            if unit.address == at and not unit.away(self.now):
                return unit
        return None

    def _busy(self, device: str) -> bool:
        return self.now < self._busy_until.get(device, 0.0)


_LOSSES = (Trouble.LOSES_REQUESTS, Trouble.LOSES_ANSWERS)
_STILL_LOST = 1 / 9
"""A read is repeated twice by the layer below; each try is lost as often as the first."""


def _meant_so(sequence: Sequence, unit: Unit, name: str, theirs: Held) -> bool:
    """Whether what another hand set a destination to is what the run is to point it at."""
    return isinstance(theirs, DestinationState) and any(
        step.kind is StepKind.REPOINT
        and (step.device, step.destination) == (unit.name, name)
        and step.wanted == Hearing()
        and theirs.hears is None
        for step in sequence.steps
    )


def _put_back(now: Held, before: Held, theirs: Held) -> Held | None:
    """What was set by another hand as it was before; None where the run has set it since.

    Of a source only its number and groups: the run may have switched it off since, or on.
    """
    match now, before, theirs:
        case SourceState(), SourceState(), SourceState() if now.number == theirs.number:
            return replace(now, number=before.number, groups=before.groups)
        case _:
            return before if now == theirs else None


def _unseen(step: Step, unit: Unit) -> bool:
    """A save that can't be read back: nobody could know that it comes later than its yes."""
    return step.kind is StepKind.SAVE and unit.running.unsaved is None


def _effect(unit: Unit, step: Step) -> Effect:
    if step.source is not None or step.destination is not None:
        return Effect.NONE
    return unit.traits.effects.get(step.setting or "", Effect.NONE)
