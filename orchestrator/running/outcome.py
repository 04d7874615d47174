"""What a finished run made true, as edits of the plan."""

from collections.abc import Iterator, Mapping, Sequence

from orchestrator.facility.edit import (
    Edit,
    SetAddress,
    SetDestination,
    SetSerial,
    SetSource,
    Unassigned,
)
from orchestrator.facility.found import DeviceState, SourceState
from orchestrator.facility.plan import Device, ListensTo, Plan, PlannedSource, Ref
from orchestrator.facility.step import AddressValue, Step, StepKind
from orchestrator.running.events import Event
from orchestrator.running.present import state_now
from orchestrator.running.record import RunRecord


def edits(plan: Plan, record: RunRecord, events: Sequence[Event]) -> tuple[Edit, ...]:
    """What has to be written into ``plan`` so that it says what the run made true.

    Of a unit that joined the facility every source is written; of the others what the run wrote.
    """
    now = state_now(record, events)
    found: list[Edit] = []
    for name, state in now.items():
        steps = [step for step in record.sequence.steps if step.device == name]
        device = plan.devices[name]
        found.extend(_addresses(plan, device, state))
        if device.serial is None:
            found.append(SetSerial(name, state.identity.serial))
        found.extend(_sources(plan, device, state, steps))
        found.extend(_destinations(plan, device, state, steps, now))
    return tuple(found)


def _addresses(plan: Plan, device: Device, state: DeviceState) -> Iterator[Edit]:
    planned = {item.name: item for item in device.interfaces}
    only = len(planned) == 1 and len(state.interfaces) == 1
    for name, value in state.interfaces.items():
        item = device.interfaces[0] if only else planned.get(name)
        network = plan.network_of(value.address)
        if item is None or network is None or network.bench or item.address == value.address:
            continue
        moved = network.name if network.name != item.network else None
        yield SetAddress(device.name, item.name, value.address, moved)


def _sources(
    plan: Plan, device: Device, state: DeviceState, steps: Sequence[Step]
) -> Iterator[Edit]:
    joined = any(_joins(plan, step) for step in steps)
    touched = {step.source for step in steps if step.source is not None}
    for name, source in state.sources.items():
        if not joined and name not in touched:
            continue
        planned = device.sources.get(name, PlannedSource(name=name))
        edit = SetSource(
            device=device.name,
            source=name,
            number=_number(planned, source),
            groups=_groups(planned, source),
            label=source.label if planned.label != source.label else None,
            enabled=source.enabled if planned.enabled is not source.enabled else None,
        )
        if edit != SetSource(device=device.name, source=name):
            yield edit


def _number(planned: PlannedSource, source: SourceState) -> int | Unassigned | None:
    """The number, where the plan does not say it already."""
    if source.number is None:
        return Unassigned() if planned.number is not None or planned.groups else None
    return source.number if planned.number != source.number else None


def _groups(planned: PlannedSource, source: SourceState) -> tuple[str, ...] | None:
    """The groups, where the plan says others itself; elsewhere they follow from the number."""
    groups = tuple(group for group in source.groups if group is not None)
    whole = len(groups) == len(source.groups)
    return groups if whole and planned.groups not in (None, groups) else None


def _joins(plan: Plan, step: Step) -> bool:
    if step.kind is not StepKind.READDRESS or not isinstance(step.as_found, AddressValue):
        return False
    network = plan.network_of(step.as_found.address)
    return network is None or network.bench


def _destinations(
    plan: Plan,
    device: Device,
    state: DeviceState,
    steps: Sequence[Step],
    now: Mapping[str, DeviceState],
) -> Iterator[Edit]:
    for name in dict.fromkeys(s.destination for s in steps if s.destination is not None):
        hears = state.destinations[name].hears
        planned = device.destinations.get(name)
        listens = _listens_to(plan, now, hears)
        if planned is None or planned.listens_to != listens:
            yield SetDestination(device.name, name, listens)


def _listens_to(plan: Plan, now: Mapping[str, DeviceState], hears: int | str | None) -> ListensTo:
    """The source that holds what a destination points at; the figure itself if nobody does."""
    if hears is None:
        return ListensTo()
    holders = [
        Ref(device, name)
        for device, state in now.items()
        for name, source in state.sources.items()
        if hears in (source.number, *source.groups)
    ]
    if not holders:
        holders = [
            Ref(name, source.name)
            for name, device in plan.devices.items()
            if name not in now
            for source in device.sources.values()
            if hears in (source.number, *(_planned_groups(plan, device, source.number)))
        ]
    if len(holders) == 1:
        return ListensTo(source=holders[0])
    return ListensTo(number=hears) if isinstance(hears, int) else ListensTo(group=hears)


def _planned_groups(plan: Plan, device: Device, number: int | None) -> tuple[str, ...]:
    numbering = plan.networks[device.interfaces[0].network].numbering if device.interfaces else None
    if numbering is None or number is None or not numbering.has_group(number):
        return ()
    return (numbering.group(number),)
