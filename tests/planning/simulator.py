"""A facility that does steps one at a time, in any order allowed, and watches the rules itself.

It shares nothing with the planner or the proof: it knows the plan's networks, the devices as
found, and what each kind of step does. A step lands at some instant between its start and its
proof; what depends on it starts only after its proof. A device does one step at a time.
"""

import random
from collections.abc import Iterator
from dataclasses import dataclass, field
from ipaddress import ip_address

from orchestrator.facility.found import DeviceState
from orchestrator.facility.step import AddressValue, Assigned, Hearing, Sequence, Step, StepKind
from orchestrator.facility.traits import Saves
from orchestrator.planning.scene import Scene

Holding = tuple[str, str, int | str]


@dataclass
class Unit:
    """One simulated device: what it runs on, and what it would boot with."""

    addresses: dict[str, str]
    sources: dict[str, Assigned]
    enabled: dict[str, bool]
    hears: dict[str, int | str | None]
    boots: tuple[dict[str, str], dict[str, Assigned]] = field(default_factory=lambda: ({}, {}))
    moved: bool = False

    def store(self) -> None:
        """Make what it runs on what it boots with."""
        self.boots = (dict(self.addresses), dict(self.sources))

    def copy(self) -> "Unit":
        """A unit that stands as this one does."""
        boots = (dict(self.boots[0]), dict(self.boots[1]))
        return Unit(
            dict(self.addresses),
            dict(self.sources),
            dict(self.enabled),
            dict(self.hears),
            boots,
            self.moved,
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
        return facility

    def _plan_says(self, holding: Holding, owner: str) -> None:
        if holding[1]:
            self.absent.setdefault(holding, set()).add(owner)

    def _meant(self, sequence: Sequence) -> None:
        last = {name: unit.copy() for name, unit in self.units.items()}
        for step in in_turn(sequence):
            do(last[step.device], step)
        for name, unit in self.units.items():
            for key, pointer in unit.hears.items():
                heard = set(self._heard(self.units, name, pointer))
                asked = self.scene.asked.get(name)
                wish = asked.destinations.get(key) if asked else None
                if wish and wish.listens_to and wish.listens_to.source:
                    heard.add((wish.listens_to.source.device, wish.listens_to.source.name))
                elif wish and wish.listens_to:
                    heard |= set(self._heard(last, name, last[name].hears[key]))
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

    def _heard(
        self, units: dict[str, Unit], name: str, pointer: int | str | None
    ) -> Iterator[tuple[str, str]]:
        kind = "number" if isinstance(pointer, int) else "group"
        mine = {self.net(address) for address in units[name].addresses.values()} - {""}
        for other, far in units.items():
            for source, value in far.sources.items():
                held = set(self._things(far.addresses, value))
                if pointer is not None and any((kind, net, pointer) in held for net in mine):
                    yield (other, source)

    def holdings(self) -> dict[Holding, dict[str, set[str]]]:
        """Who holds what: a thing to owners, each with how (``runs``, ``boots``)."""
        held: dict[Holding, dict[str, set[str]]] = {}
        for holding, owners in self.absent.items():
            held[holding] = {owner: {"runs", "boots"} for owner in owners}
        for name, unit in self.units.items():
            ways = (("runs", unit.addresses, unit.sources), ("boots", *unit.boots))
            for how, addresses, sources in ways:
                for address in addresses.values():
                    if net := self.net(address):
                        here = held.setdefault(("address", net, address), {})
                        here.setdefault(name, set()).add(how)
                for key, value in sources.items():
                    for thing in self._things(addresses, value):
                        held.setdefault(thing, {}).setdefault(f"{name}/{key}", set()).add(how)
        return held

    def check(self, step: Step) -> None:
        """Look at the whole facility, now."""
        held = self.holdings()
        for holding, owners in held.items():
            if len(owners) > 1:
                self._one_owner(holding, owners, step)
        for holding, first in self.since_start.items():
            first &= set(held.get(holding, {}))
        for (name, key), meant in self.allowed.items():
            for other, source in self._heard(self.units, name, self.units[name].hears[key]):
                if self.units[other].enabled[source] and (other, source) not in meant:
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
        self.check(step)

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
    waiting = {step.id: step for step in sequence.steps}
    flying: list[Step] = []
    landed: list[Step] = []
    proved: set[str] = set()
    while waiting or flying or landed:
        phase = min((step.phase for step in [*waiting.values(), *flying, *landed]), default=0)
        busy = {step.device for step in [*flying, *landed]}
        ready = [
            step
            for step in waiting.values()
            if step.phase == phase and proved.issuperset(step.after) and step.device not in busy
        ]
        choices = [("start", s) for s in ready]
        choices += [("land", s) for s in flying] + [("prove", s) for s in landed]
        if not choices:
            facility.broken.append("stuck")
            break
        action, step = rng.choice(choices)
        if action == "start":
            del waiting[step.id]
            flying.append(step)
        elif action == "land":
            flying.remove(step)
            facility.land(step)
            landed.append(step)
        else:
            landed.remove(step)
            proved.add(step.id)
    return facility


def explore(scene: Scene, sequence: Sequence, most: int = 20_000) -> list[str] | None:
    """Every broken rule in every order that the sequence allows.

    An unproved step may have landed or not, so both ways that an interrupted write can go are
    among the states seen.

    Returns:
        What was broken (stopping at the first), or None where there are more than ``most`` states.
    """
    steps = {step.id: step for step in sequence.steps}
    start = Facility.of(scene, sequence)
    seen: set[tuple[frozenset[str], frozenset[str], frozenset[str], str]] = set()
    stack: list[tuple[frozenset[str], frozenset[str], frozenset[str], Facility]] = [
        (frozenset(), frozenset(), frozenset(), start)
    ]
    while stack:
        proved, flying, landed, facility = stack.pop()
        key = (proved, flying, landed, "".join(u.key() for u in facility.units.values()))
        if key in seen:
            continue
        seen.add(key)
        if len(seen) > most:
            return None
        open_ones = set(steps) - proved
        phase = min((steps[name].phase for name in open_ones), default=0)
        busy = {steps[name].device for name in flying | landed}
        for name in open_ones:
            step = steps[name]
            if name in flying:
                after = facility.copy()
                after.land(step)
                if after.broken:
                    return after.broken
                stack.append((proved, flying - {name}, landed | {name}, after))
            elif name in landed:
                stack.append((proved | {name}, flying, landed - {name}, facility))
            elif step.phase == phase and proved.issuperset(step.after) and step.device not in busy:
                stack.append((proved, flying | {name}, landed, facility))
    return []
