"""What is held: each number, group and address, who has it when, and who is heard on it when.

A *span* begins with a step (None: it was so at the survey) and ends with a step (None: it stays
so). What a step takes is taken from the moment that it starts, since a write may land at any
time; what it lets go of is let go of only when the step is proved.
"""

from collections import ChainMap, defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import chain

from orchestrator.facility.plan import Ref
from orchestrator.facility.step import Step

Nets = Sequence[tuple[str, str | None]]
"""Each interface of a device, and the facility network on which it stands; None: a bench."""


@dataclass(slots=True)
class Span:
    """One owner's time with one thing. ``released`` ends it, ``proved`` proves the release."""

    owner: str
    device: str
    taken: Step | None
    released: Step | None
    proved: Step | None


@dataclass(slots=True)
class Audible:
    """A time in which a source is enabled, with what it holds then."""

    owner: str
    device: str
    held: tuple["Held", ...]
    begins: Step | None
    ends: Step | None


@dataclass(slots=True)
class Pointed:
    """A time in which a destination points at something on the facility's networks."""

    destination: Ref
    held: tuple["Held", ...]
    begins: Step | None
    ends: Step | None


@dataclass(slots=True, eq=False)
class Held:
    """One thing, a ``kind`` (number, group or address) on one network, and all times with it.

    ``audible``: who is enabled on it, and when; None while no destination is known to point at it.
    """

    kind: str
    network: str
    value: int | str
    spans: list[Span]
    audible: list[Audible] | None = None

    @property
    def thing(self) -> tuple[str, str, int | str]:
        """The thing alone."""
        return (self.kind, self.network, self.value)


class Holdings:
    """All that anybody holds, each thing once.

    Numbers and groups of one network share a table: a number is a whole number, a group is text.
    """

    def __init__(self) -> None:
        self._streams: dict[str, dict[int | str, Held]] = defaultdict(dict)
        self._addresses: dict[tuple[str, str], Held] = {}

    def __iter__(self) -> Iterator[Held]:
        """Each thing; a source's number and its group stand together."""
        streams = [table.values() for table in self._streams.values()]
        return chain(*streams, self._addresses.values())

    def address(self, network: str, address: str) -> Held:
        """An address."""
        held = self._addresses.get((network, address))
        if held is None:
            held = self._addresses[network, address] = Held("address", network, address, [])
        return held

    def stream(self, network: str, value: int | str) -> Held:
        """A number or a group."""
        table = self._streams[network]
        held = table.get(value)
        if held is None:
            kind = "number" if isinstance(value, int) else "group"
            held = table[value] = Held(kind, network, value, [])
        return held

    def of_source(
        self, nets: Nets, number: int | None, groups: tuple[str | None, ...]
    ) -> tuple[Held, ...]:
        """What a source holds; one thing stands once, though two legs may be on one network."""
        held: list[Held] = []
        for leg, (_, net) in enumerate(nets):
            if net is None:
                continue
            if number is not None:
                held.append(self.stream(net, number))
            group = groups[leg] if leg < len(groups) else None
            if group is not None:
                held.append(self.stream(net, group))
        return tuple(held) if len(nets) == 1 else tuple(dict.fromkeys(held))

    def heard(self, nets: Nets, pointer: int | str | None) -> tuple[Held, ...]:
        """What a destination that points at ``pointer`` hears; from now on it is listened to."""
        if pointer is None:
            return ()
        held = dict.fromkeys([self.stream(net, pointer) for _, net in nets if net is not None])
        for each in held:
            if each.audible is None:
                each.audible = []
        return tuple(held)

    def known(self, nets: Nets) -> Mapping[int | str, Held]:
        """Every number and group that was asked for so far on any of ``nets``."""
        tables = [self._streams[net] for _, net in nets if net is not None]
        return tables[0] if len(tables) == 1 else ChainMap(*tables)
