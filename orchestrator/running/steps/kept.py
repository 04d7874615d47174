"""What a first save is to keep: values that somebody else set, and that are in the device unsaved.

Such a save comes before all other steps (``ordering/finish``), and they rest on it: another source
may take a number that the device lets go of for good only once this is saved. None of it was set by
the run; so what was found tells whether it is there still, or was lost to a power cycle.
"""

from collections.abc import Iterator, Mapping

from orchestrator.facility.found import DeviceState
from orchestrator.facility.step import Assigned, Step, StepKind


def keeps(
    step: Step, steps: Mapping[str, Step], found: Mapping[str, DeviceState]
) -> DeviceState | None:
    """The state that ``step`` is to keep as it was found; None: it keeps what the run has set."""
    if step.kind is not StepKind.SAVE:
        return None
    own = any(steps[name].device == step.device for name in step.after)
    return None if own else found.get(step.device)


def strayed(device: str, found: DeviceState, state: DeviceState) -> Iterator[str]:
    """The numbers, switches and pointers that are not as they were found, in words."""
    for name, was in found.sources.items():
        now = state.sources.get(name)
        if now is None:
            yield f"{device}/{name} is not there"
            continue
        held, meant = (Assigned(one.number, one.groups) for one in (now, was))
        if held != meant:
            yield f"{device}/{name} is {held}, not {meant}"
        if now.enabled != was.enabled:
            yield f"{device}/{name} is {'on' if now.enabled else 'off'}"
    for name, heard in found.destinations.items():
        hears = state.destinations.get(name)
        if hears is None or hears.hears != heard.hears:
            there = "not there" if hears is None else f"pointed at {hears.hears or 'nobody'}"
            yield f"{device}/{name} is {there}"
