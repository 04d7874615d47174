"""What of a device's state each kind of step is about: no more is read for it."""

from collections.abc import Mapping

from orchestrator.facility.step import Step, StepKind
from orchestrator.running.protocols import EVERYTHING, Part

PARTS: Mapping[StepKind, frozenset[Part]] = {
    StepKind.DISABLE: frozenset({Part.SOURCES}),
    StepKind.ENABLE: frozenset({Part.SOURCES}),
    StepKind.RENUMBER: frozenset({Part.SOURCES}),
    StepKind.REPOINT: frozenset({Part.DESTINATIONS}),
    StepKind.SAVE: EVERYTHING,  # what it keeps is read, too
    StepKind.READDRESS: frozenset({Part.INTERFACES, Part.SOURCES}),
    StepKind.CONFIRM: frozenset({Part.INTERFACES}),
}
"""By kind; a ``set`` depends on what it sets."""


def parts_of(step: Step) -> frozenset[Part]:
    """The part of a device's state that ``step`` is about."""
    if step.kind is not StepKind.SET:
        return PARTS.get(step.kind, EVERYTHING)
    if step.source is not None:
        return frozenset({Part.SOURCES})
    return frozenset({Part.DESTINATIONS if step.destination is not None else Part.SETTINGS})
