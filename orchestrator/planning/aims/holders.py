"""Who holds what at the start: by the survey where a device answered, by the plan where not.

No answer is not vacant: a device that did not answer still owns its address and its numbers.
"""

from collections.abc import Iterator, Mapping

from orchestrator.facility.plan import Device, Ref
from orchestrator.planning.scene import Scene
from orchestrator.planning.things import Thing, each_thing, source_things

Holders = Mapping[Thing, tuple[str, ...]]


def holders(scene: Scene) -> Holders:
    """Map each thing that is held to its holders: ``device/source``, or ``device``."""
    held: dict[Thing, tuple[str, ...]] = {}
    for name, device in scene.plan.devices.items():
        pairs = _found(scene, name) if name in scene.states else _planned(scene, device)
        for thing, holder in pairs:
            others = held.get(thing)
            if others is None:
                held[thing] = (holder,)
            elif holder not in others:
                held[thing] = (*others, holder)
    return held


def _found(scene: Scene, name: str) -> Iterator[tuple[Thing, str]]:
    state = scene.states[name]
    networks = scene.networks_now[name]
    for network, interface in zip(networks, state.interfaces.values(), strict=True):
        if network is not None:
            yield ("address", network, interface.address), name
    for source, value in state.sources.items():
        holder = f"{name}/{source}"
        for thing in each_thing(networks, value.number, value.groups):
            yield thing, holder


def _planned(scene: Scene, device: Device) -> Iterator[tuple[Thing, str]]:
    networks = tuple(
        interface.network if not scene.plan.networks[interface.network].bench else None
        for interface in device.interfaces
    )
    for network, interface in zip(networks, device.interfaces, strict=True):
        if network is not None:
            yield ("address", network, interface.address), device.name
    for source in device.sources.values():
        for thing in source_things(networks, source.number, source.groups or ()):
            yield thing, str(Ref(device.name, source.name))
    for number in device.numbers:
        for thing in source_things(networks, number, ()):
            if not any(source.number == number for source in device.sources.values()):
                yield thing, device.name
