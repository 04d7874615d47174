"""What a sequence makes true: who holds what from when to when, who is heard where."""

from orchestrator.facility.found import AsFound, DeviceState, Found, SourceState
from orchestrator.facility.plan import Plan, Ref
from orchestrator.facility.step import AddressValue, Assigned, Hearing, Step, StepKind
from orchestrator.planning.proof.held import Audible, Held, Holdings, Nets, Pointed, Span
from orchestrator.planning.proof.lines import Lines, Own
from orchestrator.planning.proof.order import Order

_UNTOUCHED = Own()
_NO_STEPS: list[Step] = []
_DISABLE, _ENABLE, _REPOINT = StepKind.DISABLE, StepKind.ENABLE, StepKind.REPOINT


class Replay:
    """Walks each device through its own steps, in order.

    A thing that no step takes or points at stays with whoever has it, and breaks no rule that it
    did not break before; so what no step touches is written down only where it concerns a thing
    that somebody's steps do: those are walked first.
    """

    def __init__(self, plan: Plan, found: AsFound, order: Order, own: Lines) -> None:
        self.plan = plan
        self.order = order
        self.own = own
        self.states: dict[str, DeviceState] = {
            name: entry.state for name, entry in found.devices.items() if isinstance(entry, Found)
        }
        self._nets: dict[str, str | None] = {}
        self.held = Holdings()
        self.audible: list[Audible] = []
        self.pointed: list[Pointed] = []
        for name in plan.devices:
            if name in self.states:
                self._device(name)
            else:
                self._absent(name)
        self._look_up_what_is_on_air()
        for name in plan.devices:
            if name in self.states and not own.get(name, _UNTOUCHED).moves:
                self._bystanders(name)
        self._listen()

    def _look_up_what_is_on_air(self) -> None:
        """What an on-air destination hears concerns the proof too, to know what feeds it."""
        for ref in self.plan.on_air:
            state = self.states.get(ref.device)
            if state is not None and ref.name in state.destinations:
                self.held.heard(self._nets_of(state), state.destinations[ref.name].hears)

    def _listen(self) -> None:
        """Note who is enabled on what is pointed at."""
        for time in self.audible:
            for thing in time.held:
                if thing.audible is not None:
                    thing.audible.append(time)

    def _nets_of(self, state: DeviceState) -> Nets:
        return [(key, self.net(value.address)) for key, value in state.interfaces.items()]

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
            _keep(self.held.address(net, interface.address), name, name)
            for source in device.sources.values():
                owner = str(Ref(name, source.name))
                if source.number is not None:
                    _keep(self.held.stream(net, source.number), owner, name)
                for group in (source.groups or ())[leg : leg + 1]:
                    _keep(self.held.stream(net, group), owner, name)
            owned = {source.number for source in device.sources.values()}
            for number in device.numbers:
                if number not in owned:
                    _keep(self.held.stream(net, number), name, name)

    def confirm_of(self, readdress: Step) -> Step | None:
        """The confirm that proves a readdress."""
        for step in self.own[readdress.device].steps:
            fits = step.kind is StepKind.CONFIRM and step.wanted == readdress.wanted
            if fits and self.order.before(readdress, step):
                return step
        return None

    def _device(self, name: str) -> None:
        """Walk through what steps touch: all of a device that is readdressed."""
        state, own = self.states[name], self.own.get(name, _UNTOUCHED)
        nets, moves = self._nets_of(state), own.moves
        for key, value in state.interfaces.items():
            of_it = [
                m for m in moves if isinstance(m.wanted, AddressValue) and m.wanted.interface == key
            ]
            self._address(name, value.address, of_it)
        for source in state.sources if moves else own.of_source:
            line = self._line(own.of_source.get(source, _NO_STEPS), moves)
            self._source(f"{name}/{source}", name, state.sources[source], nets, line)
        for destination in state.destinations if moves else own.of_destination:
            line = self._line(own.of_destination.get(destination, _NO_STEPS), moves)
            self._destination(Ref(name, destination), nets, line)

    def _bystanders(self, name: str) -> None:
        """What no step touches, of a device that stays where it is: it keeps what it has."""
        state, own = self.states[name], self.own.get(name, _UNTOUCHED)
        nets = self._nets_of(state)
        known = self.held.known(nets)
        for source, found in state.sources.items():
            if source not in own.of_source and (
                found.number in known or not known.keys().isdisjoint(found.groups)
            ):
                self._bystander(f"{name}/{source}", name, found, nets)
        for destination, now in state.destinations.items():
            if destination not in own.of_destination and now.hears in known:
                self._destination(Ref(name, destination), nets, _NO_STEPS)

    def _line(self, own: list[Step], moves: list[Step]) -> list[Step]:
        """The steps of one source or destination among its device's readdresses, in order."""
        return self.order.in_order([*own, *moves]) if moves else own

    def _bystander(self, owner: str, device: str, found: SourceState, nets: Nets) -> None:
        held = self.held.of_source(nets, found.number, found.groups)
        for thing in held:
            _keep(thing, owner, device)
        if found.enabled:
            self.audible.append(Audible(owner, device, held, None, None))

    def _address(self, name: str, address: str, moves: list[Step]) -> None:
        taken: Step | None = None
        for move in moves:
            net = self.net(address)
            if net is not None:
                proved = self.confirm_of(move)
                times = self.held.address(net, address).spans
                times.append(Span(name, name, taken, move, proved))
            taken = move
            address = move.wanted.address if isinstance(move.wanted, AddressValue) else address
        net = self.net(address)
        if net is not None:
            self.held.address(net, address).spans.append(Span(name, name, taken, None, None))

    def _source(
        self, owner: str, device: str, found: SourceState, nets: Nets, line: list[Step]
    ) -> None:
        enabled, audible = found.enabled, self.audible
        begins: Step | None = None
        number, groups = found.number, found.groups
        held = self.held.of_source(nets, number, groups)
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
            held = self.held.of_source(nets, number, groups)
            kept = {thing: since.pop(thing, step) for thing in held}
            _let_go(owner, device, since, step, proved)
            since = kept
        _let_go(owner, device, since, None, None)
        if enabled:
            audible.append(Audible(owner, device, held, begins, None))

    def _moved(self, nets: Nets, wanted: AddressValue) -> Nets:
        there = self.net(wanted.address)
        return [(key, there if key == wanted.interface else net) for key, net in nets]

    def _destination(self, ref: Ref, nets: Nets, line: list[Step]) -> None:
        pointer = self.states[ref.device].destinations[ref.name].hears
        begins: Step | None = None
        for step in line:
            held = self.held.heard(nets, pointer)
            if step.kind is _REPOINT and isinstance(step.wanted, Hearing):
                pointer = _pointer(step.wanted)
            elif isinstance(step.wanted, AddressValue):
                nets = self._moved(nets, step.wanted)
            ends = self.confirm_of(step) if step.kind is StepKind.READDRESS else step
            self.pointed.append(Pointed(ref, held, begins, ends))
            begins = step
        self.pointed.append(Pointed(ref, self.held.heard(nets, pointer), begins, None))


def _keep(thing: Held, owner: str, device: str) -> None:
    thing.spans.append(Span(owner, device, None, None, None))


def _let_go(
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
        thing.spans.append(span)


def _pointer(hearing: Hearing) -> int | str | None:
    return hearing.number if hearing.number is not None else hearing.group
