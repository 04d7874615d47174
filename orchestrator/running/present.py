"""What is true of the devices now: the states stored before the run, with its writes put in."""

from collections.abc import Iterable, Mapping
from dataclasses import replace

from orchestrator.facility.found import (
    DestinationState,
    DeviceState,
    InterfaceState,
    SourceState,
)
from orchestrator.facility.step import AddressValue, Assigned, Hearing, Step, StepKind, StepValue
from orchestrator.running.events import Event, Failed, Intended, Proved, Sent
from orchestrator.running.record import RunRecord

_NO_SOURCE = SourceState(number=None, groups=(), label="", enabled=False)
_NO_DESTINATION = DestinationState(hears=None)


def put(state: DeviceState, step: Step, value: StepValue) -> DeviceState:
    """``state`` with what ``step`` is about set to ``value``.

    Steps that set nothing (save, confirm) and acts by hand leave it as it is.
    """
    if step.kind in {StepKind.SAVE, StepKind.CONFIRM, StepKind.BY_HAND}:
        return state
    if step.source is not None:
        old = state.sources.get(step.source, _NO_SOURCE)
        return replace(state, sources={**state.sources, step.source: _source(old, step, value)})
    if step.destination is not None:
        heard = state.destinations.get(step.destination, _NO_DESTINATION)
        there = {**state.destinations, step.destination: _destination(heard, value)}
        return replace(state, destinations=there)
    if isinstance(value, AddressValue):
        interface = InterfaceState(
            address=value.address, prefix=value.prefix, gateway=value.gateway
        )
        return replace(state, interfaces={**state.interfaces, value.interface: interface})
    if step.setting is not None and isinstance(value, bool | int | float | str):
        return replace(state, settings={**state.settings, step.setting: value})
    return state


def _source(old: SourceState, step: Step, value: StepValue) -> SourceState:
    match value:
        case Assigned(number=number, groups=groups):
            return replace(old, number=number, groups=groups or old.groups)
        case bool() if step.kind in {StepKind.DISABLE, StepKind.ENABLE}:
            return replace(old, enabled=value)
        case str():
            return replace(old, label=value)
        case _:
            return old


def _destination(old: DestinationState, value: StepValue) -> DestinationState:
    match value:
        case Hearing(number=number, group=group):
            return replace(old, hears=group if number is None else number)
        case str():
            return replace(old, label=value)
        case _:
            return old


def state_now(record: RunRecord, events: Iterable[Event]) -> Mapping[str, DeviceState]:
    """The devices that the run touches, as its proved steps leave them.

    A step's latest event counts: one that was proved and failed after all is not put in. Steps in
    doubt are not put in either: :func:`orchestrator.running.view.in_doubt` names them.
    """
    steps = {step.id: step for step in record.sequence.steps}
    states = {name: found.state for name, found in record.before.items()}
    for name in proved_steps(events):
        step = steps.get(name)
        if step is not None and step.device in states:
            states[step.device] = put(states[step.device], step, step.wanted)
    return states


def proved_steps(events: Iterable[Event]) -> tuple[str, ...]:
    """The ids of the steps that stand proved, in the order in which they were proved."""
    proved: dict[str, None] = {}
    for event in events:
        match event:
            case Proved(step=step):
                proved.setdefault(step)
            case Intended(step=step) | Sent(step=step) | Failed(step=step):
                proved.pop(step, None)
            case _:
                pass
    return tuple(proved)
