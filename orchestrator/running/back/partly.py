"""Which part of a run is taken back with a room, so that nothing is left half-way.

- all that the run wrote on the room's devices
- all that it began elsewhere and can't end, because it waits for that room
- whoever now holds what one of these has to get back, or points at once it is back
- all that a device was given elsewhere which gets its address back: it comes with what it had
- all of a device that the run took to another network, and of which anything is taken back: what it
  held there means somebody else here
- whoever was pointed at one of these, on the network on which it still is
"""

from collections.abc import Collection, Iterator, Sequence
from ipaddress import IPv4Network

from orchestrator.facility.found import DeviceState
from orchestrator.facility.step import AddressValue, Assigned, Hearing, Step, StepKind
from orchestrator.running.back.mended import Lines
from orchestrator.running.events import Event
from orchestrator.running.present import proved_steps
from orchestrator.running.record import RunRecord
from orchestrator.running.view import networks

Figure = int | str
Claim = Figure | tuple[IPv4Network | None, Figure]
"""What is held, wherever that is; or on that network."""


def part_of(
    record: RunRecord, events: Sequence[Event], lines: Lines, devices: Collection[str]
) -> dict[str, dict[str, list[Step]]]:
    """The part of ``lines`` that is taken back with ``devices``, the room's."""
    proved = set(proved_steps(events))
    steps = record.sequence.steps
    begun = {step.subject for line in lines.values() for each in line.values() for step in each}
    open_ones = {step.subject for step in steps if step.id not in proved}
    back = {name for name in begun if name.partition("/")[0] in devices or name in open_ones}
    moved = {step.device for step in steps if step.kind is StepKind.READDRESS}
    crossed = _crossed(lines)
    had, has = _had(record, lines), _has(record, lines, crossed)
    while True:
        wanted = {figure for name in back for figure in had.get(name, ())}
        more = {name for name, figures in has.items() if figures & wanted}
        more |= {name.partition("/")[0] for name in back} & crossed
        more |= {name for name in begun if name.partition("/")[0] in back & moved}
        if more <= back:
            break
        back |= more
    concerned = {figure for name in back for figure in _ever_held(record, name)}
    return {
        device: kept
        for device, line in lines.items()
        if (
            kept := {
                thing: list(each)
                for thing, each in line.items()
                if each[0].subject in back
                or (device not in crossed and concerned & set(_pointers(each)))
            }
        )
    }


def _crossed(lines: Lines) -> set[str]:
    """The devices that the run took, or may have taken, to another network."""
    return {
        device
        for device, line in lines.items()
        for each in line.values()
        if _network(each[0].as_found) != _network(each[-1].wanted)
    }


def _network(value: object) -> IPv4Network | None:
    if not isinstance(value, AddressValue):
        return None
    return IPv4Network(f"{value.address}/{value.prefix}", strict=False)


def _had(record: RunRecord, lines: Lines) -> dict[str, set[Claim]]:
    """What each subject held before the run: numbers, groups, addresses.

    A device that comes back from another network brings along what its sources held, and where its
    destinations pointed.
    """
    found: dict[str, set[Claim]] = {}
    for each in _placing(lines):
        state = record.before[each[0].device].state
        figures = set(_held(each[0].as_found))
        if each[0].kind is StepKind.READDRESS:
            figures.update(_held_in(state))
            figures.update(one.hears for one in state.destinations.values() if one.hears)
        claims = found.setdefault(each[0].subject, set())
        claims |= figures
        claims |= {(network, figure) for network in networks(state) for figure in figures}
    return found


def _has(record: RunRecord, lines: Lines, crossed: Collection[str]) -> dict[str, set[Claim]]:
    """What each subject was given by the run.

    A device that it took to another network has there, too, what its sources held already.
    """
    found: dict[str, set[Claim]] = {}
    for each in _placing(lines):
        device, given = each[0].device, each[-1].wanted
        claims = found.setdefault(each[0].subject, set())
        claims |= set(_held(given))
        if each[0].kind is StepKind.READDRESS and device in crossed:
            numbered = {one[0].source for one in _placing({device: lines[device]})}
            held = _held_in(record.before[device].state, but_for=numbered)
            claims |= {(_network(given), figure) for figure in held}
    return found


def _placing(lines: Lines) -> Iterator[Sequence[Step]]:
    for line in lines.values():
        for each in line.values():
            if each[0].kind in {StepKind.RENUMBER, StepKind.READDRESS}:
                yield each


def _held_in(state: DeviceState, but_for: Collection[str | None] = ()) -> Iterator[Figure]:
    for name, source in state.sources.items():
        if name not in but_for:
            yield from _held(Assigned(source.number, source.groups))


def _ever_held(record: RunRecord, name: str) -> Iterator[Figure]:
    """What a source held before the run, and all that the run was to give it, done or not."""
    device, _, source = name.partition("/")
    entry = record.before.get(device)
    state = entry.state.sources.get(source) if entry is not None else None
    if state is not None:
        yield from _held(Assigned(state.number, state.groups))
    for step in record.sequence.steps:
        if step.subject == name:
            yield from _held(step.wanted)


def _held(value: object) -> Iterator[Figure]:
    match value:
        case Assigned(number=number, groups=groups):
            yield from (figure for figure in (number, *groups) if figure is not None)
        case AddressValue(address=address):
            yield address
        case _:
            pass


def _pointers(steps: Sequence[Step]) -> Iterator[Figure]:
    for value in (steps[0].as_found, steps[-1].wanted):
        if isinstance(value, Hearing):
            yield from (figure for figure in (value.number, value.group) if figure is not None)
