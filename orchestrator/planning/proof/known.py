"""H7: every step is about something that the survey found; what was never read is not written."""

from collections.abc import Iterator

from orchestrator.facility.found import DeviceState
from orchestrator.facility.hazard import Hazard
from orchestrator.facility.step import AddressValue, Step
from orchestrator.planning.proof.case import broken, label
from orchestrator.planning.proof.lines import Lines
from orchestrator.planning.scene import Scene


def unknown(scene: Scene, lines: Lines) -> Iterator[Hazard]:
    """Each step on a device that was not found, or about something that the device has not."""
    for device, own in lines.items():
        planned = device in scene.plan.devices and device in scene.traits
        state = scene.found.state(device) if planned else None
        for step in own.steps:
            if state is None:
                what = _why_not(scene, device)
            elif (missing := _missing(state, step)) is not None:
                what = f"{device} has no {missing}"
            else:
                continue
            yield broken("H7", f"{label(step)} can't be done: {what}", (step.id, device))


def _why_not(scene: Scene, device: str) -> str:
    if device not in scene.plan.devices or device not in scene.traits:
        return f"the plan has no device {device} that can be spoken to"
    return f"{device} was not found: its state was never read"


def _missing(state: DeviceState, step: Step) -> str | None:
    if step.source is not None:
        if step.source not in state.sources:
            return f"source {step.source}"
    elif step.setting is not None and step.setting not in state.settings:
        return f"setting {step.setting}"
    if step.destination is not None and step.destination not in state.destinations:
        return f"destination {step.destination}"
    if isinstance(step.wanted, AddressValue) and step.wanted.interface not in state.interfaces:
        return f"interface {step.wanted.interface}"
    return None
