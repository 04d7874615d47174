"""Channel numbers and groups: each held once on a network, in range, and by its owner."""

from collections import defaultdict
from dataclasses import dataclass, field

from orchestrator.facility.numbering import Numbering
from orchestrator.facility.plan import Device, Plan, PlannedSource
from orchestrator.planning.checks.common import (
    PLAN,
    Origins,
    Report,
    legs,
    numbering_of,
    own_blocks,
    whole,
)
from orchestrator.planning.checks.groups import unfit

Holder = tuple[str, PlannedSource]


def check_numbers(plan: Plan, origins: Origins, report: Report) -> None:
    """Check every number, block and group of ``plan``, as it is or as it is wanted."""
    checker = _Checker(plan, origins, report)
    for device in plan.devices.values():
        checker.owned(device)
    for device in plan.devices.values():
        for source in device.sources.values():
            checker.source(device, source)
    checker.numbers()
    checker.explicit_groups()


@dataclass(slots=True)
class _Net:
    """What is held on one network: owners of numbers and blocks, holders of numbers and groups."""

    name: str
    rules: Numbering
    base: int
    numbers: dict[int, str] = field(default_factory=dict)
    blocks: dict[int, str] = field(default_factory=dict)
    holders: dict[int, list[Holder]] = field(default_factory=dict)
    groups: list[tuple[str, int, str, PlannedSource, int]] = field(default_factory=list)

    def owner(self, number: int) -> str | None:
        """Who owns ``number``: whoever lists it, before the holder of the block it is in."""
        listed = self.numbers.get(number)
        return listed or self.blocks.get(number // self.rules.numbers_per_host)


class _Checker:
    def __init__(self, plan: Plan, origins: Origins, report: Report) -> None:
        self.plan = plan
        self.origins = origins
        self.report = report
        self.nets: dict[str, _Net] = {}
        for name in plan.networks:
            rules = numbering_of(plan, name)
            if rules is not None:
                self.nets[name] = _Net(name, rules, int(rules.group_range.network_address))
        self.legs = {name: legs(plan, device) for name, device in plan.devices.items()}
        self.at: dict[str, set[str]] = defaultdict(set)
        for device in plan.devices.values():
            for interface in device.interfaces:
                self.at[interface.address].add(device.name)

    def owned(self, device: Device) -> None:
        """What a device owns: the numbers that it lists, and its blocks."""
        for leg in self.legs[device.name]:
            net = self.nets[leg]
            for index, number in enumerate(device.numbers):
                where = self.origins.where(device.name, "numbers", index)
                wrong = _out_of_range(net, number)
                if wrong is not None:
                    what = f"number {number} of {device.name} {wrong}"
                    fix = f"own numbers of {net.rules.numbers} outside transit"
                    self.report.add(where, what, fix, key=("range", device.name, number))
                other = net.numbers.setdefault(number, device.name)
                if other != device.name:
                    what = f"number {number} is owned twice: by {other} and by {device.name}"
                    self.report.add(where, what, "let one of them own it")
            self._blocks(device, net)

    def _blocks(self, device: Device, net: _Net) -> None:
        for index, host in enumerate(own_blocks(self.plan, device)):
            where = self._block_place(device, index)
            block, numbers = net.rules.block(host), net.rules.numbers
            if device.blocks and (block.last < numbers.first or block.first > numbers.last):
                what = f"block {host} of {device.name} ({block}) is outside the range {numbers}"
                self.report.add(where, what, "own a host part whose numbers are in the range")
            other = net.blocks.setdefault(host, device.name)
            if other != device.name and not self._one_address(device, other):
                what = f"block {host} ({block}) is owned twice: by {other} and by {device.name}"
                fix = "give one of them 'blocks' of its own, or another address"
                self.report.add(where, what, fix)

    def _block_place(self, device: Device, index: int) -> tuple[str, tuple[str | int, ...]]:
        if device.blocks or not device.interfaces:
            return self.origins.where(device.name, "blocks", index)
        return self.origins.where(device.name, "interfaces", device.interfaces[0].name, "address")

    def _one_address(self, device: Device, other: str) -> bool:
        """Whether two devices have one address, which is told already."""
        return any(other in self.at[interface.address] for interface in device.interfaces)

    def source(self, device: Device, source: PlannedSource) -> None:
        """What a source holds on each leg."""
        on = self.legs[device.name]
        if source.number is not None:
            if not on:
                self._no_numbering(device, source)
            for leg in on:
                holders = self.nets[leg].holders.setdefault(source.number, [])
                holders.append((device.name, source))
        if source.groups is None:
            return
        subject = f"{device.name}/{source.name}"
        for index, group in enumerate(source.groups):
            if on and index >= len(on):
                where = self.origins.where(device.name, "sources", source.name, "groups", index)
                what = f"{subject} has {len(source.groups)} groups, but is on {len(on)} network(s)"
                self.report.add(where, what, "name one group for each leg", key=("legs", subject))
                continue
            address = whole(group.partition(":")[0])
            why = unfit(address, address)
            if why is not None:
                where = self.origins.where(device.name, "sources", source.name, "groups", index)
                self.report.add(
                    where, f"{subject}: {why}", "use the group range of the network's numbering"
                )
            elif on:
                self.nets[on[index]].groups.append((group, address, device.name, source, index))

    def _no_numbering(self, device: Device, source: PlannedSource) -> None:
        networks = [self.plan.networks.get(item.network) for item in device.interfaces]
        if any(network is None or network.bench for network in networks):
            return
        where = self.origins.where(device.name, "sources", source.name, "number")
        what = f"{device.name}/{source.name} has a number, but is on no network that has numbering"
        self.report.add(where, what, "give its network 'numbering', or remove the number")

    def numbers(self) -> None:
        """Each number that is held: in range, held once, and by its owner."""
        for net in self.nets.values():
            for number, holders in net.holders.items():
                wrong = _out_of_range(net, number)
                owner = net.owner(number)
                if wrong is not None:
                    for device, source in holders:
                        self._unusable(net, number, wrong, device, source.name)
                elif len(holders) > 1:
                    self._held_twice(net, number, holders, owner)
                elif owner is not None and owner != holders[0][0]:
                    self._of_another(number, *holders[0], owner)

    def _unusable(self, net: _Net, number: int, wrong: str, device: str, source: str) -> None:
        subject = f"{device}/{source}"
        where = self.origins.where(device, "sources", source, "number")
        what = f"number {number} of {subject} {wrong}"
        fix = f"use a number of {net.rules.numbers} outside transit"
        self.report.add(where, what, fix, key=("range", subject, number))

    def _held_twice(self, net: _Net, number: int, holders: list[Holder], owner: str | None) -> None:
        """Told where it stands second: after its owner, and after what the plan has already."""
        placed = [
            (device, source, self.origins.where(device, "sources", source.name, "number"))
            for device, source in holders
        ]
        placed.sort(key=lambda one: (one[0] != owner, one[2][0] != PLAN))
        first = f"{placed[0][0]}/{placed[0][1].name}"
        for device, source, where in placed[1:]:
            subject = f"{device}/{source.name}"
            what = f"number {number} is held twice on {net.name}: by {first} and by {subject}"
            key = ("number", number, first, subject)
            self.report.add(where, what, "give one of them a number of its own", key)

    def _of_another(self, number: int, device: str, source: PlannedSource, owner: str) -> None:
        subject = f"{device}/{source.name}"
        where = self.origins.where(device, "sources", source.name, "number")
        what = f"number {number} of {subject} belongs to {owner}"
        fix = f"use a number of {device}'s own block, or list it under its 'numbers'"
        self.report.add(where, what, fix, key=("owner", number, subject))

    def explicit_groups(self) -> None:
        """Each group that is named is held once, by those that follow from numbers too."""
        for net in self.nets.values():
            held: dict[str, Holder] = {}
            for group, address, device, source, index in net.groups:
                holder = held.setdefault(group, (device, source))
                if holder == (device, source):
                    holder = self._by_number(net, group, address) or holder
                if (holder[0], holder[1].name) == (device, source.name):
                    continue
                if holder[1].number is not None and holder[1].number == source.number:
                    continue  # told already: they hold one number
                names = f"{holder[0]}/{holder[1].name}", f"{device}/{source.name}"
                what = f"group {group} is held twice on {net.name}: by {names[0]} and by {names[1]}"
                where = self.origins.where(device, "sources", source.name, "groups", index)
                fix = "give one of them a group of its own"
                self.report.add(where, what, fix, key=("group", group, names))

    @staticmethod
    def _by_number(net: _Net, group: str, address: int) -> Holder | None:
        """Who streams to ``group``, at ``address``, because of a number."""
        if not group.endswith(f":{net.rules.port}"):
            return None
        holders = net.holders.get(address - net.base, [])
        return next((holder for holder in holders if holder[1].groups is None), None)


def _out_of_range(net: _Net, number: int) -> str | None:
    """Why no source may hold ``number`` on a network; None if one may."""
    rules = net.rules
    if number not in rules.numbers:
        return f"is outside the range {rules.numbers} of {net.name}"
    if rules.transit is not None and number in rules.transit:
        return f"is in transit {rules.transit} of {net.name}"
    return None
