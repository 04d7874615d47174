"""Which sources hold each number and group, on each network.

Numbers and groups of one network share a table: a number is a whole number, a group is text.
"""

from collections.abc import Iterator, Mapping, Sequence

from orchestrator.facility.found import DeviceState, SourceState
from orchestrator.facility.plan import Ref
from orchestrator.planning.things import Thing, each_thing

Networks = Mapping[str, tuple[str | None, ...]]
Table = dict[int | str, tuple[Ref, ...]]


class Index(Mapping[Thing, tuple[Ref, ...]]):
    """A map from each number and group on a facility network to the sources that hold it.

    Made from another one, it keeps only what differs.
    """

    def __init__(self, base: "Index | None" = None) -> None:
        """Start with nothing, or with all that ``base`` has."""
        self._base = base
        self._tables: dict[str, Table] = {}
        self._shared: dict[Thing, None] = {}  # now or at some time before
        if base is not None:
            self._shared.update((thing, None) for thing, _ in base.shared())

    @classmethod
    def of(cls, states: Mapping[str, DeviceState], networks: Networks) -> "Index":
        """Index the sources of ``states``; ``networks`` gives the network of each leg."""
        index = cls()
        for device, state in states.items():
            here = networks[device]
            if len(here) > 1:
                for name, source in state.sources.items():
                    index.add(Ref(device, name), here, source)
            elif here and here[0] is not None:
                index._add_all(device, here[0], state)
        return index

    def _add_all(self, device: str, net: str, state: DeviceState) -> None:
        """Note what the sources of a device hold that has one interface, as most have."""
        table = self._table(net)
        for name, source in state.sources.items():
            mine = (Ref(device, name),)
            for value in (source.number, source.groups[0] if source.groups else None):
                if value is not None and table.setdefault(value, mine) is not mine:
                    self.add(mine[0], (net,), source)

    def changed(
        self,
        now: Mapping[str, DeviceState],
        then: Mapping[str, DeviceState],
        networks_now: Networks,
        networks_then: Networks,
    ) -> "Index":
        """The index of ``then``, where this one is the index of ``now``."""
        index = Index(self)
        for device, state in then.items():
            was = now[device]
            if state is was:
                continue
            here, there = networks_now[device], networks_then[device]
            for name, source in state.sources.items():
                old = was.sources[name]
                if source is not old or here != there:
                    ref = Ref(device, name)
                    index.drop(ref, here, old)
                    index.add(ref, there, source)
        return index

    def add(self, ref: Ref, networks: Sequence[str | None], source: SourceState) -> None:
        """Note what ``ref`` holds in the state ``source``."""
        mine, base = (ref,), self._base
        for leg, net in enumerate(networks):
            if net is None:
                continue
            table = self._table(net)
            group = source.groups[leg] if leg < len(source.groups) else None
            for value in (source.number, group):
                if value is None:
                    continue
                if base is not None and value not in table:
                    table[value] = base._at(net, value)  # noqa: SLF001 - an index too
                others = table.setdefault(value, mine)
                if others is not mine and ref not in others:
                    table[value] = (*others, ref)
                    if others:
                        self._shared[_thing(net, value)] = None

    def drop(self, ref: Ref, networks: Sequence[str | None], source: SourceState) -> None:
        """Forget what ``ref`` holds in the state ``source``."""
        for _, net, value in each_thing(networks, source.number, source.groups):
            refs = self._at(net, value)
            left = () if refs == (ref,) else tuple([other for other in refs if other != ref])
            self._table(net)[value] = left

    def shared(self) -> Iterator[tuple[Thing, tuple[Ref, ...]]]:
        """What more than one source holds, with all of them."""
        for thing in self._shared:
            if len(refs := self.holders(thing)) > 1:
                yield thing, refs

    def _table(self, net: str) -> Table:
        table = self._tables.get(net)
        if table is None:
            table = self._tables[net] = {}
        return table

    def _at(self, net: str, value: int | str) -> tuple[Ref, ...]:
        table = self._tables.get(net)
        refs = table.get(value) if table is not None else None
        if refs is None:
            return self._base._at(net, value) if self._base is not None else ()  # noqa: SLF001 - an index too
        return refs

    def __getitem__(self, thing: Thing) -> tuple[Ref, ...]:
        """Who holds ``thing``.

        Raises:
            KeyError: nobody does.
        """
        if refs := self._at(thing[1], thing[2]):
            return refs
        raise KeyError(thing)

    def holders(self, thing: Thing) -> tuple[Ref, ...]:
        """Who holds ``thing``; nobody, if nobody does."""
        return self._at(thing[1], thing[2])

    def __iter__(self) -> Iterator[Thing]:
        """Every thing that somebody holds."""
        for thing in self._base or ():
            if thing[2] not in self._tables.get(thing[1], {}):
                yield thing
        for net, table in self._tables.items():
            for value, refs in table.items():
                if refs:
                    yield _thing(net, value)

    def __len__(self) -> int:
        """How many things somebody holds."""
        return sum(1 for _ in self)


def _thing(net: str, value: int | str) -> Thing:
    return ("number" if isinstance(value, int) else "group", net, value)
