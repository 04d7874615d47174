"""What a sequence makes of a facility when it is done whole: a survey after the run."""

from dataclasses import replace

from orchestrator.facility.found import AsFound, DeviceState, Found, InterfaceState
from orchestrator.facility.step import (
    AddressValue,
    Assigned,
    Hearing,
    Sequence,
    Step,
    StepKind,
)
from orchestrator.planning.scene import Scene


def applied(where: Scene, sequence: Sequence) -> Scene:
    """``where`` as a survey would find it after every step, in the sequence's own order.

    Each step is refused (AssertionError) unless the device answers at the step's address and
    holds what the step expects.
    """
    devices = dict(where.found.devices)
    for step in sequence.steps:
        entry = devices[step.device]
        assert isinstance(entry, Found)
        if step.kind is StepKind.CONFIRM and isinstance(step.wanted, AddressValue):
            assert entry.state.interfaces[step.wanted.interface].address == step.wanted.address
            entry = replace(entry, at=step.at)
        elif step.kind is not StepKind.CONFIRM:
            assert step.at == next(iter(entry.state.interfaces.values())).address, step
        devices[step.device] = replace(entry, state=_done(entry.state, step))
    after = AsFound(facility="Test", taken_at="2026-01-01T01:00:00+00:00", devices=devices)
    return replace(where, found=after)


def _done(state: DeviceState, step: Step) -> DeviceState:
    wanted = step.wanted
    if isinstance(wanted, AddressValue) and step.kind is StepKind.READDRESS:
        new = InterfaceState(address=wanted.address, prefix=wanted.prefix, gateway=wanted.gateway)
        return replace(state, interfaces={**state.interfaces, wanted.interface: new})
    if step.destination is not None and isinstance(wanted, Hearing):
        hears = wanted.group if wanted.number is None else wanted.number
        new_one = replace(state.destinations[step.destination], hears=hears)
        return replace(state, destinations={**state.destinations, step.destination: new_one})
    if step.source is not None:
        source = state.sources[step.source]
        if isinstance(wanted, Assigned):
            source = replace(source, number=wanted.number, groups=wanted.groups)
        elif step.kind in {StepKind.DISABLE, StepKind.ENABLE}:
            source = replace(source, enabled=step.kind is StepKind.ENABLE)
        elif step.kind is StepKind.SET and isinstance(wanted, str):
            source = replace(source, label=wanted)
        return replace(state, sources={**state.sources, step.source: source})
    if step.kind is StepKind.SET and step.setting and isinstance(wanted, bool | int | float | str):
        return replace(state, settings={**state.settings, step.setting: wanted})
    return state
