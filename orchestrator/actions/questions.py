"""The questions of safety: put to a person before the first write and at each go/no-go point.

No ``--yes`` answers them. Each has a name, by which it can be accepted beforehand with a reason.
"""

from collections.abc import Mapping

from orchestrator.facility.step import Sequence, StepKind
from orchestrator.reports.cautions import ALERT, HEARING, ON_AIR

BEFORE_THE_FIRST_WRITE: Mapping[str, tuple[str, ...]] = {
    "who-is-on-air": (ON_AIR.about, ON_AIR.text, "Has everybody concerned been asked?"),
    "monitors-down": (HEARING.about, HEARING.text, "Are headphones off and monitors down?"),
    "alert-chain": (
        ALERT.about,
        ALERT.text,
        "Is nothing of these chains touched, or is the written approval at hand?",
    ),
}


def go_questions(sequence: Sequence) -> Mapping[int, tuple[str, ...]]:
    """The words of the go/no-go question before each phase but the first."""
    return {number: _go(sequence, number) for number in range(1, len(sequence.phases))}


def _go(sequence: Sequence, number: int) -> tuple[str, ...]:
    steps = [step for step in sequence.steps if step.phase == number]
    rooms = " and ".join(sequence.phases[number].rooms)
    silenced = sum(step.kind is StepKind.DISABLE for step in steps)
    return (
        f"Go or no-go: phase {number + 1} of {len(sequence.phases)}, {rooms}",
        f"Everything before it is confirmed. It has {len(steps)} steps.",
        f"Sources that it switches off for a time: {silenced}.",
        "This is the last moment to turn back before it.",
    )
