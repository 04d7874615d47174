"""What is vacant by the record: places for new devices, and numbers left in a device's own blocks.

A place is a host part whose address nobody has and whose whole block of numbers, where the network
numbers sources, nobody owns or holds. The plan as it is and the plan as the playbooks want it both
count: what one of them gives to somebody is not vacant. What the record does not know of may be
there all the same.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from ipaddress import IPv4Address

from orchestrator.facility.numbering import Numbering, NumberRange
from orchestrator.facility.plan import Device, Network, Plan
from orchestrator.facility.wanted import Playbook
from orchestrator.planning.aims.ownership import auto_numbers
from orchestrator.planning.aims.ownership import own_numbers as numbers_of_blocks
from orchestrator.planning.checks.common import legs, own_blocks
from orchestrator.planning.checks.wanted import as_wanted
from orchestrator.planning.scene import merge

SMALLEST_WITH_BROADCAST = 30
"""Up to this prefix length a subnet's ends are no hosts (RFC 1122 3.2.1.3; RFC 3021 for /31)."""

Run = tuple[int, int]
"""Host parts from the first to the last, both included."""


@dataclass(frozen=True, slots=True)
class Place:
    """Host parts in a row that are vacant: the first and last address, and all their numbers."""

    network: str
    first: str
    last: str
    hosts: int
    numbers: NumberRange | None


@dataclass(frozen=True, slots=True)
class Own:
    """What is left in one device's own blocks, for its next sources."""

    device: str
    network: str
    numbers: tuple[int, ...]


def places(plan: Plan, playbooks: Iterable[Playbook], at_least: int = 1) -> tuple[Place, ...]:
    """The vacant places of every network of the facility, in order.

    ``at_least``: how many host parts in a row a device needs (one block each).
    """
    both = (plan, as_wanted(plan, playbooks))
    found: list[Place] = []
    for network in plan.networks.values():
        if network.bench:
            continue
        busy = [run for each in both for run in _busy(each, network)]
        for first, last in _gaps(busy, network.subnet.num_addresses):
            if last - first + 1 >= at_least:
                found.append(_place(network, first, last))
    return tuple(found)


def own_numbers(plan: Plan, playbooks: Sequence[Playbook]) -> tuple[Own, ...]:
    """For each device that owns blocks, the numbers for sources in them that no source holds.

    Those that playbooks leave to ``auto`` are held too: the same documents always give the same.
    """
    wanted = as_wanted(plan, playbooks)
    taken = {(net, n) for each in (plan, wanted) for net, n in _held(each)}
    for name, asked in merge(tuple(playbooks)).items():
        if name in plan.devices:
            automatic = auto_numbers(plan, plan.devices[name], asked).values()
            taken.update((net, n) for net in legs(wanted, wanted.devices[name]) for n in automatic)
    found: list[Own] = []
    for device in wanted.devices.values():
        for name in legs(wanted, device):
            rules = wanted.networks[name].numbering
            blocks = own_blocks(wanted, device)
            if rules is not None and blocks:
                left = (n for n in numbers_of_blocks(rules, blocks) if (name, n) not in taken)
                found.append(Own(device.name, name, tuple(left)))
    return tuple(found)


def _place(network: Network, first: int, last: int) -> Place:
    base = network.subnet.network_address
    rules = network.numbering
    numbers = NumberRange(rules.block(first).first, rules.block(last).last) if rules else None
    return Place(network.name, str(base + first), str(base + last), last - first + 1, numbers)


def _held(plan: Plan) -> Iterator[tuple[str, int]]:
    """Every number that somebody holds or lists, by network."""
    for device in plan.devices.values():
        for name in legs(plan, device):
            rules = plan.networks[name].numbering
            for number in _numbers(device, rules):
                yield name, number


def _numbers(device: Device, rules: Numbering | None) -> Iterator[int]:
    yield from device.numbers
    for source in device.sources.values():
        if source.number is not None:
            yield source.number
        for group in source.groups or ():
            number = rules.number_of(group) if rules is not None else None
            if number is not None:
                yield number


def _busy(plan: Plan, network: Network) -> Iterator[Run]:
    """Host parts that are not vacant, in runs."""
    subnet, base = network.subnet, int(network.subnet.network_address)
    if subnet.prefixlen <= SMALLEST_WITH_BROADCAST:
        yield 0, 0
        yield subnet.num_addresses - 1, subnet.num_addresses - 1
    if network.gateway is not None:
        yield _host(network.gateway, base), _host(network.gateway, base)
    for aside in (*network.keep_clear, *network.transit):
        yield _host(aside.first, base), _host(aside.last, base)
    for device in plan.devices.values():
        for interface in device.interfaces:
            if interface.network == network.name:
                host = _host(IPv4Address(interface.address), base)
                yield host, host
    if network.numbering is not None:
        yield from _numbered(plan, network, network.numbering)


def _host(address: IPv4Address, base: int) -> int:
    return int(address) - base


def _numbered(plan: Plan, network: Network, rules: Numbering) -> Iterator[Run]:
    """Host parts whose blocks are out of range, set aside, owned, or held in part."""
    size, numbers = rules.numbers_per_host, rules.numbers
    yield -1, -(-numbers.first // size) - 1
    yield (numbers.last + 1) // size, network.subnet.num_addresses
    if rules.transit is not None:
        yield rules.transit.first // size, rules.transit.last // size
    for device in plan.devices.values():
        if network.name in legs(plan, device):
            for block in own_blocks(plan, device):
                yield block, block
    for name, number in _held(plan):
        if name == network.name:
            yield number // size, number // size


def _gaps(busy: Iterable[Run], count: int) -> Iterator[Run]:
    """What is left of the host parts from 0 to ``count`` - 1."""
    free = 0
    for first, last in sorted(busy):
        if first > free:
            yield free, min(first, count) - 1
        free = max(free, last + 1)
        if free >= count:
            return
    if free < count:
        yield free, count - 1
