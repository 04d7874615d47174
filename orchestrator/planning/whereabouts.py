"""Which device of the plan each node is that was heard of, and whether it is where it should be."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import StrEnum

from orchestrator.facility.discovered import HeardOf
from orchestrator.facility.plan import Device, Plan
from orchestrator.facility.wanted import AskedDevice


class Place(StrEnum):
    """What a node that was heard of is to the plan."""

    AS_PLANNED = "as planned"
    ELSEWHERE = "elsewhere"
    NO_SERIAL = "address only"
    ANOTHER_UNIT = "another unit"
    UNKNOWN = "not in the plan"


@dataclass(frozen=True, slots=True)
class Whereabout:
    """One node, the device of the plan that it is or stands in the place of, and how."""

    node: HeardOf
    place: Place
    device: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Whereabouts:
    """Every node that was heard of, and the devices of the plan of which nobody spoke."""

    nodes: tuple[Whereabout, ...]
    unheard: tuple[str, ...]

    @property
    def as_planned(self) -> bool:
        """Whether each is where the plan has it, and nobody is missing or strange."""
        return not self.unheard and all(one.place is Place.AS_PLANNED for one in self.nodes)


def whereabouts(
    plan: Plan,
    asked: Mapping[str, AskedDevice],
    heard: Iterable[HeardOf],
    spoken_as: str = "nmos",
) -> Whereabouts:
    """Match nodes with the plan: by serial first, then by address.

    A device may also be where a playbook says that it is reached or is to go (``asked``). Only
    devices that speak ``spoken_as`` can be missing.
    """
    found = tuple(_whereabout(plan, asked, node) for node in heard)
    met = {one.device for one in found if one.place is not Place.ANOTHER_UNIT}
    unheard = tuple(
        name
        for name, device in plan.devices.items()
        if spoken_as in device.speaks and name not in met
    )
    return Whereabouts(nodes=found, unheard=unheard)


def _whereabout(plan: Plan, asked: Mapping[str, AskedDevice], node: HeardOf) -> Whereabout:
    serial = node.identity.serial
    known = next((one for one in plan.devices.values() if one.serial == serial), None)
    if known is not None:
        there = set(node.hosts) & _places(known, asked.get(known.name))
        return Whereabout(node, Place.AS_PLANNED if there else Place.ELSEWHERE, known.name)
    here = next((one for one in plan.devices.values() if set(node.hosts) & _places(one)), None)
    if here is None:
        return Whereabout(node, Place.UNKNOWN)
    return Whereabout(
        node, Place.NO_SERIAL if here.serial is None else Place.ANOTHER_UNIT, here.name
    )


def _places(device: Device, asked: AskedDevice | None = None) -> set[str]:
    """The addresses at which a device may be."""
    found = {interface.address for interface in device.interfaces}
    if asked is not None:
        found |= set(asked.addresses.values())
        found |= {asked.reach_at} if asked.reach_at is not None else set()
    return found
