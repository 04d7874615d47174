"""A facility that does steps one at a time, in any order allowed, and watches the rules itself.

It shares nothing with the planner or the proof: it knows the plan's networks, the devices as
found, and what each kind of step does. A step lands at some instant between its start and its
proof; what depends on it starts only after its proof. A device does one step at a time.
"""

import random
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from ipaddress import ip_address

from orchestrator.facility.found import DeviceState
from orchestrator.facility.step import AddressValue, Assigned, Hearing, Sequence, Step, StepKind
from orchestrator.facility.traits import Saves
from orchestrator.planning.scene import Scene
from tests.planning.watching import Watch

Holding = tuple[str, str, int | str]
Held = dict[Holding, dict[str, set[str]]]


@dataclass
class Memory:
    """All that a device keeps: for what it runs on, and once more for what it boots with."""

    addresses: dict[str, str] = field(default_factory=dict)
    sources: dict[str, Assigned] = field(default_factory=dict)
    enabled: dict[str, bool] = field(default_factory=dict)
    hears: dict[str, int | str | None] = field(default_factory=dict)

    def copied(self) -> "Memory":
        """The same once more."""
        return Memory(
            dict(self.addresses), dict(self.sources), dict(self.enabled), dict(self.hears)
        )


@dataclass
class Unit(Memory):
    """One simulated device: what it runs on, and what it would boot with."""

    boots: Memory = field(default_factory=Memory)
    moved: bool = False

    def store(self) -> None:
        """Make what it runs on what it boots with."""
        self.boots = self.copied()

    def in_way(self, way: str) -> Memory:
        """What it runs on, or what it boots with."""
        return self if way == "runs" else self.boots

    def copy(self) -> "Unit":
        """A unit that stands as this one does."""
        own = self.copied()
        return Unit(
            own.addresses, own.sources, own.enabled, own.hears, self.boots.copied(), self.moved
        )

    def key(self) -> str:
        """The same text for units that stand alike."""
        return repr(self)


@dataclass
class Facility:
    """All units, and every broken rule seen so far."""

    scene: Scene
    units: dict[str, Unit] = field(default_factory=dict)
    broken: list[str] = field(default_factory=list)
    allowed: dict[tuple[str, str], set[tuple[str, str]]] = field(default_factory=dict)
    since_start: dict[Holding, set[str]] = field(default_factory=dict)
    absent: dict[Holding, set[str]] = field(default_factory=dict)
    nets: dict[str, str] = field(default_factory=dict)
    known: dict[str, tuple[tuple[Holding, str, str], ...]] = field(default_factory=dict)
    watch: Watch | None = None

    @classmethod
    def of(cls, scene: Scene, sequence: Sequence) -> "Facility":
        """Every unit as it was found, and whom each destination may hear."""
        facility = cls(scene)
        for name, device in scene.plan.devices.items():
            state = scene.states.get(name)
            if state is not None:
                facility.units[name] = _unit(state)
                continue
            for leg, interface in enumerate(device.interfaces):
                net = facility.net(interface.address)
                facility._plan_says(("address", net, interface.address), name)
                for key, source in device.sources.items():
                    facility._plan_says(("number", net, source.number or 0), f"{name}/{key}")
                    for group in (source.groups or ())[leg : leg + 1]:
                        facility._plan_says(("group", net, group), f"{name}/{key}")
                for number in device.numbers:
                    facility._plan_says(("number", net, number), name)
        for holding, owners in facility.holdings().items():
            facility.since_start[holding] = set(owners)
        facility._meant(sequence)
        facility.watch = Watch.of(scene, facility._on_air())
        return facility

    def _on_air(self) -> frozenset[tuple[str, str]]:
        """The destinations listed as on air, and the sources that feed them now."""
        held = self.holdings()
        found = {(ref.device, ref.name) for ref in self.scene.plan.on_air}
        for name, key in tuple(found):
            if name in self.units:
                found |= set(self._heard(held, name, self.units[name].hears[key]))
                continue
            planned = self.scene.plan.devices[name].destinations.get(key)
            if planned and planned.listens_to and planned.listens_to.source:
                found.add((planned.listens_to.source.device, planned.listens_to.source.name))
        return frozenset(found)

    def _plan_says(self, holding: Holding, owner: str) -> None:
        if holding[1]:
            self.absent.setdefault(holding, set()).add(owner)

    def _meant(self, sequence: Sequence) -> None:
        last = self.copy()
        for step in in_turn(sequence):
            do(last.units[step.device], step)
        last.known.clear()
        now, then = self.holdings(), last.holdings()
        for name, unit in self.units.items():
            for key, pointer in unit.hears.items():
                heard = set(self._heard(now, name, pointer))
                asked = self.scene.asked.get(name)
                wish = asked.destinations.get(key) if asked else None
                if wish and wish.listens_to and wish.listens_to.source:
                    heard.add((wish.listens_to.source.device, wish.listens_to.source.name))
                elif wish and wish.listens_to:
                    heard |= set(last._heard(then, name, last.units[name].hears[key]))
                self.allowed[name, key] = heard

    def net(self, address: str) -> str:
        """The facility's network of an address; empty on a bench."""
        if address not in self.nets:
            self.nets[address] = next(
                (
                    network.name
                    for network in self.scene.plan.networks.values()
                    if not network.bench and ip_address(address) in network.subnet
                ),
                "",
            )
        return self.nets[address]

    def _things(self, addresses: dict[str, str], value: Assigned) -> Iterator[Holding]:
        for leg, address in enumerate(addresses.values()):
            net = self.net(address)
            if net and value.number is not None:
                yield ("number", net, value.number)
            if net and leg < len(value.groups) and (group := value.groups[leg]) is not None:
                yield ("group", net, group)

    def _heard(self, held: Held, name: str, pointer: int | str | None) -> Iterator[tuple[str, str]]:
        if pointer is None:
            return
        kind = "number" if isinstance(pointer, int) else "group"
        for net in {self.net(address) for address in self.units[name].addresses.values()} - {""}:
            for owner, how in held.get((kind, net, pointer), {}).items():
                device, _, source = owner.partition("/")
                if source and "runs" in how:
                    yield device, source

    def _audible(self, held: Held, name: str, key: str, way: str) -> Iterator[tuple[str, str]]:
        """The sources on the air where a destination points, in what its device runs or boots with.

        Any other device may have lost its power too; a device boots all at once.
        """
        memory = self.units[name].in_way(way)
        pointer = memory.hears[key]
        if pointer is None:
            return
        kind = "number" if isinstance(pointer, int) else "group"
        for net in {self.net(address) for address in memory.addresses.values()} - {""}:
            for owner, how in held.get((kind, net, pointer), {}).items():
                other, _, source = owner.partition("/")
                ways = how & {way} if other == name else how
                unit = self.units.get(other)
                if unit and source and any(unit.in_way(w).enabled[source] for w in ways):
                    yield other, source

    def holdings(self) -> Held:
        """Who holds what: a thing to owners, each with how (``runs``, ``boots``)."""
        held: Held = {
            holding: {owner: {"runs", "boots"} for owner in owners}
            for holding, owners in self.absent.items()
        }
        for name in self.units:
            if name not in self.known:
                self.known[name] = tuple(self._of_unit(name))
            for holding, owner, how in self.known[name]:
                held.setdefault(holding, {}).setdefault(owner, set()).add(how)
        return held

    def _of_unit(self, name: str) -> Iterator[tuple[Holding, str, str]]:
        unit = self.units[name]
        ways = (
            ("runs", unit.addresses, unit.sources),
            ("boots", unit.boots.addresses, unit.boots.sources),
        )
        for how, addresses, sources in ways:
            for address in addresses.values():
                if net := self.net(address):
                    yield ("address", net, address), name, how
            for key, value in sources.items():
                for thing in self._things(addresses, value):
                    yield thing, f"{name}/{key}", how

    def check(self, step: Step) -> None:
        """Look at the whole facility, now."""
        held = self.holdings()
        for holding, owners in held.items():
            if len(owners) > 1:
                self._one_owner(holding, owners, step)
        for holding, first in self.since_start.items():
            if len(first) > 1:
                first &= set(held.get(holding, {}))
        for (name, key), meant in self.allowed.items():
            for way in ("runs", "boots"):
                for other, source in self._audible(held, name, key, way):
                    if (other, source) not in meant:
                        self.broken.append(f"H8 {name}/{key} hears {other}/{source} at {step.id}")

    def _one_owner(self, holding: Holding, owners: dict[str, set[str]], step: Step) -> None:
        """A duplicate that was there is not our doing; a unit boots all at once."""
        names = sorted(owners)
        first = self.since_start.get(holding, set())
        for place, one in enumerate(names):
            for other in names[place + 1 :]:
                same = one.split("/")[0] == other.split("/")[0]
                if {one, other} <= first or (same and not owners[one] & owners[other]):
                    continue
                rule = "H1/H2" if "runs" in owners[one] & owners[other] else "H9"
                self.broken.append(f"{rule} {holding} held by {one}, {other} at {step.id}")

    def land(self, step: Step) -> None:
        """Do what ``step`` does, and look."""
        if self.watch is not None:
            self.broken += self.watch.land(step)
        unit = self.units[step.device]
        in_facility = any(self.net(address) for address in unit.addresses.values())
        if step.kind is StepKind.RENUMBER and step.source and unit.enabled[step.source]:
            self.broken.append(f"H3 {step.id} renumbers {step.subject} while enabled")
        touches = step.kind in {StepKind.RENUMBER, StepKind.DISABLE} or (
            step.kind is StepKind.SET and step.source is not None
        )
        if touches and unit.moved and in_facility:
            self.broken.append(f"H4 {step.id} comes after a readdress")
        if step.kind is StepKind.READDRESS and any(unit.enabled.values()):
            self.broken.append(f"H4 {step.id} readdresses {step.device} while enabled")
        do(unit, step)
        if step.kind is StepKind.ENABLE and step.source:
            self._not_on_transit(unit, step)
        if self.scene.traits[step.device].saves is Saves.AT_ONCE:
            unit.store()
        self.known.pop(step.device, None)
        self.check(step)

    def over(self) -> "Facility":
        """Look once more, when every step is proved."""
        self.broken += self.watch.over() if self.watch is not None else ()
        return self

    def _not_on_transit(self, unit: Unit, step: Step) -> None:
        number = unit.sources[step.source or ""].number
        for address in unit.addresses.values():
            network = self.scene.plan.networks.get(self.net(address))
            if network is None:
                continue
            lent = network.numbering.transit if network.numbering else None
            here = any(ip_address(address) in run for run in network.transit)
            if here or (lent is not None and number in lent):
                self.broken.append(f"H4 {step.id} enables {step.subject} on transit")

    def copy(self) -> "Facility":
        """A facility that stands as this one does; what may be heard is shared."""
        return Facility(
            self.scene,
            {name: unit.copy() for name, unit in self.units.items()},
            list(self.broken),
            self.allowed,
            {holding: set(owners) for holding, owners in self.since_start.items()},
            self.absent,
            self.nets,
            dict(self.known),
            self.watch and self.watch.copy(),
        )


def do(unit: Unit, step: Step) -> None:
    """What a step does to a unit, rules or no rules."""
    wanted = step.wanted
    if step.kind is StepKind.DISABLE and step.source:
        unit.enabled[step.source] = False
    elif step.kind is StepKind.ENABLE and step.source:
        unit.enabled[step.source] = True
    elif step.kind is StepKind.RENUMBER and step.source and isinstance(wanted, Assigned):
        unit.sources[step.source] = wanted
    elif step.kind is StepKind.REPOINT and step.destination and isinstance(wanted, Hearing):
        unit.hears[step.destination] = wanted.group if wanted.number is None else wanted.number
    elif step.kind is StepKind.READDRESS and isinstance(wanted, AddressValue):
        unit.addresses[wanted.interface] = wanted.address
        unit.moved = True
    elif step.kind is StepKind.SAVE:
        unit.store()


def _unit(state: DeviceState) -> Unit:
    unit = Unit(
        addresses={key: value.address for key, value in state.interfaces.items()},
        sources={key: Assigned(s.number, s.groups) for key, s in state.sources.items()},
        enabled={key: s.enabled for key, s in state.sources.items()},
        hears={key: d.hears for key, d in state.destinations.items()},
    )
    unit.store()
    return unit


def in_turn(sequence: Sequence) -> Iterator[Step]:
    """The steps one after another, in one order that the sequence allows."""
    waiting = {step.id: step for step in sequence.steps}
    done: set[str] = set()
    while waiting:
        phase = min(step.phase for step in waiting.values())
        ready = [s for s in waiting.values() if s.phase == phase and done.issuperset(s.after)]
        if not ready:
            return
        step = ready[0]
        del waiting[step.id]
        done.add(step.id)
        yield step


def run(scene: Scene, sequence: Sequence, seed: int) -> Facility:
    """Do the whole sequence in a random order that it allows; steps side by side may overlap."""
    rng = random.Random(seed)
    facility = Facility.of(scene, sequence)
    at = Instant.first(sequence)
    while at.unproved or at.flying:
        choices = list(at.choices())
        if not choices:
            facility.broken.append("stuck")
            break
        action, step = rng.choice(choices)
        if action == "land":
            facility.land(step)
        at = at.then(action, step)
    return facility.over()


@dataclass(frozen=True)
class Instant:
    """How far a run is: which steps are proved, which were sent, and which of those landed.

    A readdress counts as done once it was accepted; the device may move at any time until its
    confirm finds it there.
    """

    steps: dict[str, Step] = field(hash=False)
    proved: frozenset[str] = frozenset()
    flying: frozenset[str] = frozenset()
    landed: frozenset[str] = frozenset()

    @classmethod
    def first(cls, sequence: Sequence) -> "Instant":
        """Before the first step."""
        return cls({step.id: step for step in sequence.steps})

    @property
    def unproved(self) -> list[str]:
        """The steps that are not proved, in the sequence's order."""
        return [name for name in self.steps if name not in self.proved]

    def choices(self) -> Iterator[tuple[str, Step]]:
        """What may happen next."""
        phase = min((self.steps[name].phase for name in self.unproved), default=0)
        sent = (self.flying | self.landed) - self.proved
        busy = {self.steps[name].device for name in sent}
        away = {
            self.steps[name].device
            for name in self.flying
            if self.steps[name].kind is StepKind.READDRESS
        }
        for name, step in self.steps.items():
            if name in self.flying:
                if step.kind is not StepKind.CONFIRM or step.device not in away:
                    yield "land", step
                if step.kind is StepKind.READDRESS and name not in self.proved:
                    yield "prove", step
            elif name in self.landed:
                yield "prove", step
            elif name in self.proved or step.phase != phase or step.device in busy:
                continue
            elif self.proved.issuperset(step.after):
                yield "start", step

    def then(self, action: str, step: Step) -> "Instant":
        """The instant after that."""
        name = frozenset({step.id})
        if action == "start":
            return replace(self, flying=self.flying | name)
        if action == "prove":
            return replace(self, proved=self.proved | name, landed=self.landed - name)
        landed = self.landed if step.id in self.proved else self.landed | name
        return replace(self, flying=self.flying - name, landed=landed)


def explore(scene: Scene, sequence: Sequence, most: int = 20_000) -> list[str] | None:
    """Every broken rule in every order that the sequence allows.

    An unproved step may have landed or not, so both ways that an interrupted write can go are
    among the states seen.

    Returns:
        What was broken (stopping at the first), or None where there are more than ``most`` states.
    """
    seen: set[tuple[frozenset[str], frozenset[str], frozenset[str], str]] = set()
    stack = [(Instant.first(sequence), Facility.of(scene, sequence))]
    while stack:
        at, facility = stack.pop()
        units = "".join(unit.key() for unit in facility.units.values())
        units += str(sorted(facility.watch.unsure)) if facility.watch is not None else ""
        key = (at.proved, at.flying, at.landed, units)
        if key in seen:
            continue
        seen.add(key)
        if len(seen) > most:
            return None
        if not at.unproved and not at.flying and facility.over().broken:
            return facility.broken
        for action, step in at.choices():
            after = facility
            if action == "land":
                after = facility.copy()
                after.land(step)
                if after.broken:
                    return after.broken
            stack.append((at.then(action, step), after))
    return []
