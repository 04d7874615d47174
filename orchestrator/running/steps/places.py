"""Where the device of a step stands, as far as the run has moved it."""

from collections.abc import Iterable, Mapping

from orchestrator.facility.step import Step, StepKind


def readdress_of(confirm: Step, steps: Mapping[str, Step]) -> Step | None:
    """The readdress that ``confirm`` confirms: the last of its device that it comes after.

    None for any other kind of step.
    """
    if confirm.kind is not StepKind.CONFIRM:
        return None
    found = [
        steps[name]
        for name in confirm.after
        if steps[name].kind is StepKind.READDRESS and steps[name].device == confirm.device
    ]
    return max(found, key=lambda readdress: readdress.order, default=None)


def moved_since(step: Step, steps: Mapping[str, Step], proved: Iterable[str]) -> Step | None:
    """The last readdress of the device of ``step`` that was done after ``step``.

    Such a step is not done again: after a readdress no source is renumbered or switched off.
    None for the readdress itself, its confirm, and whatever was not moved since.
    """
    if step.kind in (StepKind.READDRESS, StepKind.CONFIRM):
        return None
    moved = [
        other
        for other in (steps[name] for name in proved)
        if other.device == step.device
        and other.kind is StepKind.READDRESS
        and other.order > step.order
    ]
    return max(moved, key=lambda other: other.order, default=None)
