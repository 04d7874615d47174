"""Who holds what: numbers, groups and addresses, each on its own network, and who hears whom.

Pure functions of memories. Everything counts that a device runs with or would boot with after a
power cycle; nothing counts that stands on a bench.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from mocks.site import Site
from mocks.state import Destination, Memory, Source, State

Memories = Mapping[str, Memory]
Slots = frozenset[str]


@dataclass(frozen=True, slots=True, order=True)
class Thing:
    """Something that one owner at a time may hold: a number, a group or an address."""

    network: str
    kind: str
    value: str

    def __str__(self) -> str:
        return f"{self.kind} {self.value} on {self.network}"


Holdings = Mapping[Thing, Slots]


def held(site: Site, memories: Memories, *, running_only: bool = False) -> Holdings:
    """Every thing and its holders: sources (device/slot), or devices for an address.

    What runs and what is saved both count, unless ``running_only``.
    """
    found: dict[Thing, set[str]] = defaultdict(set)
    for name, memory in memories.items():
        states = [memory.running] if running_only else [memory.running, memory.saved]
        for state in states:
            for thing, holder in _holdings(site, name, state):
                found[thing].add(holder)
    return {thing: frozenset(holders) for thing, holders in found.items()}


def shared(holdings: Holdings) -> Holdings:
    """The things that have more than one holder."""
    return {thing: holders for thing, holders in holdings.items() if len(holders) > 1}


def heard(site: Site, memories: Memories, *, enabled_only: bool = True) -> Mapping[str, Slots]:
    """For each destination on a facility network, the sources that it points to there.

    Only enabled ones are heard; without ``enabled_only``, everybody who holds what it points to.
    """
    sources: dict[str, list[tuple[str, Source]]] = defaultdict(list)
    for name, memory in memories.items():
        network = site.facility(memory.running.lan.address)
        if network is not None:
            sources[network.name].extend(
                (f"{name}/{slot}", source) for slot, source in memory.running.sources.items()
            )
    found: dict[str, Slots] = {}
    for name, memory in memories.items():
        network = site.facility(memory.running.lan.address)
        there = sources[network.name] if network is not None else []
        for slot, destination in memory.running.destinations.items():
            found[f"{name}/{slot}"] = frozenset(
                at
                for at, source in there
                if _points_to(destination, source) and (source.enabled or not enabled_only)
            )
    return found


def in_transit(site: Site, memories: Memories) -> Slots:
    """What is enabled on a transit number or at a transit address, in words."""
    found = set()
    for name, memory in memories.items():
        address = memory.running.lan.address
        network = site.facility(address)
        if network is None:
            continue
        for slot, source in memory.running.sources.items():
            if source.enabled and network.is_transit_number(source.number):
                found.add(f"{name}/{slot} is enabled on transit number {source.number}")
            if source.enabled and network.is_transit_address(address):
                found.add(f"{name}/{slot} is enabled at transit address {address}")
    return frozenset(found)


def _holdings(site: Site, name: str, state: State) -> Iterable[tuple[Thing, str]]:
    network = site.facility(state.lan.address)
    if network is None:
        return
    yield Thing(network.name, "address", state.lan.address), name
    for slot, source in state.sources.items():
        if source.number:
            yield Thing(network.name, "number", str(source.number)), f"{name}/{slot}"
        if source.group:
            yield Thing(network.name, "group", source.group), f"{name}/{slot}"


def _points_to(destination: Destination, source: Source) -> bool:
    by_number = destination.number != 0 and destination.number == source.number
    return by_number or (destination.group != "" and destination.group == source.group)
