"""For how long what was sent may still land."""

import pytest

from orchestrator.facility.step import StepKind
from orchestrator.running.events import Event, Failed, Failure, Intended, Paused, Proved, Sent
from orchestrator.running.in_flight import may_land_s
from orchestrator.running.steps.patience import Patience
from tests.running.made_up import SEQUENCE

LATE, SETTLE = 3.0, 8.0
PATIENCE = {step.device: Patience(late_s=LATE, settle_s=SETTLE) for step in SEQUENCE.steps}
WRITE, READDRESS, CONFIRM = (
    next(step.id for step in SEQUENCE.steps if step.kind is kind)
    for kind in (StepKind.DISABLE, StepKind.READDRESS, StepKind.CONFIRM)
)


@pytest.mark.parametrize(
    ("events", "seconds"),
    [
        ((), 0.0),
        ((Intended(WRITE),), LATE),
        ((Intended(WRITE), Sent(WRITE, known=False)), LATE),
        ((Intended(WRITE), Intended(READDRESS), Paused("stopped")), SETTLE),
        ((Intended(WRITE), Proved(WRITE)), 0.0),
        ((Intended(WRITE), Failed(WRITE, Failure.UNKNOWN, "?", unsure=True)), 0.0),
        ((Intended(CONFIRM),), 0.0),
    ],
)
def test_only_what_was_begun_and_never_settled(events: tuple[Event, ...], seconds: float) -> None:
    """A failure waited its time out already; a confirm sends nothing that could land."""
    assert may_land_s(SEQUENCE, events, PATIENCE) == seconds
