"""How long phases take at the most."""

from dataclasses import replace

import pytest

from orchestrator.facility.step import Sequence, StepKind
from orchestrator.running.pace import BY_HAND_S, longest, phase_lengths
from orchestrator.running.steps.patience import Patience
from tests.running.made_up import AT, BY_ID, SEQUENCE

OFF = replace(BY_ID["north.off"], estimate_s=2.0)
PATIENCE = {name: Patience(late_s=6.0, settle_s=10.0) for name in AT}


@pytest.mark.parametrize(
    ("kind", "seconds"),
    [
        (StepKind.DISABLE, 10.0),  # twice its estimate, and the time in which it may show late
        (StepKind.READDRESS, 4.0),  # proved by the device's yes: its confirm waits
        (StepKind.CONFIRM, 24.0),  # and as much again as the device is given to settle
        (StepKind.BY_HAND, BY_HAND_S),
    ],
)
def test_a_step(kind: StepKind, seconds: float) -> None:
    """Twice the estimate, and all the patience that its device is given."""
    assert longest(replace(OFF, kind=kind), PATIENCE["north"]) == pytest.approx(seconds)


def test_side_by_side_and_one_after_the_other() -> None:
    """Two devices take as long as one; one device's steps add up; so do steps that wait."""
    south = replace(BY_ID["south.off"], estimate_s=2.0)
    both = Sequence(steps=(OFF, south))
    assert phase_lengths(both, PATIENCE) == (10.0,)
    assert phase_lengths(replace(both, width=1), PATIENCE) == (20.0,)
    again = replace(OFF, id="north.again")
    assert phase_lengths(Sequence(steps=(OFF, again)), PATIENCE) == (20.0,)
    waits = replace(south, after=("north.off",))
    assert phase_lengths(Sequence(steps=(OFF, waits)), PATIENCE) == (20.0,)


def test_what_goes_in_one_request_counts_once() -> None:
    """As long as the longest of it; what waits for any of it waits for all of it."""
    mate = replace(OFF, id="north.mate", estimate_s=3.0, batch=1)
    batch = (replace(OFF, batch=1), mate)
    south = replace(BY_ID["south.off"], estimate_s=2.0)
    assert phase_lengths(Sequence(steps=batch), PATIENCE) == (12.0,)
    waits = replace(south, after=("north.mate",))
    assert phase_lengths(Sequence(steps=(*batch, waits)), PATIENCE) == (22.0,)
    follows = replace(mate, behind=("south.off",))
    behind = Sequence(steps=(batch[0], follows, replace(south, after=())))
    assert phase_lengths(behind, PATIENCE) == (22.0,)


def test_each_phase_by_itself() -> None:
    """What comes after a step of another phase waits for the phase alone."""
    later = replace(BY_ID["south.off"], phase=1, after=("north.off",), estimate_s=1.0)
    assert phase_lengths(Sequence(steps=(OFF, later)), PATIENCE) == (10.0, 8.0)


def test_no_run_takes_longer_than_all_steps_in_a_row() -> None:
    """And none less than its longest step."""
    for width in (1, 2, 16):
        for phase, length in enumerate(phase_lengths(replace(SEQUENCE, width=width), PATIENCE)):
            steps = [s for s in SEQUENCE.steps if s.phase == phase]
            each = [longest(step, PATIENCE[step.device]) for step in steps]
            assert max(each) <= length <= sum(each) + 1e-9


def test_phases_without_steps() -> None:
    """Take no time."""
    assert phase_lengths(replace(SEQUENCE, steps=())) == (0.0, 0.0)
