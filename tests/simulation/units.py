"""Simulated units in the terms of the simulated world, and what a step does to one.

A unit keeps what ``mocks`` keeps of a device (what runs, what is saved, an address on its way), so
that the same referee judges both. Of the tool only its words for values are known here.
"""

from dataclasses import dataclass, field, replace

from mocks.state import Destination, Lan, Memory, Source, State
from orchestrator.facility.found import (
    DestinationState,
    DeviceState,
    Identity,
    InterfaceState,
    SourceState,
)
from orchestrator.facility.step import AddressValue, Assigned, Hearing, Step, StepKind
from orchestrator.running.protocols import Part

MAIN = "main"
Thing = tuple[str, str]
"""One value of a device: what sort of value, and whose."""


@dataclass
class Unit:
    """One device: what it holds, how it behaves, and what is wrong with it for now.

    ``keeps``: each change is saved at once. ``tells``: it can say whether it is all saved.
    ``cable``: the network that its cable is on. ``late_s``, ``settle_s``: its traits.
    ``strays``: values that something else than the run changed, and the run has not set since.
    """

    identity: Identity
    memory: Memory
    keeps: bool
    tells: bool
    cable: str
    late_s: float
    settle_s: float
    reboots_on: frozenset[str] = frozenset()
    down_until: float = 0.0
    strays: dict[Thing, str] = field(default_factory=dict)

    @property
    def address(self) -> str:
        """Where it stands."""
        return self.memory.running.lan.address


def state_of(found: DeviceState) -> State:
    """What a device as found runs on."""
    lan = found.interfaces[MAIN]
    return State(
        lan=Lan(lan.address, lan.prefix, lan.gateway),
        sources={
            name: Source(one.number or 0, one.groups[0] or "", one.label, one.enabled)
            for name, one in found.sources.items()
        },
        destinations={name: _destination(one.hears) for name, one in found.destinations.items()},
        settings={name: int(value) for name, value in found.settings.items()},
    )


def _destination(hears: int | str | None) -> Destination:
    if isinstance(hears, str):
        return Destination(group=hears)
    return Destination(number=hears or 0)


def told(unit: Unit, parts: frozenset[Part]) -> DeviceState:
    """What a unit says of itself; parts not asked for stand empty."""
    running = unit.memory.running
    lan = running.lan
    unsaved = running != unit.memory.saved if unit.tells else None
    return DeviceState(
        identity=unit.identity,
        interfaces={
            MAIN: InterfaceState(address=lan.address, prefix=lan.prefix, gateway=lan.gateway)
        }
        if Part.INTERFACES in parts
        else {},
        sources={name: _source(one) for name, one in running.sources.items()}
        if Part.SOURCES in parts
        else {},
        destinations={
            name: DestinationState(hears=one.number or one.group or None)
            for name, one in running.destinations.items()
        }
        if Part.DESTINATIONS in parts
        else {},
        settings=dict(running.settings) if Part.SETTINGS in parts else {},
        unsaved=unsaved if Part.UNSAVED in parts else None,
    )


def _source(one: Source) -> SourceState:
    return SourceState(
        number=one.number or None,
        groups=(one.group or None,),
        label=one.label,
        enabled=one.enabled,
    )


_SORTS = {
    StepKind.DISABLE: "enabled",
    StepKind.ENABLE: "enabled",
    StepKind.RENUMBER: "number",
    StepKind.REPOINT: "hears",
    StepKind.SET: "setting",
    StepKind.READDRESS: "address",
}


def thing_of(step: Step) -> Thing | None:
    """The value that a step writes; None for one that writes none."""
    sort = _SORTS.get(step.kind)
    if sort is None:
        return None
    if sort == "setting" and step.source is not None:
        return ("label", step.source)
    return (sort, step.source or step.destination or step.setting or "")


def value_in(state: State, thing: Thing) -> object:
    """What ``state`` holds of ``thing``."""
    sort, name = thing
    match sort:
        case "enabled":
            return state.sources[name].enabled
        case "number":
            return (state.sources[name].number, state.sources[name].group)
        case "label":
            return state.sources[name].label
        case "hears":
            there = state.destinations[name]
            return (there.number, there.group)
        case "setting":
            return state.settings[name]
        case _:
            return state.lan


def things(state: State) -> tuple[Thing, ...]:
    """All values that a state holds."""
    return (
        *((sort, name) for name in state.sources for sort in ("enabled", "number", "label")),
        *(("hears", name) for name in state.destinations),
        *(("setting", name) for name in state.settings),
        ("address", ""),
    )


def put_back(state: State, thing: Thing, other: State) -> State:
    """``state`` with what it holds of ``thing`` as ``other`` has it."""
    sort, name = thing
    match sort:
        case "enabled":
            enabled = other.sources[name].enabled
            return state.with_source(name, replace(state.sources[name], enabled=enabled))
        case "number":
            one = other.sources[name]
            was = state.sources[name]
            return state.with_source(name, replace(was, number=one.number, group=one.group))
        case "label":
            label = other.sources[name].label
            return state.with_source(name, replace(state.sources[name], label=label))
        case "hears":
            return state.with_destination(name, other.destinations[name])
        case "setting":
            return state.with_settings(**{name: other.settings[name]})
        case _:
            return replace(state, lan=other.lan)


def done(state: State, step: Step) -> State:
    """``state`` once ``step`` is done to it."""
    if step.source is not None:
        return state.with_source(step.source, _source_done(state.sources[step.source], step))
    match step.wanted:
        case Hearing(number=number, group=group) if step.destination is not None:
            there = Destination(number=number or 0, group=group or "")
            return state.with_destination(step.destination, there)
        case AddressValue(address=address, prefix=prefix, gateway=gateway):
            if step.kind is StepKind.READDRESS:
                return replace(state, lan=Lan(address, prefix, gateway))
            return state
        case int(value) if step.setting is not None:
            return state.with_settings(**{step.setting: value})
        case _:
            return state


def _source_done(source: Source, step: Step) -> Source:
    match step.wanted:
        case bool(enabled):
            return replace(source, enabled=enabled)
        case Assigned(number=number, groups=groups):
            group = (groups[0] or "") if groups else source.group
            return replace(source, number=number or 0, group=group)
        case str(label):
            return replace(source, label=label)
        case _:
            return source
