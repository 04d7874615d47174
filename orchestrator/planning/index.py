"""Which sources hold each number and group, on each network.

Numbers and groups of one network share a table: a number is a whole number, a group is text.
"""

from collections import ChainMap
from collections.abc import Iterable, Iterator, Mapping, Sequence

from orchestrator.facility.found import DeviceState, SourceState
from orchestrator.facility.plan import Ref, refs_of
from orchestrator.planning.things import Thing, each_thing

Networks = Mapping[str, tuple[str | None, ...]]
Table = dict[int | str, tuple[Ref, ...]]
Tables = dict[str, Table]


class Index(Mapping[Thing, tuple[Ref, ...]]):
    """A map from each number and group on a facility network to the sources that hold it.

    ``below``: by network, what holds for everything that this one has not noted itself, the nearest
    first.
    """

    def __init__(self, below: "tuple[Tables, ...]" = ()) -> None:
        """Start with nothing of its own."""
        self._below = below
        self._tables: Tables = {}
        self._shared: dict[Thing, None] = {}  # now or at some time before

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
        for ref, source in zip(refs_of(device, state.sources), state.sources.values(), strict=True):
            mine = (ref,)
            for value in (source.number, source.groups[0] if source.groups else None):
                if value is not None and table.setdefault(value, mine) is not mine:
                    self.add(ref, (net,), source)

    def changed(
        self,
        now: Mapping[str, DeviceState],
        then: Mapping[str, DeviceState],
        networks_now: Networks,
        networks_then: Networks,
    ) -> "Index":
        """The index of ``then``, where this one is the index of ``now``.

        It notes only what changes: most things stay with whoever holds them.
        """
        index = Index((self._tables, *self._below))
        index._shared.update(self._shared)
        for device, state in then.items():
            was = now[device]
            if state is was:
                continue
            here, there = networks_now[device], networks_then[device]
            if len(here) == 1 and here == there:
                if here[0] is not None:
                    index._change_all(device, here[0], was, state)
                continue
            for name, source in state.sources.items():
                old = was.sources[name]
                if source is not old or here != there:
                    ref = Ref(device, name)
                    index.drop(ref, here, old)
                    index.add(ref, there, source)
        return index

    def _change_all(self, device: str, net: str, was: DeviceState, state: DeviceState) -> None:
        """Forget and note what the sources of a device held and hold, that stays on one network."""
        table, before = self._table(net), self._before(net)
        names = [name for name, source in state.sources.items() if source is not was.sources[name]]
        for ref in refs_of(device, names):
            mine, old, source = (ref,), was.sources[ref.name], state.sources[ref.name]
            for value in (old.number, old.groups[0] if old.groups else None):
                if value is not None:
                    refs = table[value] if value in table else before.get(value, ())
                    table[value] = () if refs == mine else _without(refs, ref)
            for value in (source.number, source.groups[0] if source.groups else None):
                if value is not None:
                    if table[value] if value in table else before.get(value):
                        self.add(ref, (net,), source)
                    else:
                        table[value] = mine

    def add(self, ref: Ref, networks: Sequence[str | None], source: SourceState) -> None:
        """Note what ``ref`` holds in the state ``source``."""
        for leg, net in enumerate(networks):
            if net is None:
                continue
            table = self._table(net)
            group = source.groups[leg] if leg < len(source.groups) else None
            for value in (source.number, group):
                if value is None:
                    continue
                others = table[value] if value in table else self._before(net).get(value, ())
                if ref not in others:
                    table[value] = (*others, ref)
                    if others:
                        self._shared[_thing(net, value)] = None

    def drop(self, ref: Ref, networks: Sequence[str | None], source: SourceState) -> None:
        """Forget what ``ref`` holds in the state ``source``."""
        for _, net, value in each_thing(networks, source.number, source.groups):
            table = self._table(net)
            refs = table[value] if value in table else self._before(net).get(value, ())
            table[value] = () if refs == (ref,) else _without(refs, ref)

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

    def _before(self, net: str) -> Mapping[int | str, tuple[Ref, ...]]:
        """What lies below of a network."""
        tables = [below[net] for below in self._below if net in below]
        return tables[0] if len(tables) == 1 else ChainMap(*tables)

    def heard(self, networks: Iterable[str | None], hears: int | str | None) -> tuple[Ref, ...]:
        """Whom a destination pointed at ``hears`` would hear, on its ``networks``."""
        if hears is None:
            return ()
        found: tuple[Ref, ...] = ()
        for net in networks:
            if net is not None and (refs := self._holders(net, hears)):
                found = (*found, *[ref for ref in refs if ref not in found]) if found else refs
        return found

    def __getitem__(self, thing: Thing) -> tuple[Ref, ...]:
        """Who holds ``thing``.

        Raises:
            KeyError: nobody does.
        """
        if refs := self.holders(thing):
            return refs
        raise KeyError(thing)

    def holders(self, thing: Thing) -> tuple[Ref, ...]:
        """Who holds ``thing``; nobody, if nobody does."""
        _, net, value = thing
        return self._holders(net, value)

    def _holders(self, net: str, value: int | str) -> tuple[Ref, ...]:
        for tables in (self._tables, *self._below):
            table = tables.get(net)
            if table is not None and value in table:
                return table[value]
        return ()

    def __iter__(self) -> Iterator[Thing]:
        """Every thing that somebody holds."""
        noted = dict.fromkeys(
            (net, value)
            for tables in (self._tables, *self._below)
            for net, table in tables.items()
            for value in table
        )
        for net, value in noted:
            if self._holders(net, value):
                yield _thing(net, value)

    def __len__(self) -> int:
        """How many things somebody holds."""
        return sum(1 for _ in self)


def _thing(net: str, value: int | str) -> Thing:
    return ("number" if isinstance(value, int) else "group", net, value)


def _without(refs: tuple[Ref, ...], ref: Ref) -> tuple[Ref, ...]:
    return tuple([each for each in refs if each != ref])
