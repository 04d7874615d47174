"""What a sequence makes true: who holds what from when to when, who is heard where.

A *span* begins with a step (None: it was so at the survey) and ends with a step (None: it stays
so). What a step takes is taken from the moment that it starts, since a write may land at any
time; what it lets go of is let go of only when the step is proved.
"""

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass

from orchestrator.facility.found import AsFound, DeviceState, Found, SourceState
from orchestrator.facility.plan import Plan, Ref
from orchestrator.facility.step import AddressValue, Assigned, Hearing, Step, StepKind
from orchestrator.planning.proof.lines import Own, by_device
from orchestrator.planning.proof.order import Order

Held = tuple[str, str, int | str]
Nets = list[tuple[str, str | None]]
"""Each interface of a device, and the facility network on which it stands; None: a bench."""
_UNTOUCHED = Own()
_NO_STEPS: list[Step] = []
_DISABLE, _ENABLE, _REPOINT = StepKind.DISABLE, StepKind.ENABLE, StepKind.REPOINT


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
    held: tuple[Held, ...]
    begins: Step | None
    ends: Step | None


@dataclass(slots=True)
class Pointed:
    """A time in which a destination points at something on the facility's networks."""

    destination: Ref
    held: tuple[Held, ...]
    begins: Step | None
    ends: Step | None


class Replay:
    """Walks each device through its own steps, in order.

    A thing that no step takes or points at stays with whoever has it, and breaks no rule that it
    did not break before; so holders and listeners that no step touches are written down only for
    the things that are ``in_play``.
    """

    def __init__(self, plan: Plan, found: AsFound, order: Order) -> None:
        self.plan = plan
        self.order = order
        self.states: dict[str, DeviceState] = {
            name: entry.state for name, entry in found.devices.items() if isinstance(entry, Found)
        }
        self._nets: dict[str, str | None] = {}
        self.own = by_device(order.line)
        self.in_play: dict[str | None, set[int | str | None]] = defaultdict(set)
        self._put_in_play()
        self._put_on_air_in_play()
        self.spans: dict[Held, list[Span]] = defaultdict(list)
        self.audible: list[Audible] = []
        self.pointed: list[Pointed] = []
        for name in plan.devices:
            if name in self.states:
                self._device(name)
            else:
                self._absent(name)

    def _put_in_play(self) -> None:
        """Find, for each network, what a step takes or points at."""
        for name, own in self.own.items():
            state = self.states.get(name)
            if state is None:
                continue
            nets = {self.net(interface.address) for interface in state.interfaces.values()}
            values: set[int | str | None] = set()
            for taken in own.takes:
                values.add(taken.number)
                values.update(taken.groups)
            for line in own.of_destination.values():
                values.update(
                    _pointer(step.wanted) for step in line if isinstance(step.wanted, Hearing)
                )
            for move in own.moves:
                if isinstance(move.wanted, AddressValue):
                    nets.add(self.net(move.wanted.address))
                    values.update(_brought(state))
            values.discard(None)
            for net in nets:
                self.in_play[net] |= values

    def _put_on_air_in_play(self) -> None:
        """What an on-air destination hears is looked up too, to know what feeds it."""
        for ref in self.plan.on_air:
            state = self.states.get(ref.device)
            if state is None or ref.name not in state.destinations:
                continue
            for interface in state.interfaces.values():
                self.in_play[self.net(interface.address)].add(state.destinations[ref.name].hears)

    def _playing(self, nets: Nets) -> set[int | str | None]:
        """What is in play on ``nets``."""
        first, *others = (self.in_play[net] for _, net in nets)
        return first.union(*others) if others else first

    def net(self, address: str) -> str | None:
        """The facility network of an address; None on a bench."""
        if address not in self._nets:
            network = self.plan.network_of(address)
            outside = network is None or network.bench
            self._nets[address] = None if network is None or outside else network.name
        return self._nets[address]

    def _absent(self, name: str) -> None:
        """No answer is not vacant: it holds what the plan gives it, and never lets go."""
        device = self.plan.devices[name]
        for leg, interface in enumerate(device.interfaces):
            net = self.net(interface.address)
            if net is None:
                continue
            self._keep(("address", net, interface.address), name, name)
            for source in device.sources.values():
                owner = str(Ref(name, source.name))
                if source.number is not None:
                    self._keep(("number", net, source.number), owner, name)
                for group in (source.groups or ())[leg : leg + 1]:
                    self._keep(("group", net, group), owner, name)
            owned = {source.number for source in device.sources.values()}
            for number in device.numbers:
                if number not in owned:
                    self._keep(("number", net, number), name, name)

    def _keep(self, held: Held, owner: str, device: str) -> None:
        self.spans[held].append(Span(owner, device, None, None, None))

    def confirm_of(self, readdress: Step) -> Step | None:
        """The confirm that proves a readdress."""
        for step in self.own[readdress.device].steps:
            fits = step.kind is StepKind.CONFIRM and step.wanted == readdress.wanted
            if fits and self.order.before(readdress, step):
                return step
        return None

    def _device(self, name: str) -> None:
        state, own = self.states[name], self.own.get(name, _UNTOUCHED)
        nets: Nets = [(key, self.net(value.address)) for key, value in state.interfaces.items()]
        moves = own.moves
        for key, value in state.interfaces.items():
            of_it = [
                m for m in moves if isinstance(m.wanted, AddressValue) and m.wanted.interface == key
            ]
            self._address(name, value.address, of_it)
        playing, of_source = self._playing(nets), own.of_source
        for source, found in state.sources.items():
            steps = of_source.get(source, _NO_STEPS)
            if steps or moves:
                line = self._line(steps, moves)
                self._source(f"{name}/{source}", name, found, nets, line)
            elif found.number in playing or not playing.isdisjoint(found.groups):
                self._bystander(f"{name}/{source}", name, found, nets)
        for destination, now in state.destinations.items():
            steps = own.of_destination.get(destination, _NO_STEPS)
            if steps or moves or now.hears in playing:
                line = self._line(steps, moves)
                self._destination(Ref(name, destination), nets, line)

    def _line(self, own: list[Step], moves: list[Step]) -> list[Step]:
        """The steps of one source or destination among its device's readdresses, in order."""
        return self.order.in_order([*own, *moves]) if moves else own

    def _bystander(self, owner: str, device: str, found: SourceState, nets: Nets) -> None:
        """A source that no step touches keeps what it has."""
        held = _held(nets, found.number, found.groups)
        for thing in held:
            self._keep(thing, owner, device)
        if found.enabled:
            self.audible.append(Audible(owner, device, held, None, None))

    def _address(self, name: str, address: str, moves: list[Step]) -> None:
        taken: Step | None = None
        for move in moves:
            net = self.net(address)
            if net is not None:
                proved = self.confirm_of(move)
                self.spans["address", net, address].append(Span(name, name, taken, move, proved))
            taken = move
            address = move.wanted.address if isinstance(move.wanted, AddressValue) else address
        net = self.net(address)
        if net is not None:
            self.spans["address", net, address].append(Span(name, name, taken, None, None))

    def _source(
        self, owner: str, device: str, found: SourceState, nets: Nets, line: list[Step]
    ) -> None:
        enabled, audible = found.enabled, self.audible
        begins: Step | None = None
        number, groups = found.number, found.groups
        held = _held(nets, number, groups)
        since: dict[Held, Step | None] = dict.fromkeys(held)
        for step in line:
            kind = step.kind
            if kind is _DISABLE or kind is _ENABLE:
                on = kind is _ENABLE
                if enabled and not on:
                    audible.append(Audible(owner, device, held, begins, step))
                elif on and not enabled:
                    begins = step
                enabled = on
                continue
            wanted = step.wanted
            proved: Step | None = step
            if isinstance(wanted, Assigned):
                number, groups = wanted.number, wanted.groups
            elif kind is StepKind.READDRESS and isinstance(wanted, AddressValue):
                nets = self._moved(nets, wanted)
                proved = self.confirm_of(step)
            else:
                continue
            if enabled:
                audible.append(Audible(owner, device, held, begins, step))
                begins = step
            held = _held(nets, number, groups)
            kept = {thing: since.pop(thing, step) for thing in held}
            self._let_go(owner, device, since, step, proved)
            since = kept
        self._let_go(owner, device, since, None, None)
        if enabled:
            audible.append(Audible(owner, device, held, begins, None))

    def _let_go(
        self,
        owner: str,
        device: str,
        since: dict[Held, Step | None],
        released: Step | None,
        proved: Step | None,
    ) -> None:
        """Write down the end of the time with each thing; at the end of all, with no step."""
        span: Span | None = None
        for thing, taken in since.items():
            if span is None or span.taken is not taken:
                span = Span(owner, device, taken, released, proved)
            self.spans[thing].append(span)

    def _moved(self, nets: Nets, wanted: AddressValue) -> Nets:
        there = self.net(wanted.address)
        return [(key, there if key == wanted.interface else net) for key, net in nets]

    def _destination(self, ref: Ref, nets: Nets, line: list[Step]) -> None:
        pointer = self.states[ref.device].destinations[ref.name].hears
        begins: Step | None = None
        for step in line:
            held = _heard(nets, pointer)
            if step.kind is _REPOINT and isinstance(step.wanted, Hearing):
                pointer = _pointer(step.wanted)
            elif isinstance(step.wanted, AddressValue):
                nets = self._moved(nets, step.wanted)
            ends = self.confirm_of(step) if step.kind is StepKind.READDRESS else step
            self.pointed.append(Pointed(ref, held, begins, ends))
            begins = step
        self.pointed.append(Pointed(ref, _heard(nets, pointer), begins, None))


def _held(nets: Nets, number: int | None, groups: tuple[str | None, ...]) -> tuple[Held, ...]:
    """What a source holds; one thing stands once, though two legs may be on one network."""
    if len(nets) == 1 == len(groups) and number is not None and groups[0] is not None:
        net = nets[0][1]  # as by far the most devices are
        return () if net is None else (("number", net, number), ("group", net, groups[0]))
    held: list[Held] = []
    for leg, (_, net) in enumerate(nets):
        if net is None:
            continue
        if number is not None:
            held.append(("number", net, number))
        group = groups[leg] if leg < len(groups) else None
        if group is not None:
            held.append(("group", net, group))
    return tuple(dict.fromkeys(held))


def _heard(nets: Nets, pointer: int | str | None) -> tuple[Held, ...]:
    """What a destination that points at ``pointer`` hears."""
    if pointer is None:
        return ()
    kind = "number" if isinstance(pointer, int) else "group"
    return tuple(dict.fromkeys([(kind, net, pointer) for _, net in nets if net is not None]))


def _brought(state: DeviceState) -> Iterator[int | str | None]:
    """Every number, group and pointer that a device takes along to another network."""
    for source in state.sources.values():
        yield source.number
        yield from source.groups
    for destination in state.destinations.values():
        yield destination.hears


def _pointer(hearing: Hearing) -> int | str | None:
    return hearing.number if hearing.number is not None else hearing.group
