"""The plan as it will be once every playbook is done."""

from collections.abc import Iterable
from dataclasses import replace

from orchestrator.facility.plan import (
    Device,
    Interface,
    Plan,
    PlannedDestination,
    PlannedSource,
)
from orchestrator.facility.wanted import AskedDestination, AskedDevice, AskedSource, Auto, Playbook
from orchestrator.planning.checks.common import numbering_of, whole


def as_wanted(plan: Plan, playbooks: Iterable[Playbook]) -> Plan:
    """The plan with all that the playbooks ask laid over it.

    A number left to ``auto`` is not known yet and stands as None. Devices that the plan does not
    have are passed over.
    """
    devices = dict(plan.devices)
    for playbook in playbooks:
        for name, asked in playbook.devices.items():
            if name in devices:
                devices[name] = _device(plan, devices[name], asked)
    return replace(plan, devices=devices)


def _device(plan: Plan, device: Device, asked: AskedDevice) -> Device:
    interfaces = tuple(_interface(plan, item, asked) for item in device.interfaces)
    if not interfaces and asked.addresses:
        room = plan.rooms.get(device.room)
        usual = room.network if room else ""
        interfaces = tuple(
            _interface(plan, Interface(name, usual, address), asked)
            for name, address in asked.addresses.items()
        )
    moved = replace(device, interfaces=interfaces)
    sources = dict(device.sources)
    for name, source in asked.sources.items():
        sources[name] = _source(plan, device, sources.get(name, PlannedSource(name=name)), source)
    destinations = dict(device.destinations)
    for name, destination in asked.destinations.items():
        planned = destinations.get(name, PlannedDestination(name=name))
        destinations[name] = _destination(planned, destination)
    return replace(
        moved,
        blocks=device.blocks if asked.blocks is None else asked.blocks,
        numbers=device.numbers if asked.numbers is None else asked.numbers,
        sources=sources,
        destinations=destinations,
    )


def _interface(plan: Plan, interface: Interface, asked: AskedDevice) -> Interface:
    """An interface at its wanted address, on the network that the address belongs to."""
    address = asked.addresses.get(interface.name)
    if address is None:
        return interface
    where = whole(address)
    networks = sorted(plan.networks.values(), key=lambda net: net.name != interface.network)
    for network in networks:
        first = int(network.subnet.network_address)
        if not network.bench and first <= where < first + network.subnet.num_addresses:
            return Interface(interface.name, network.name, address, interface.slot)
    return replace(interface, address=address)


def _source(
    plan: Plan, device: Device, planned: PlannedSource, asked: AskedSource
) -> PlannedSource:
    number, groups = planned.number, planned.groups
    if asked.number is not None:
        number = None if isinstance(asked.number, Auto) else asked.number
        if asked.number is Auto.UNASSIGNED or _by_number(plan, device, planned):
            groups = None
    return replace(
        planned,
        number=number,
        groups=groups if asked.groups is None else asked.groups,
        label=planned.label if asked.label is None else asked.label,
        enabled=planned.enabled if asked.enabled is None else asked.enabled,
    )


def _by_number(plan: Plan, device: Device, planned: PlannedSource) -> bool:
    """Whether a source's groups are those of its number, so that they follow a new one."""
    if planned.groups is None:
        return True
    if planned.number is None or not device.interfaces:
        return False
    rules = numbering_of(plan, device.interfaces[0].network)
    if rules is None or not rules.has_group(planned.number):
        return False
    return set(planned.groups) == {rules.group(planned.number)}


def _destination(planned: PlannedDestination, asked: AskedDestination) -> PlannedDestination:
    return planned if asked.listens_to is None else replace(planned, listens_to=asked.listens_to)
