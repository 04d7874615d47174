"""A facility that does steps one at a time, in any order allowed, and watches the rules itself.

It shares nothing with the planner or the proof: it knows the plan's networks, the devices as
found, and what each kind of step does. A step lands at some instant between its start and its
proof; what depends on it starts only after its proof.
"""

import random
from dataclasses import dataclass, field

from orchestrator.facility.found import DeviceState
from orchestrator.facility.step import AddressValue, Assigned, Hearing, Sequence, Step, StepKind
from orchestrator.facility.traits import Saves
from orchestrator.planning.scene import Scene

Holding = tuple[str, str, int | str]


@dataclass
class Unit:
    """One simulated device: what it runs on, and what it would boot with."""

    address: str
    sources: dict[str, Assigned]
    enabled: dict[str, bool]
    hears: dict[str, int | str | None]
    boots: tuple[str, dict[str, Assigned]] = ("", {})
    moved: bool = False

    def store(self) -> None:
        """Make what it runs on what it boots with."""
        self.boots = (self.address, dict(self.sources))


@dataclass
class Facility:
    """All units, and every broken rule seen so far."""

    scene: Scene
    units: dict[str, Unit] = field(default_factory=dict)
    broken: list[str] = field(default_factory=list)
    allowed: dict[tuple[str, str], set[tuple[str, str]]] = field(default_factory=dict)
    at_first: dict[Holding, set[str]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        """Stand every unit as it was found."""
        for name, state in self.scene.states.items():
            self.units[name] = _unit(state)
        for holding, owners in self._holdings().items():
            self.at_first[holding] = owners
        for name, unit in self.units.items():
            for key, pointer in unit.hears.items():
                heard = {
                    (other, source)
                    for other, far in self.units.items()
                    for source, value in far.sources.items()
                    if self.on(unit.address) and self.on(far.address) and _is(pointer, value)
                }
                asked = self.scene.asked.get(name)
                wish = asked.destinations.get(key) if asked else None
                if wish and wish.listens_to and wish.listens_to.source:
                    far_source = wish.listens_to.source
                    heard.add((far_source.device, far_source.name))
                self.allowed[name, key] = heard

    def on(self, address: str) -> bool:
        """Whether an address is one of the facility's, not a bench's."""
        return address.startswith("127.44.3.")

    def _holdings(self) -> dict[Holding, set[str]]:
        held: dict[Holding, set[str]] = {}
        for name, unit in self.units.items():
            for address, sources in ((unit.address, unit.sources), unit.boots):
                if not self.on(address) or not address:
                    continue
                held.setdefault(("address", "media", address), set()).add(name)
                for key, value in sources.items():
                    for thing in _things(value):
                        held.setdefault(thing, set()).add(f"{name}/{key}")
        return held

    def check(self, step: Step) -> None:
        """Look at the whole facility, now."""
        for holding, owners in self._holdings().items():
            if len(owners) > 1 and not owners <= self.at_first.get(holding, set()):
                devices = {owner.split("/")[0] for owner in owners}
                if len(devices) == 1 and self._runs_apart(next(iter(devices))):
                    continue
                self.broken.append(f"H1/H2 {holding} held by {sorted(owners)} at {step.id}")
        for (name, key), meant in self.allowed.items():
            unit = self.units[name]
            if not self.on(unit.address):
                continue
            for other, far in self.units.items():
                for source, value in far.sources.items():
                    audible = far.enabled[source] and self.on(far.address)
                    if audible and _is(unit.hears[key], value) and (other, source) not in meant:
                        self.broken.append(f"H8 {name}/{key} hears {other}/{source} at {step.id}")

    def _runs_apart(self, name: str) -> bool:
        """A unit boots all at once: only what it runs on can clash within it."""
        things = [t for value in self.units[name].sources.values() for t in _things(value)]
        return len(things) == len(set(things)) or any(
            len(owners) > 1 for owners in self.at_first.values()
        )

    def land(self, step: Step) -> None:
        """Do what ``step`` does, and look."""
        unit = self.units[step.device]
        wanted = step.wanted
        if step.kind is StepKind.DISABLE and step.source:
            unit.enabled[step.source] = False
        elif step.kind is StepKind.ENABLE and step.source:
            unit.enabled[step.source] = True
        elif step.kind is StepKind.RENUMBER and step.source and isinstance(wanted, Assigned):
            if unit.enabled[step.source]:
                self.broken.append(f"H3 {step.id}")
            if unit.moved and self.on(unit.address):
                self.broken.append(f"H4 {step.id}")
            unit.sources[step.source] = wanted
        elif step.kind is StepKind.REPOINT and step.destination and isinstance(wanted, Hearing):
            number = wanted.number
            unit.hears[step.destination] = number if number is not None else wanted.group
        elif step.kind is StepKind.READDRESS and isinstance(wanted, AddressValue):
            if any(unit.enabled.values()):
                self.broken.append(f"H4 {step.id}")
            unit.address = wanted.address
            unit.moved = True
        saves = self.scene.traits[step.device].saves
        if step.kind is StepKind.SAVE or saves is Saves.AT_ONCE:
            unit.store()
        self.check(step)


def _unit(state: DeviceState) -> Unit:
    unit = Unit(
        address=next(iter(state.interfaces.values())).address,
        sources={key: Assigned(s.number, s.groups) for key, s in state.sources.items()},
        enabled={key: s.enabled for key, s in state.sources.items()},
        hears={key: d.hears for key, d in state.destinations.items()},
    )
    unit.store()
    return unit


def _things(value: Assigned) -> list[Holding]:
    things: list[Holding] = []
    if value.number is not None:
        things.append(("number", "media", value.number))
    things.extend(("group", "media", group) for group in value.groups if group is not None)
    return things


def _is(pointer: int | str | None, value: Assigned) -> bool:
    return pointer is not None and (pointer == value.number or pointer in value.groups)


def run(scene: Scene, sequence: Sequence, seed: int) -> Facility:
    """Do the whole sequence in a random order that it allows; steps side by side may overlap."""
    rng = random.Random(seed)
    facility = Facility(scene)
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
