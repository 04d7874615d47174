"""Devices of a run that do not answer when it is to be taken back: what they hold is theirs still.

No answer is not vacant. Such a device holds what the ledger says that the run left it with; where
a write is in doubt, or was not proved to be saved, it may hold what it held before as well.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

from orchestrator.facility.found import AsFound, DeviceState
from orchestrator.facility.hazard import Grade, Hazard
from orchestrator.facility.plan import Device, Interface, Plan
from orchestrator.facility.step import AddressValue, Assigned, Step, StepKind
from orchestrator.running.events import Event
from orchestrator.running.present import proved_steps, state_now
from orchestrator.running.record import RunRecord
from orchestrator.running.view import in_doubt


def unreached(
    record: RunRecord, events: Sequence[Event], now: AsFound, written: Iterable[str]
) -> Mapping[str, DeviceState]:
    """The devices among ``written`` that do not answer, as the run left them."""
    left = state_now(record, events)
    return {name: left[name] for name in dict.fromkeys(written) if now.state(name) is None}


def figures_in_doubt(
    record: RunRecord, events: Sequence[Event], device: str
) -> tuple[int | str, ...]:
    """Numbers and groups that ``device`` may hold beside those that the run left it with."""
    doubt, proved = in_doubt(record, events), set(proved_steps(events))
    own = [step for step in record.sequence.steps if step.device == device]
    unsaved = any(step.kind is StepKind.SAVE and step.id not in proved for step in own)
    values = [
        value
        for step in own
        if step.id in doubt or (unsaved and step.id in proved)
        for value in (step.as_found, step.wanted)
        if isinstance(value, Assigned)
    ]
    figures = (figure for value in values for figure in (value.number, *value.groups))
    return tuple(dict.fromkeys(figure for figure in figures if figure is not None))


def plan_with(
    plan: Plan, record: RunRecord, events: Sequence[Event], lost: Mapping[str, DeviceState]
) -> Plan:
    """``plan`` with what the devices ``lost`` hold by the ledger, in place of what it says."""
    devices = {
        name: _as_left(plan, plan.devices[name], state, record, events)
        for name, state in lost.items()
        if name in plan.devices
    }
    return replace(plan, devices={**plan.devices, **devices})


def _as_left(
    plan: Plan, device: Device, state: DeviceState, record: RunRecord, events: Sequence[Event]
) -> Device:
    sources = {
        name: replace(
            planned,
            number=state.sources[name].number,
            groups=tuple(group for group in state.sources[name].groups if group is not None),
        )
        for name, planned in device.sources.items()
        if name in state.sources
    }
    own = {source.number for source in sources.values()}
    held = [source.number for source in state.sources.values()]
    more = (*held, *figures_in_doubt(record, events, device.name))
    numbers = (figure for figure in more if isinstance(figure, int) and figure not in own)
    return replace(
        device,
        sources={**device.sources, **sources},
        numbers=tuple(dict.fromkeys((*device.numbers, *numbers))),
        interfaces=_interfaces(plan, device, state, record, events),
    )


def _interfaces(
    plan: Plan, device: Device, state: DeviceState, record: RunRecord, events: Sequence[Event]
) -> tuple[Interface, ...]:
    """Where it stands, and in doubt also where it stood or was to stand."""
    doubt = in_doubt(record, events)
    moves = [s for s in record.sequence.steps if s.device == device.name and s.id in doubt]
    addresses = [interface.address for interface in state.interfaces.values()]
    for step in moves:
        values = (step.as_found, step.wanted)
        addresses += [value.address for value in values if isinstance(value, AddressValue)]
    found = []
    for count, address in enumerate(dict.fromkeys(addresses)):
        network = plan.network_of(address)
        if network is not None:
            found.append(Interface(f"at-{count}", network.name, address))
    return tuple(found) or device.interfaces


def hazards_of(
    record: RunRecord, now: AsFound, lost: Iterable[str], written: Sequence[Step]
) -> tuple[Hazard, ...]:
    """What stays undone on the devices that do not answer, each asked about by name."""
    return tuple(_hazard(record, now, device, written) for device in lost)


def _hazard(record: RunRecord, now: AsFound, device: str, written: Sequence[Step]) -> Hazard:
    steps = [step.id for step in written if step.device == device]
    why = getattr(now.devices.get(device), "why", "it was not surveyed")
    return Hazard(
        name=f"unreached:{device}",
        rule="H7",
        grade=Grade.NEEDS_NAME,
        what=f"{device} can't be reached ({why}), so what the run wrote there stays: steps "
        f"{', '.join(steps)}",
        where=(device,),
        fix=f"get it to answer; or accept it by name, and follow by hand, in the rollback notes of "
        f"run {record.id} ('cutsheet rollback-notes {record.id}'), the steps of {device}. Once it "
        f"answers again, 'cutsheet undo {record.id}' takes back the rest",
    )
