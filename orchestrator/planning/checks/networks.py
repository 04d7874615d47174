"""Networks: subnets, gateways, what is set aside, and how they number."""

from ipaddress import IPv4Network

from orchestrator.facility.numbering import Numbering
from orchestrator.facility.plan import AddressRange, Network, Plan
from orchestrator.planning.checks.common import PLAN, Path, Report, quad
from orchestrator.planning.checks.groups import unfit

# RFC 3021: on a link with a 31-bit prefix both addresses are hosts'; a /32 is its one host.
_NO_BROADCAST_FROM = 31
# What no host may have as its own address. RFC 1122 section 3.2.1.3 (a, b: network 0; c: limited
# broadcast), RFC 1112 section 4 (multicast and class E). Loopback is left alone: the example and
# rehearsals live there. The documentation networks of RFC 5737 are too: examples are made of them.
_NOT_FOR_HOSTS = tuple(IPv4Network(text) for text in ("0.0.0.0/8", "224.0.0.0/4", "240.0.0.0/4"))
# RFC 3927 section 1.6: not for addresses given by hand. A fresh unit on a bench may have one.
_LINK_LOCAL = IPv4Network("169.254.0.0/16")


def check_networks(plan: Plan, report: Report) -> None:
    """Check every network by itself, and that no two subnets overlap."""
    numbered: set[Numbering] = set()
    for network in plan.networks.values():
        path: Path = ("networks", network.name)
        _subnet(network, path, report)
        _gateway(network, path, report)
        for kind in ("keep_clear", "transit"):
            _set_aside(network, kind, path, report)
        rules = network.numbering
        if rules is not None and network.bench:
            what = f"network {network.name} is a bench, and a bench numbers nothing"
            report.add((PLAN, (*path, "numbering")), what, "remove 'numbering' or 'bench'")
        elif rules is not None and rules not in numbered:
            numbered.add(rules)
            _numbering(network.name, rules, (*path, "numbering"), report)
    _overlaps(plan, report)


def edge_words(network: Network, address: int) -> str | None:
    """What an address at the edge of its subnet is; None if a host may have it.

    RFC 1122 section 3.2.1.3, with RFC 3021 for 31-bit prefixes.
    """
    if network.subnet.prefixlen >= _NO_BROADCAST_FROM:
        return None
    if address == int(network.subnet.network_address):
        return "the network's own address"
    if address == int(network.subnet.broadcast_address):
        return "the network's broadcast address"
    return None


def _subnet(network: Network, path: Path, report: Report) -> None:
    where = (PLAN, (*path, "subnet"))
    for reserved in _NOT_FOR_HOSTS:
        if network.subnet.overlaps(reserved):
            what = f"{network.subnet} reaches into {reserved}, where no host can be"
            report.add(where, what, "write a subnet for hosts (RFC 1122 section 3.2.1.3)")
            return
    if network.subnet.overlaps(_LINK_LOCAL) and not network.bench:
        what = f"{network.subnet} is link-local: its addresses are not given by hand"
        report.add(where, what, "write a private subnet (RFC 1918), or mark it bench: true")


def _gateway(network: Network, path: Path, report: Report) -> None:
    if network.gateway is None:
        return
    address, where = int(network.gateway), (PLAN, (*path, "gateway"))
    if network.gateway not in network.subnet:
        what = f"gateway {network.gateway} is not on its own link {network.subnet}"
        report.add(where, what, f"write an address of {network.subnet}")
    elif edge := edge_words(network, address):
        report.add(where, f"gateway {network.gateway} is {edge}", "write a host's address")
    elif any(network.gateway in held for held in network.transit):
        what = f"gateway {network.gateway} is in transit, and could be lent to a device"
        report.add(where, what, "take it out of transit")


def _set_aside(network: Network, kind: str, path: Path, report: Report) -> None:
    ranges: tuple[AddressRange, ...] = getattr(network, kind)
    for index, held in enumerate(ranges):
        if held.first not in network.subnet or held.last not in network.subnet:
            what = f"{held} is not all inside {network.subnet}"
            fix = "keep it inside the network's subnet"
            report.add((PLAN, (*path, kind, index)), what, fix)


def _numbering(name: str, rules: Numbering, path: Path, report: Report) -> None:
    if rules.transit is not None and not (
        rules.transit.first in rules.numbers and rules.transit.last in rules.numbers
    ):
        what = f"transit numbers {rules.transit} are not all inside the range {rules.numbers}"
        report.add((PLAN, (*path, "transit")), what, "set aside numbers of the range")
    if rules.first_in_block >= rules.numbers_per_host:
        what = f"first_in_block {rules.first_in_block} leaves none of {rules.numbers_per_host}"
        where = (PLAN, (*path, "first_in_block"))
        report.add(where, f"{what} numbers on {name}", f"write 0 to {rules.numbers_per_host - 1}")
    _group_range(rules, path, report)


def _group_range(rules: Numbering, path: Path, report: Report) -> None:
    where = (PLAN, (*path, "group_range"))
    groups = rules.group_range
    base, size = int(groups.network_address), groups.num_addresses
    if size <= rules.numbers.last:
        what = f"{groups} holds {size} groups, too few for number {rules.numbers.last}"
        prefix = 32 - rules.numbers.last.bit_length()
        report.add(where, what, f"write a prefix length of {prefix} or less, or a shorter range")
        return
    why = unfit(base + rules.numbers.first, base + rules.numbers.last)
    if why is not None:
        last = quad(base + rules.numbers.last)
        what = f"numbers {rules.numbers} stream to {quad(base + rules.numbers.first)}-{last}: {why}"
        report.add(where, what, "write a range in 239.192.0.0/14 (RFC 2365 section 6.2)")


def _overlaps(plan: Plan, report: Report) -> None:
    """Each subnet that begins inside one before it, in the order of their first addresses."""
    widest: Network | None = None
    ordered = sorted(
        plan.networks.values(),
        key=lambda net: (int(net.subnet.network_address), net.subnet.prefixlen),
    )
    for network in ordered:
        if widest is not None and widest.subnet.overlaps(network.subnet):
            what = f"subnet {network.subnet} overlaps {widest.subnet} of {widest.name}"
            where = (PLAN, ("networks", network.name, "subnet"))
            report.add(where, what, "give each network addresses of its own")
            continue
        widest = network
