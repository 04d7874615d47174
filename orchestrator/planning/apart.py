"""Parts of a facility that have nothing to do with each other: each can be planned by itself.

Numbers, groups and addresses belong to a network; whoever listens stands on the network of the
source; and a room is changed as a whole. So devices belong together that share a network or a
room, or of which one is to hear the other; all others do not.
"""

from collections.abc import Iterator, Sequence
from dataclasses import replace

from orchestrator.facility.plan import Device
from orchestrator.planning.scene import Scene
from orchestrator.planning.scheduling.sets import leader_of

Tie = tuple[str, str]
"""What ties devices: a room, a network, or a device itself, and its name."""

MANY = 2000
"""From so many devices on that are to be changed, parts are planned apart: it takes less memory."""


def apart(scene: Scene, many: int = MANY) -> list[Scene]:
    """The scene, in parts that can be planned one after another; the whole, if it is not large.

    A scene also stays whole where more than its networks ties it together: by an order of rooms
    that was asked for, or by a device that has to save before anything is taken anywhere.
    """
    tied = scene.phases or scene.unsaved or scene.save_first
    if len(scene.asked) < many or tied or scene.found.devices.keys() - scene.plan.devices.keys():
        return [scene]
    leader: dict[Tie, Tie] = {}
    for name, device in scene.plan.devices.items():
        own = _leader(leader, ("device", name))
        for tie in _ties(scene, device):
            leader[_leader(leader, tie)] = own
    parts: dict[Tie, list[str]] = {}
    for name in scene.plan.devices:
        parts.setdefault(leader_of(leader, ("device", name)), []).append(name)
    return [_only(scene, names) for names in parts.values()] if len(parts) > 1 else [scene]


def _leader(leader: dict[Tie, Tie], one: Tie) -> Tie:
    """The leader of ``one``; itself, if it was not met before."""
    leader.setdefault(one, one)
    return leader_of(leader, one)


def _only(scene: Scene, names: Sequence[str]) -> Scene:
    return replace(
        scene,
        plan=scene.plan.only(names),
        found=replace(
            scene.found,
            devices={
                name: scene.found.devices[name] for name in names if name in scene.found.devices
            },
        ),
        asked={name: scene.asked[name] for name in names if name in scene.asked},
    )


def _ties(scene: Scene, device: Device) -> Iterator[Tie]:
    """What ties a device to others: its room, its networks now and then, whom it is to hear."""
    yield "room", device.room
    networks = {interface.network for interface in device.interfaces}
    networks.update(net for net in scene.networks_now.get(device.name, ()) if net is not None)
    asked = scene.asked.get(device.name)
    if asked is not None:
        addresses = [*asked.addresses.values(), *[exact[0] for exact in asked.exact.values()]]
        networks.update(net for net in map(scene.network_at, addresses) if net is not None)
        for wish in asked.destinations.values():
            if wish.listens_to is not None and wish.listens_to.source is not None:
                yield "device", wish.listens_to.source.device
    for network in networks:
        if not scene.plan.networks[network].bench:
            yield "network", network
    # Of a device that did not answer it is the plan that says whom it hears; on air, perhaps too.
    if device.name not in scene.states or any(
        ref.device == device.name for ref in scene.plan.on_air
    ):
        for planned in device.destinations.values():
            if planned.listens_to is not None and planned.listens_to.source is not None:
                yield "device", planned.listens_to.source.device
