"""A look at a device while the intent that it belongs to goes to disk."""

from dataclasses import replace

import pytest

from orchestrator.facility.step import StepKind
from orchestrator.running.operations import Elapsed, Nobody, Read, Saw, Stored
from orchestrator.running.steps.ahead import Ahead, ahead_of
from orchestrator.running.steps.hand import Hand
from orchestrator.running.steps.life import OutOfTurn, Stage
from orchestrator.running.steps.together import Together
from tests.running.made_up import AT, BY_ID, EXPECTS, source, state_of, step

OFF = BY_ID["north.off"]
LABEL = step("north.label", StepKind.SET, "", "N", "north.off", source="one", order=5)
HAND = Hand(step=OFF, expects=EXPECTS["north"])
ON_AIR = Saw(state_of("north", sources={"one": source(311, enabled=True)}))


def ahead(*hands: Hand) -> Ahead | None:
    """What goes along with what these want next."""
    together = Together(hands)
    return ahead_of(together, together.operation())


def test_the_look_is_the_one_of_the_step_to_come() -> None:
    """With a proof in the same lot: what is proved then is over, and is not looked at."""
    proved = replace(HAND, stage=Stage.PROVING)
    along = ahead(proved, replace(HAND, step=LABEL, holds=(OFF,)))
    assert along is not None
    assert along.look == Read(LABEL, AT["north"], (OFF,))
    assert [hand.step for hand in along.after.over] == [OFF]
    assert [hand.stage for hand in along.left.hands] == [Stage.LOOKING]


@pytest.mark.parametrize(
    "hand",
    [
        replace(HAND, doubt=True),
        replace(HAND, step=replace(OFF, kind=StepKind.CONFIRM)),
        replace(HAND, step=replace(OFF, kind=StepKind.BY_HAND)),
        replace(HAND, stage=Stage.PROVING),
        replace(HAND, stage=Stage.DOUBTING),
        replace(HAND, stage=Stage.LOOKING),
    ],
    ids=["in doubt", "confirm", "by hand", "proof", "doubt", "no store"],
)
def test_nothing_else_goes_along(hand: Hand) -> None:
    """Only the look before a first write."""
    assert ahead(hand) is None


def test_what_is_seen_counts_unless_it_is_stale() -> None:
    """And a look that is still being answered goes on."""
    along = ahead(HAND)
    assert along is not None
    assert along.once(Stored()) is None
    assert along.once(Stored(stale=True)) is None
    along.see(ON_AIR)
    seen, before = along.once(Stored()), along.once(Stored(stale=True))
    assert seen is not None
    assert before is not None
    assert [hand.stage for hand in seen.hands] == [Stage.SENDING]
    assert [hand.stage for hand in before.hands] == [Stage.LOOKING]


def test_a_look_takes_only_its_own_answers() -> None:
    """Others are refused, and change nothing."""
    along = ahead(HAND)
    assert along is not None
    with pytest.raises(OutOfTurn):
        along.see(Elapsed())
    assert along.seen is None
    along.see(Nobody("gone"))
    assert along.seen is not None
