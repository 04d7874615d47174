"""Who holds which number, group and address now, and who hears whom; kept up change by change."""

from collections import defaultdict
from collections.abc import Iterator, Mapping

from orchestrator.facility.found import DeviceState
from orchestrator.facility.plan import Ref
from orchestrator.rehearsal.premises import Premises
from orchestrator.rehearsal.unit import Unit

Thing = tuple[str, str, int | str]
"""What one owner at a time may hold: its kind, its network, itself."""

RUNS, BOOTS = "runs", "boots"


def thing_words(thing: Thing) -> str:
    """``number 311 on media``."""
    kind, network, value = thing
    return f"{kind} {value} on {network}"


class Holdings:
    """Everything that is held, by whom, and how: what runs, and what a power cycle brings back.

    What stands on a bench holds nothing. A device that was not found holds what the plan says of
    it: no answer is not vacant.
    """

    def __init__(self, premises: Premises, units: Mapping[str, Unit]) -> None:
        self._premises = premises
        self._networks: dict[str, str | None] = {}
        self._held: dict[Thing, dict[str, frozenset[str]]] = defaultdict(dict)
        self._of_unit: dict[str, dict[tuple[Thing, str], frozenset[str]]] = {}
        self._pointers: dict[Thing, set[Ref]] = defaultdict(set)
        self._points: dict[Ref, tuple[Thing, ...]] = {}
        self._on: dict[str, bool] = {}
        self._plan_says(units)
        for unit in units.values():
            self.update(unit)

    def things(self) -> Iterator[tuple[Thing, Mapping[str, frozenset[str]]]]:
        """Every thing that is held, its owners, and how each holds it."""
        yield from self._held.items()

    def owners(self, thing: Thing) -> Mapping[str, frozenset[str]]:
        """Who holds a thing (``device`` or ``device/source``), and how."""
        return self._held.get(thing, {})

    def of_unit(self, unit: Unit) -> Iterator[tuple[Thing, str]]:
        """What a unit and its sources hold, each with its owner."""
        yield from self._of_unit.get(unit.name, {})

    def listeners(self, thing: Thing) -> frozenset[Ref]:
        """The destinations that are pointed at a thing."""
        return frozenset(self._pointers.get(thing, ()))

    def destinations(self) -> tuple[Ref, ...]:
        """Every destination of a unit in the facility that is pointed at something."""
        return tuple(self._points)

    def pointed(self, ref: Ref, *, enabled: bool = True) -> frozenset[str]:
        """The sources at which a destination is pointed: the enabled ones, or all."""
        return frozenset(
            owner
            for thing in self._points.get(ref, ())
            for owner, how in self.owners(thing).items()
            if RUNS in how and (not enabled or self._on.get(owner, True))
        )

    def update(self, unit: Unit) -> frozenset[Thing]:
        """Take in what became of a unit.

        Returns:
            Every thing whose holders, or their being enabled, or whose listeners changed.
        """
        fresh = self._now(unit)
        old = self._of_unit.get(unit.name, {})
        changed = {key[0] for key in old.keys() | fresh.keys() if old.get(key) != fresh.get(key)}
        for thing, owner in old.keys() - fresh.keys():
            del self._held[thing][owner]
        for (thing, owner), how in fresh.items():
            self._held[thing][owner] = how
        self._of_unit[unit.name] = fresh
        changed |= self._switch(unit)
        changed |= self._point(unit)
        return frozenset(changed)

    def _switch(self, unit: Unit) -> set[Thing]:
        switched = {
            owner: source.enabled
            for name, source in unit.running.sources.items()
            if self._on.get(owner := f"{unit.name}/{name}") is not source.enabled
        }
        self._on.update(switched)
        return {thing for thing, owner in self._of_unit[unit.name] if owner in switched}

    def _point(self, unit: Unit) -> set[Thing]:
        changed: set[Thing] = set()
        networks = self._facility_networks(unit.running)
        for name, destination in unit.running.destinations.items():
            ref = Ref(unit.name, name)
            hears = destination.hears
            kind = "number" if isinstance(hears, int) else "group"
            new = () if hears is None else tuple((kind, net, hears) for net in networks)
            old = self._points.get(ref, ())
            if old == new:
                continue
            for thing in old:
                self._pointers[thing].discard(ref)
            for thing in new:
                self._pointers[thing].add(ref)
            self._points[ref] = new
            changed |= {*old, *new}
        return changed

    def _now(self, unit: Unit) -> dict[tuple[Thing, str], frozenset[str]]:
        ways: dict[tuple[Thing, str], set[str]] = defaultdict(set)
        for way, state in ((RUNS, unit.running), (BOOTS, unit.boots)):
            for thing, owner in self._of_state(unit.name, state):
                ways[thing, owner].add(way)
        return {key: frozenset(how) for key, how in ways.items()}

    def _of_state(self, name: str, state: DeviceState) -> Iterator[tuple[Thing, str]]:
        legs = [self.network(held.address) for held in state.interfaces.values()]
        for net, held in zip(legs, state.interfaces.values(), strict=True):
            if net is not None:
                yield ("address", net, held.address), name
        for key, source in state.sources.items():
            for leg, net in enumerate(legs):
                if net is not None and source.number is not None:
                    yield ("number", net, source.number), f"{name}/{key}"
                group = source.groups[leg] if leg < len(source.groups) else None
                if net is not None and group is not None:
                    yield ("group", net, group), f"{name}/{key}"

    def network(self, address: str) -> str | None:
        """The facility network of an address; None for a bench or an unknown one."""
        if address not in self._networks:
            self._networks[address] = self._premises.network_at(address)
        return self._networks[address]

    def _facility_networks(self, state: DeviceState) -> tuple[str, ...]:
        legs = (self.network(held.address) for held in state.interfaces.values())
        return tuple(dict.fromkeys(net for net in legs if net is not None))

    def _plan_says(self, units: Mapping[str, Unit]) -> None:
        both = frozenset({RUNS, BOOTS})
        for name, device in self._premises.plan.devices.items():
            if name in units:
                continue
            for leg, interface in enumerate(device.interfaces):
                net = self.network(interface.address)
                if net is None:
                    continue
                self._held["address", net, interface.address][name] = both
                for number in device.numbers:
                    self._held["number", net, number][name] = both
                for key, source in device.sources.items():
                    if source.number is not None:
                        self._held["number", net, source.number][f"{name}/{key}"] = both
                    for group in (source.groups or ())[leg : leg + 1]:
                        self._held["group", net, group][f"{name}/{key}"] = both
