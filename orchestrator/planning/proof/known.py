"""H7: every step is about something that the survey found; what was never read is not written."""

from collections.abc import Iterator, Mapping

from orchestrator.facility.found import DeviceState, Found
from orchestrator.facility.hazard import Hazard
from orchestrator.facility.step import AddressValue, Sequence, Step
from orchestrator.planning.proof.case import broken, label
from orchestrator.planning.scene import Scene


def unknown(scene: Scene, sequence: Sequence) -> Iterator[Hazard]:
    """Each step on a device that was not found, or about something that the device has not."""
    for step in sequence.steps:
        entry = scene.found.devices.get(step.device)
        if step.device not in scene.plan.devices or step.device not in scene.traits:
            what = f"the plan has no device {step.device} that can be spoken to"
        elif not isinstance(entry, Found):
            what = f"{step.device} was not found: its state was never read"
        elif (missing := _missing(entry.state, step)) is not None:
            what = f"{step.device} has no {missing}"
        else:
            continue
        yield broken("H7", f"{label(step)} can't be done: {what}", (step.id, step.device))


def _missing(state: DeviceState, step: Step) -> str | None:
    interface = step.wanted.interface if isinstance(step.wanted, AddressValue) else None
    setting = step.setting if step.source is None else None
    lookups: tuple[tuple[str, str | None, Mapping[str, object]], ...] = (
        ("source", step.source, state.sources),
        ("destination", step.destination, state.destinations),
        ("interface", interface, state.interfaces),
        ("setting", setting, state.settings),
    )
    for what, name, has in lookups:
        if name is not None and name not in has:
            return f"{what} {name}"
    return None
