"""Addresses: each held once, inside its network, and none that is set aside."""

from orchestrator.facility.plan import Device, Interface, Network, Plan
from orchestrator.planning.checks_common import Origins, Report, whole
from orchestrator.planning.checks_networks import edge_words


def check_addresses(plan: Plan, origins: Origins, report: Report) -> None:
    """Check every interface of ``plan``, as it is or as it is wanted."""
    holders: dict[int, str] = {}
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
                other = holders.setdefault(address, device.name)
                if other != device.name:
                    what = f"{interface.address} is held twice: by {other} and by {device.name}"
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
