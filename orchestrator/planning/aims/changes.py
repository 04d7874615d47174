"""The differences between as found and wanted, one setting at a time."""

from collections.abc import Iterator, Mapping

from orchestrator.facility.change import Change
from orchestrator.facility.found import DeviceState
from orchestrator.facility.quick import maker
from orchestrator.facility.step import AddressValue, Assigned, Hearing
from orchestrator.planning.scene import Scene

_change, _assigned = maker(Change), maker(Assigned)


def hearing(pointer: int | str | None) -> Hearing:
    """A destination's pointer as a step's value."""
    if isinstance(pointer, int):
        return Hearing(number=pointer)
    return Hearing(group=pointer)


def changes(scene: Scene, wanted: Mapping[str, DeviceState]) -> tuple[Change, ...]:
    """All changes, in the plan's order of devices; what already is as wanted gives none."""
    return tuple(
        change
        for name in scene.plan.devices
        if name in scene.states and wanted[name] is not scene.states[name]
        for change in _device(name, scene.room_of(name), scene.states[name], wanted[name])
    )


def _device(name: str, room: str, now: DeviceState, then: DeviceState) -> Iterator[Change]:
    for interface, value in then.interfaces.items():
        was = now.interfaces[interface]
        if was.address != value.address:
            here = AddressValue(interface, was.address, was.prefix, was.gateway)
            there = AddressValue(interface, value.address, value.prefix, value.gateway)
            yield _change(name, room, "address", here, there, None, None)
    for setting, wish in then.settings.items():
        if now.settings[setting] != wish:
            yield _change(name, room, setting, now.settings[setting], wish, None, None)
    yield from _sources(name, room, now, then)
    for destination, target in then.destinations.items():
        heard = now.destinations[destination].hears
        if heard != target.hears:
            old, new = hearing(heard), hearing(target.hears)
            yield _change(name, room, "listens_to", old, new, None, destination)


def _sources(name: str, room: str, now: DeviceState, then: DeviceState) -> Iterator[Change]:
    for source, wish in then.sources.items():
        was = now.sources[source]
        if wish is was:
            continue
        if was.number != wish.number or was.groups != wish.groups:
            old, new = _assigned(was.number, was.groups), _assigned(wish.number, wish.groups)
            yield _change(name, room, "number", old, new, source, None)
        if was.label != wish.label:
            yield _change(name, room, "label", was.label, wish.label, source, None)
        if was.enabled != wish.enabled:
            yield _change(name, room, "enabled", was.enabled, wish.enabled, source, None)
