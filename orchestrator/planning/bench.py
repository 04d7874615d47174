"""Bringing up units on a bench: which there are, and whether the way to them is the only one.

A fresh unit answers at its factory address, often the same for every unit of its make. So each is
alone on a cable, and what is sent to that address must not be able to go anywhere else:

- exactly one interface of this computer has an address on the bench's subnet, and it is not the
  unit's own;
- its mask reaches into no network of the facility;
- no other interface has a route to the bench's subnet, and no gateway stands on it: what a
  computer sends by default would go there.

A bench on this computer's own loopback network (RFC 1122, section 3.2.1.3) is no cable: nothing
else can be behind it.
"""

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from ipaddress import IPv4Address, IPv4Network

from orchestrator.facility.computer import Computer
from orchestrator.facility.plan import Device, Network, Plan
from orchestrator.facility.wanted import AskedDevice

_LOOPBACK = IPv4Network("127.0.0.0/8")
_EVERYTHING = IPv4Network("0.0.0.0/0")


@dataclass(frozen=True, slots=True, kw_only=True)
class BenchUnit:
    """A unit that joins from a bench: where it answers until then, and where it goes."""

    device: Device
    asked: AskedDevice
    bench: Network
    reach_at: str

    @property
    def name(self) -> str:
        """Its name in the plan."""
        return self.device.name


@dataclass(frozen=True, slots=True)
class Amiss:
    """Something about this computer's network that must be put right first, and how."""

    what: str
    fix: str


def bench_units(plan: Plan, asked: Mapping[str, AskedDevice]) -> tuple[BenchUnit, ...]:
    """The units that playbooks reach on a bench, in the order in which playbooks name them."""
    return tuple(
        BenchUnit(device=plan.devices[name], asked=wish, bench=network, reach_at=wish.reach_at)
        for name, wish in asked.items()
        if wish.reach_at is not None
        and (network := plan.network_of(wish.reach_at)) is not None
        and network.bench
    )


def own_address(bench: Network, units: Collection[BenchUnit]) -> IPv4Address | None:
    """An address on the bench for this computer: its last one that no unit and no gateway has."""
    taken = {unit.reach_at for unit in units} | {str(bench.gateway)}
    hosts = bench.subnet.num_addresses
    edge = 1 if hosts > 2 else 0  # noqa: PLR2004 - RFC 3021: a /31 has no edges
    for place in range(hosts - 1 - edge, edge - 1, -1):
        address = bench.subnet[place]
        if str(address) not in taken:
            return address
    return None


def is_own_loopback(bench: Network) -> bool:
    """Whether the bench is on this computer itself."""
    return bench.subnet.subnet_of(_LOOPBACK)


def amiss(unit: BenchUnit, computer: Computer, plan: Plan) -> tuple[Amiss, ...]:
    """What has to be put right on this computer before ``unit`` is spoken to."""
    if is_own_loopback(unit.bench):
        return ()
    return tuple(dict.fromkeys((*_interfaces(unit, computer, plan), *_routes(unit, computer))))


def _interfaces(unit: BenchUnit, computer: Computer, plan: Plan) -> Iterator[Amiss]:
    subnet = unit.bench.subnet
    on_it = [one for one in computer.attached if one.address.ip in subnet]
    over_it = [one for one in computer.attached if one.address.network.overlaps(subnet)]
    if not on_it:
        own = own_address(unit.bench, (unit,))
        yield Amiss(
            f"no interface of this computer has an address on {subnet}",
            f"give the one on the bench cable {own} with prefix length {subnet.prefixlen}, and no "
            "gateway",
        )
    for one in on_it:
        if str(one.address.ip) == unit.reach_at:
            yield Amiss(
                f"this computer has {unit.reach_at} itself, on {one.interface}",
                f"give {one.interface} another address of {subnet}",
            )
    names = list(dict.fromkeys(one.interface for one in over_it))
    if len(names) > 1:
        yield Amiss(
            f"there is more than one way to {subnet}: by {' and by '.join(names)}",
            "leave the one on the bench cable, and take the others down or change their address",
        )
    for network in plan.networks.values():
        wide = [one for one in on_it if one.address.network.overlaps(network.subnet)]
        if wide and network.name != unit.bench.name:
            yield Amiss(
                f"{wide[0].interface} has {wide[0].address}, which reaches into "
                f"{network.subnet}, the network {network.name}",
                f"give it prefix length {subnet.prefixlen}",
            )


def _routes(unit: BenchUnit, computer: Computer) -> Iterator[Amiss]:
    subnet = unit.bench.subnet
    own = {one.interface for one in computer.attached if one.address.ip in subnet}
    for route in computer.routes or ():
        if route.gateway is not None and route.gateway in subnet:
            kind = (
                "the default gateway" if route.to == _EVERYTHING else f"the gateway to {route.to}"
            )
            yield Amiss(
                f"{kind}, {route.gateway}, is on the bench's subnet, by {route.interface}",
                f"take the route away; {route.interface} needs no gateway",
            )
        elif route.to == _EVERYTHING and route.interface in own:
            yield Amiss(
                f"what has no other way leaves by {route.interface}, the interface on the bench",
                "take that default route away",
            )
        elif route.to != _EVERYTHING and route.to.overlaps(subnet) and route.interface not in own:
            yield Amiss(
                f"there is a second way to {subnet}: a route to {route.to} by {route.interface}",
                "take that route away",
            )
