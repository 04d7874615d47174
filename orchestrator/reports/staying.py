"""What is not taken back: faults that the run mended stay mended, and what follows from that.

- what would put a source or a unit back onto a duplicate stays as it is
- so does what would be put onto something that such a source or unit now holds
- so do destinations that were pointed at such a source
- a source that would stay on a transit number is not switched on there
- a source is not switched off and on again for nothing
"""

from collections.abc import Mapping, Sequence
from ipaddress import IPv4Network

from orchestrator.facility.found import DeviceState
from orchestrator.facility.step import AddressValue, Assigned, Hearing, Step, StepKind
from orchestrator.reports.words import interim_steps
from orchestrator.running.record import RunRecord

Thing = tuple[str, str, int | str]
"""A number, group or address on a network."""


def staying(
    record: RunRecord, written: Sequence[Step], now: Mapping[str, DeviceState]
) -> frozenset[str]:
    """The ids of the steps in ``written`` (in the order of the way back) not to be taken back."""
    kept = _kept(record, written, now)
    kept |= _stranded(record, written, kept, now)
    return kept | _pointless(written, kept)


def _kept(
    record: RunRecord, written: Sequence[Step], now: Mapping[str, DeviceState]
) -> frozenset[str]:
    """Steps that would bring a mended fault back, and those that would run into what they hold."""
    kept = {
        step.subject
        for step in written
        for fault, holders in record.mended.items()
        if step.subject in holders and _restores(step, fault)
    }
    while True:
        taken = {thing for subject in kept for thing in _held(subject, now)}
        more = {
            step.subject
            for step in written
            if step.kind in {StepKind.RENUMBER, StepKind.READDRESS}
            and step.subject not in kept
            and taken & _given_back(step, record)
        }
        if not more:
            break
        kept |= more
    identity = {StepKind.RENUMBER, StepKind.READDRESS}
    return frozenset(
        step.id
        for step in written
        if (step.kind in identity and step.subject in kept) or _follows(step, taken, now)
    )


def _restores(step: Step, fault: str) -> bool:
    """Whether taking back ``step`` would put its subject onto what ``fault`` names."""
    kind, value = (*fault.split(), "", "")[:2]
    match step.as_found:
        case Assigned(number=number, groups=groups) if step.kind is StepKind.RENUMBER:
            return (kind == "number" and value == str(number)) or (
                kind == "group" and value in groups
            )
        case AddressValue(address=address) if step.kind is StepKind.READDRESS:
            return kind == "address" and value == address
        case _:
            return False


def _follows(step: Step, taken: set[Thing], now: Mapping[str, DeviceState]) -> bool:
    """Whether the step points a destination at something that stays where it is."""
    if step.kind is not StepKind.REPOINT or not isinstance(step.wanted, Hearing):
        return False
    hears = (step.wanted.number, step.wanted.group)
    nets = _networks(now[step.device]) if step.device in now else ()
    return any(
        (kind, net, value) in taken
        for kind, value in zip(("number", "group"), hears, strict=True)
        if value is not None
        for net in nets
    )


def _networks(state: DeviceState) -> tuple[str, ...]:
    return tuple(
        _network(interface.address, interface.prefix) for interface in state.interfaces.values()
    )


def _network(address: str, prefix: int) -> str:
    return str(IPv4Network(f"{address}/{prefix}", strict=False))


def _given_back(step: Step, record: RunRecord) -> set[Thing]:
    """What the subject of ``step`` would hold once the step is taken back."""
    found = record.before.get(step.device)
    nets = _networks(found.state) if found else ()
    match step.as_found:
        case Assigned(number=number, groups=groups):
            return _things(nets, number, groups)
        case AddressValue(address=address, prefix=prefix):
            return {("address", _network(address, prefix), address)}
        case _:
            return set()


def _held(subject: str, states: Mapping[str, DeviceState]) -> set[Thing]:
    """What a source (``device/source``) or a unit (``device``) holds in ``states``."""
    device, _, name = subject.partition("/")
    state = states.get(device)
    if state is None:
        return set()
    nets = _networks(state)
    if not name:
        found = zip(nets, state.interfaces.values(), strict=True)
        return {("address", net, interface.address) for net, interface in found}
    source = state.sources.get(name)
    if source is None:
        return set()
    return _things(nets, source.number, source.groups)


def _things(nets: Sequence[str], number: int | None, groups: Sequence[str | None]) -> set[Thing]:
    things: set[Thing] = set()
    if number is not None:
        things |= {("number", net, number) for net in nets}
    legs = zip(nets, groups, strict=False)
    return things | {("group", net, group) for net, group in legs if group is not None}


def _stranded(
    record: RunRecord,
    written: Sequence[Step],
    kept: frozenset[str],
    now: Mapping[str, DeviceState],
) -> frozenset[str]:
    """Switch-ons of sources that stay on a transit number: nothing is on the air from there."""
    interim = interim_steps(record.sequence)
    passing = {
        step.subject
        for step in written
        if step.id in kept and step.id in interim and _stands(step, now)
    }
    return frozenset(
        step.id for step in written if step.kind is StepKind.DISABLE and step.subject in passing
    )


def _stands(step: Step, now: Mapping[str, DeviceState]) -> bool:
    """Whether the source still holds what the renumber gave it."""
    state = now.get(step.device)
    source = state.sources.get(step.source or "") if state else None
    return (
        source is not None
        and isinstance(step.wanted, Assigned)
        and source.number == step.wanted.number
    )


def _pointless(written: Sequence[Step], kept: frozenset[str]) -> frozenset[str]:
    """Switching a source off and on again with nothing in between that needs it off."""
    idle: set[str] = set()
    subjects = {step.subject for step in written if step.id in kept and step.source is not None}
    for subject in subjects:
        switches = [
            step
            for step in written
            if step.subject == subject and step.kind in {StepKind.DISABLE, StepKind.ENABLE}
        ]
        if [step.kind for step in switches] != [StepKind.ENABLE, StepKind.DISABLE]:
            continue
        first, last = (written.index(step) for step in switches)
        between = [step for step in written[first + 1 : last] if step.id not in kept]
        device = subject.partition("/")[0]
        if not any(step.device == device and _needs_off(step, subject) for step in between):
            idle |= {step.id for step in switches}
    return frozenset(idle)


def _needs_off(step: Step, subject: str) -> bool:
    """Whether the step concerns the source ``subject`` of its unit, or the unit as a whole."""
    return step.subject == subject or (step.source is None and step.destination is None)
