"""Who holds what at the start: by the survey where a device answered, by the plan where not.

No answer is not vacant: a device that did not answer still owns its address and its numbers.
"""

from collections.abc import Iterator, Mapping, Sequence

from orchestrator.facility.plan import Device, Ref
from orchestrator.planning.index import Index
from orchestrator.planning.scene import Scene
from orchestrator.planning.things import Thing, source_things


class Holders(Mapping[Thing, tuple[str, ...]]):
    """A map from each thing that is held to its holders: ``device/source``, or ``device``.

    ``sources`` were found; ``others`` are addresses, and what absent devices have by the plan.
    """

    def __init__(self, sources: Index, others: Mapping[Thing, tuple[str, ...]]) -> None:
        self.sources = sources
        self.others = others

    def of(self, thing: Thing) -> tuple[str, ...]:
        """The holders of ``thing``; none, if nobody holds it."""
        found = tuple(map(str, self.sources.holders(thing)))
        return found + self.others[thing] if thing in self.others else found

    def owners(self, thing: Thing) -> Sequence[tuple[str, str | None]]:
        """The holders of ``thing``, each as a device and a source; None: the device itself."""
        refs = self.sources.holders(thing)
        if thing not in self.others:
            return refs
        others = [name.partition("/") for name in self.others[thing]]
        return (*refs, *[(device, source or None) for device, _, source in others])

    def shared(self) -> Iterator[tuple[Thing, tuple[str, ...]]]:
        """What more than one holds, with all holders."""
        for thing, refs in self.sources.shared():
            if thing not in self.others:
                yield thing, tuple(map(str, refs))
        for thing in self.others:
            if len(names := self.of(thing)) > 1:
                yield thing, names

    def __getitem__(self, thing: Thing) -> tuple[str, ...]:
        """The holders of ``thing``.

        Raises:
            KeyError: nobody holds it.
        """
        if names := self.of(thing):
            return names
        raise KeyError(thing)

    def __iter__(self) -> Iterator[Thing]:
        """Every thing that is held."""
        yield from self.sources
        for thing in self.others:
            if not self.sources.holders(thing):
                yield thing

    def __len__(self) -> int:
        """How many things are held."""
        return sum(1 for _ in self)


def holders(scene: Scene) -> Holders:
    """Who holds what in ``scene``."""
    others: dict[Thing, tuple[str, ...]] = {}
    for name, device in scene.plan.devices.items():
        pairs = _addresses(scene, name) if name in scene.states else _planned(scene, device)
        for thing, holder in pairs:
            known = others.get(thing, ())
            if holder not in known:
                others[thing] = (*known, holder)
    return Holders(scene.sources_now, others)


def _addresses(scene: Scene, name: str) -> Iterator[tuple[Thing, str]]:
    interfaces = scene.states[name].interfaces.values()
    for network, interface in zip(scene.networks_now[name], interfaces, strict=True):
        if network is not None:
            yield ("address", network, interface.address), name


def _planned(scene: Scene, device: Device) -> Iterator[tuple[Thing, str]]:
    networks = tuple(
        interface.network if not scene.plan.networks[interface.network].bench else None
        for interface in device.interfaces
    )
    for network, interface in zip(networks, device.interfaces, strict=True):
        if network is not None:
            yield ("address", network, interface.address), device.name
    for source in device.sources.values():
        for thing in source_things(networks, source.number, source.groups or ()):
            yield thing, str(Ref(device.name, source.name))
    for number in device.numbers:
        for thing in source_things(networks, number, ()):
            if not any(source.number == number for source in device.sources.values()):
                yield thing, device.name
