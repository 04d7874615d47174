"""What failures hold back: devices and steps."""

import pytest

from orchestrator.running.events import Failed, Failure
from orchestrator.running.stuck import Stuck
from orchestrator.running.terms import AfterFailure
from tests.running.made_up import AT, BY_ID, SEQUENCE

ROOMS = dict.fromkeys(AT, "studio") | {"fresh": "bench"}


def stuck(
    *failed: Failed,
    lost: tuple[Failed, ...] = (),
    policy: AfterFailure = AfterFailure.HOLD_DEVICE,
) -> Stuck:
    """Failures of the made-up change."""
    return Stuck(steps=BY_ID, failures=failed, lost=lost, policy=policy, rooms=ROOMS)


@pytest.mark.parametrize(
    ("failed", "devices"),
    [
        (Failed("north.off", Failure.REJECTED, ""), set()),
        (Failed("north.off", Failure.REJECTED, "", unsure=True), {"north"}),
        (Failed("north.off", Failure.UNREACHABLE, ""), {"north"}),
        (Failed("north.off", Failure.WRONG_DEVICE, ""), {"north"}),
    ],
)
def test_a_device_that_is_lost_or_in_doubt_is_left_alone(failed: Failed, devices: set[str]) -> None:
    """One that refused a step surely may be given others."""
    assert stuck(failed).devices() == devices


def test_what_can_not_start_any_more() -> None:
    """All that comes after what failed, however far; nothing else."""
    failed = Failed("south.off", Failure.REJECTED, "")
    hopeless = stuck(failed).hopeless(SEQUENCE.steps)
    assert hopeless == {
        "south.off", "north.clock", "south.take", "node.follow", "north.take", "south.save",
        "north.on", "south.on", "node.tally",
    }  # fmt: skip


def test_what_a_device_went_back_on() -> None:
    """What comes after it is hopeless; it itself is to be done again."""
    lost = Failed("north.take", Failure.NOT_DONE, "", unsure=True)
    assert stuck(lost=(lost,)).hopeless(SEQUENCE.steps) == {"north.on"}


def test_a_room_that_is_held_holds_back_nobody() -> None:
    """Its steps are hopeless, too, so that what stands behind them goes on."""
    failed = Failed("fresh.off", Failure.REJECTED, "")
    held = stuck(failed, policy=AfterFailure.HOLD_ROOM)
    assert {step.id for step in SEQUENCE.steps if step.device == "fresh"} == held.hopeless(
        SEQUENCE.steps
    )


def test_nothing_failed() -> None:
    """Nothing is held back, and there is nothing to say."""
    assert stuck().hopeless(SEQUENCE.steps) == set()
    assert stuck().devices() == set()
    assert list(stuck().words()) == []
