"""Addresses: each held once, inside its network, and none that is set aside."""

from orchestrator.facility.plan import Device, Interface, Network, Plan
from orchestrator.planning.checks.common import PLAN, Origins, Path, Report, quad, whole
from orchestrator.planning.checks.networks import edge_words

# A device, and the document and path that its address comes from.
Held = tuple[str, tuple[str, Path]]


def check_addresses(plan: Plan, origins: Origins, report: Report) -> None:
    """Check every interface of ``plan``, as it is or as it is wanted."""
    holders: dict[int, list[Held]] = {}
    for device in plan.devices.values():
        joined: dict[str, str] = {}
        for interface in device.interfaces:
            network = plan.networks.get(interface.network)
            if network is None:
                continue
            where = origins.where(device.name, "interfaces", interface.name, "address")
            if interface.network in joined:
                what = f"{device.name} has two interfaces in {network.subnet}: "
                what += f"{joined[interface.network]} and {interface.name}"
                report.add(where, what, "put each interface on a network of its own")
            joined[interface.network] = interface.name
            address = whole(interface.address)
            wrong = _misplaced(network, address)
            if wrong is not None:
                what = f"{_named(device, interface)} at {interface.address}: {wrong[0]}"
                report.add(where, what, wrong[1])
            elif not network.bench:
                holders.setdefault(address, []).append((device.name, where))
    for address, held in holders.items():
        _held_twice(address, held, report)


def _held_twice(address: int, held: list[Held], report: Report) -> None:
    """Told where it stands second; what a playbook asks for comes after what the plan has."""
    first, *others = sorted(held, key=lambda one: one[1][0] != PLAN)
    for device, where in others:
        if device != first[0]:
            what = f"{quad(address)} is held twice: by {first[0]} and by {device}"
            report.add(where, what, "give one of them an address of its own")


def _named(device: Device, interface: Interface) -> str:
    return f"{device.name}/{interface.name}" if len(device.interfaces) > 1 else device.name


def _misplaced(network: Network, address: int) -> tuple[str, str] | None:
    """What is wrong with a device at ``address`` of ``network``, and the fix; None: nothing."""
    first = int(network.subnet.network_address)
    if not first <= address < first + network.subnet.num_addresses:
        what = f"that is outside {network.subnet}, the subnet of {network.name}"
        return what, f"write an address of {network.subnet}, or name another network"
    edge = edge_words(network, address)
    if edge is not None:
        return f"that is {edge} (RFC 1122 section 3.2.1.3)", "write a host's address"
    if network.gateway is not None and address == int(network.gateway):
        return f"that is the gateway of {network.name}", "give the device another address"
    for kind, ranges in (("keep_clear", network.keep_clear), ("transit", network.transit)):
        for held in ranges:
            if int(held.first) <= address <= int(held.last):
                fix = "give the device an address outside it"
                return f"that is in {kind} {held} of {network.name}", fix
    return None
