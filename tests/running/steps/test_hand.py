"""A step in hand, as a value."""

from dataclasses import replace

import pytest

from orchestrator.facility.step import AddressValue, StepKind
from orchestrator.running.events import Failure, Proved
from orchestrator.running.operations import Read, Store, Stored, Wait
from orchestrator.running.steps.hand import Hand, by_hand_text, new_address, target
from orchestrator.running.steps.life import Happening, OutOfTurn, Stage
from tests.running.made_up import AT, BY_ID, EXPECTS, FRESH, JOINED, NEW, step

MOVE, THERE = BY_ID["fresh.move"], BY_ID["fresh.there"]


def test_a_readdress_leads_to_its_wanted_address_if_the_device_is_spoken_to_there() -> None:
    """A second interface's move changes nothing in where the device is spoken to."""
    assert (target(MOVE), new_address(MOVE)) == (NEW, NEW)
    other = replace(MOVE, as_found=AddressValue("b", "10.45.3.9", 24))
    assert new_address(other) == AT[FRESH]


def test_a_confirm_that_is_still_to_be_spoken_to_at_the_old_address_reads_the_new() -> None:
    """Whatever a sequence says of where it starts, a confirm reads where the device went."""
    there = replace(THERE, at=AT[FRESH], as_found=JOINED)
    hand = Hand(step=there, expects=EXPECTS[FRESH], stage=Stage.CONFIRMING, left=AT[FRESH])
    assert hand.operation() == Read(there, NEW)


def test_a_hand_that_is_over_asks_for_nothing() -> None:
    """Proved is proved."""
    hand = Hand(step=MOVE, expects=EXPECTS[FRESH], stage=Stage.PROVED)
    assert hand.over
    with pytest.raises(OutOfTurn):
        hand.operation()


def test_being_told_gives_another_hand() -> None:
    """The first stays as it was."""
    hand = Hand(step=MOVE, expects=EXPECTS[FRESH])
    then = hand.next(Happening.INTENDED, Stored(), "")
    assert (hand.stage, then.stage) == (Stage.INTENDING, Stage.LOOKING)


def test_a_device_that_asks_for_patience_gets_it_for_a_minute_at_most() -> None:
    """The longer of our own wait and its own, capped."""
    hand = Hand(step=MOVE, expects=EXPECTS[FRESH], stage=Stage.BUSY_WAIT)
    assert hand.operation() == Wait(MOVE, 1.0)
    assert replace(hand, retry_after_s=9.0).operation() == Wait(MOVE, 9.0)
    assert replace(hand, retry_after_s=999.0).operation() == Wait(MOVE, 60.0)


def test_already_means_that_the_run_sent_nothing_for_it() -> None:
    """Not after a send, and not where an earlier attempt may have sent it."""
    hand = Hand(step=MOVE, expects=EXPECTS[FRESH], stage=Stage.PROVING)
    for changed, already in (
        (hand, True),
        (replace(hand, sends=1), False),
        (replace(hand, earlier=True), False),
        (replace(hand, step=THERE), False),
    ):
        assert changed.operation() == Store((Proved(changed.step.id, already=already),))


def test_only_a_confirm_that_finds_the_device_back_takes_its_readdress_back() -> None:
    """Any other failure of a confirm leaves the readdress proved."""
    hand = Hand(step=THERE, expects=None, stage=Stage.FAILING, readdress=MOVE.id)
    back = replace(hand, why=Failure.NOT_DONE).operation()
    lost = replace(hand, why=Failure.UNREACHABLE).operation()
    assert isinstance(back, Store)
    assert isinstance(lost, Store)
    assert [getattr(event, "step", "") for event in back.events] == [MOVE.id, THERE.id]
    assert [getattr(event, "step", "") for event in lost.events] == [THERE.id]


def test_a_step_by_hand_is_put_in_words() -> None:
    """What, from what to what, why, and how to answer."""
    cable = step("fresh.cable", StepKind.BY_HAND, "bench", "media", setting="cable")
    assert by_hand_text(replace(cable, why=("the switch port is ready",))) == (
        "By hand: fresh: cable, from bench to media.",
        "the switch port is ready",
        "Go once it is done.",
    )
    assert by_hand_text(replace(cable, setting=None, wanted=None))[0] == "By hand: fresh."
