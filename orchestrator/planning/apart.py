"""Parts of a facility that have nothing to do with each other: each can be planned by itself.

Numbers, groups and addresses belong to a network; whoever listens stands on the network of the
source; and a room is changed as a whole. So devices belong together that share a network or a
room, or of which one is to hear the other; all others do not.
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace

from orchestrator.facility.plan import Device
from orchestrator.planning.scene import Scene

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
    together = _Together()
    for name, device in scene.plan.devices.items():
        together.put(name, list(_ties(scene, device)))
    parts = together.parts(scene.plan.devices)
    return [_only(scene, names) for names in parts] if len(parts) > 1 else [scene]


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


def _ties(scene: Scene, device: Device) -> Iterator[tuple[str, str]]:
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
    # Of a device that did not answer it is the plan that says whom it hears.
    if device.name not in scene.states:
        for planned in device.destinations.values():
            if planned.listens_to is not None and planned.listens_to.source is not None:
                yield "device", planned.listens_to.source.device


class _Together:
    """Disjoint sets of devices and of what ties them, each by a leader (with path halving)."""

    def __init__(self) -> None:
        self.leader: dict[tuple[str, str], tuple[str, str]] = {}

    def put(self, device: str, ties: Sequence[tuple[str, str]]) -> None:
        """Put a device together with all that is tied to it."""
        own = self.find(("device", device))
        for tie in ties:
            self.leader[self.find(tie)] = own

    def find(self, one: tuple[str, str]) -> tuple[str, str]:
        """The leader of the set that ``one`` is in."""
        leader = self.leader
        leader.setdefault(one, one)
        while leader[one] != one:
            leader[one] = leader[leader[one]]
            one = leader[one]
        return one

    def parts(self, devices: Iterable[str]) -> list[list[str]]:
        """The devices by set, each set by its first."""
        found: dict[tuple[str, str], list[str]] = defaultdict(list)
        for device in devices:
            found[self.find(("device", device))].append(device)
        return list(found.values())
