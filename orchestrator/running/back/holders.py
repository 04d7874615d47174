"""Who holds each number and group: the sources, by network."""

from collections.abc import Mapping, Sequence
from ipaddress import IPv4Network
from itertools import product

from orchestrator.facility.found import AsFound, DeviceState, Found
from orchestrator.facility.plan import Ref
from orchestrator.running.view import networks

Holders = Mapping[tuple[IPv4Network, int | str], Sequence[Ref]]


def holders_of(states: Mapping[str, DeviceState]) -> Holders:
    """The sources that hold each number and group, by network."""
    found: dict[tuple[IPv4Network, int | str], list[Ref]] = {}
    for device, state in states.items():
        for net, (name, source) in product(networks(state), state.sources.items()):
            for figure in dict.fromkeys((source.number, *source.groups)):
                if figure is not None:
                    found.setdefault((net, figure), []).append(Ref(device, name))
    return found


def states_of(found: AsFound) -> dict[str, DeviceState]:
    """The state of every device that was found."""
    entries = found.devices.items()
    return {name: entry.state for name, entry in entries if isinstance(entry, Found)}
