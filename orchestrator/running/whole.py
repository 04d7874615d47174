"""What a run is made of, looked through before anything is done with it."""

from collections.abc import Mapping

from orchestrator.facility.found import Identity
from orchestrator.facility.step import Sequence, StepKind
from orchestrator.running.events import Event


def devices_of(sequence: Sequence) -> tuple[str, ...]:
    """The devices that the steps of ``sequence`` are about, each once."""
    return tuple(dict.fromkeys(step.device for step in sequence.steps))


def check(sequence: Sequence, expects: Mapping[str, Identity], events: tuple[Event, ...]) -> None:
    """See that nothing is missing.

    Raises:
        ValueError: a step is named but not there, or twice; a device has no identity to expect;
            or the events are not this sequence's.
    """
    names = [step.id for step in sequence.steps]
    known = set(names)
    if len(known) != len(names):
        raise ValueError("two steps have one id")
    for step in sequence.steps:
        if missing := set(step.after) - known:
            raise ValueError(f"step {step.id} comes after {min(missing)}, which is not there")
        if missing := set(step.behind) - known:
            raise ValueError(f"step {step.id} stands behind {min(missing)}, which is not there")
        if step.kind is not StepKind.BY_HAND and step.device not in expects:
            raise ValueError(f"step {step.id}: nothing says who {step.device} must prove to be")
    for event in events:
        name = getattr(event, "step", None)
        if name is not None and name not in known:
            raise ValueError(f"the events speak of step {name}, which is not there")
