"""The differences between as found and wanted, one setting at a time."""

from collections.abc import Iterator, Mapping

from orchestrator.facility.change import Change
from orchestrator.facility.found import DeviceState
from orchestrator.facility.step import AddressValue, Assigned, Hearing
from orchestrator.planning.scene import Scene


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
        old = now.interfaces[interface]
        if old.address != value.address:
            yield Change(
                device=name,
                room=room,
                setting="address",
                as_found=AddressValue(interface, old.address, old.prefix, old.gateway),
                wanted=AddressValue(interface, value.address, value.prefix, value.gateway),
            )
    for setting, wish in then.settings.items():
        if now.settings[setting] != wish:
            yield Change(
                device=name,
                room=room,
                setting=setting,
                as_found=now.settings[setting],
                wanted=wish,
            )
    yield from _sources(name, room, now, then)
    for destination, target in then.destinations.items():
        was = now.destinations[destination].hears
        if was != target.hears:
            yield Change(
                device=name,
                room=room,
                setting="listens_to",
                as_found=hearing(was),
                wanted=hearing(target.hears),
                destination=destination,
            )


def _sources(name: str, room: str, now: DeviceState, then: DeviceState) -> Iterator[Change]:
    for source, wish in then.sources.items():
        was = now.sources[source]
        if wish is was or wish == was:
            continue
        if (was.number, was.groups) != (wish.number, wish.groups):
            yield Change(
                device=name,
                room=room,
                setting="number",
                as_found=Assigned(was.number, was.groups),
                wanted=Assigned(wish.number, wish.groups),
                source=source,
            )
        for setting, old, new in (
            ("label", was.label, wish.label),
            ("enabled", was.enabled, wish.enabled),
        ):
            if old != new:
                yield Change(
                    device=name,
                    room=room,
                    setting=setting,
                    as_found=old,
                    wanted=new,
                    source=source,
                )
