"""For how long what a run that stopped had sent may still land."""

from collections.abc import Iterable, Mapping

from orchestrator.facility.step import Sequence, StepKind
from orchestrator.running.events import Event
from orchestrator.running.fold import Standing, fold
from orchestrator.running.steps.patience import Patience

_SEND_NOTHING = (StepKind.CONFIRM, StepKind.BY_HAND)


def may_land_s(
    sequence: Sequence, events: Iterable[Event], patience: Mapping[str, Patience]
) -> float:
    """Seconds from now after which nothing that was sent can land any more; 0: nothing is open.

    A step that was begun and never settled may have been sent in the last instant before the run
    stopped: what a device says before that time has passed is no ground to write on.
    """
    standings = fold(tuple(events)).standings
    longest = 0.0
    for step in sequence.steps:
        begun = standings.get(step.id) is Standing.INTENDED
        if begun and step.kind not in _SEND_NOTHING:
            patient = patience.get(step.device, Patience())
            readdress = step.kind is StepKind.READDRESS
            longest = max(longest, patient.settle_s if readdress else patient.late_s)
    return longest
