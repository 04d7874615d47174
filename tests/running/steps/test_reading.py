"""What outcomes mean, where chance seldom leads; the common ones are in the dialogues."""

import pytest

from orchestrator.running.operations import Accepted, Nobody, Saw
from orchestrator.running.steps.hand import Hand
from orchestrator.running.steps.life import OutOfTurn, Stage
from orchestrator.running.steps.reading import happening_of, told
from tests.running.made_up import BY_ID, EXPECTS, FRESH, NORTH, source, state_of
from tests.running.seldom import MOVE, SELDOM, Seldom


@pytest.mark.parametrize(
    "case", SELDOM, ids=lambda case: f"{case.stage.name}-{case.happening.name}"
)
def test_seldom_outcomes(case: Seldom) -> None:
    """Each seldom row is reached by an outcome that can happen, and leads where the table says."""
    hand = Hand(
        step=case.step,
        expects=EXPECTS[case.step.device],
        stage=case.stage,
        waits=case.waits,
        left=case.left,
        gone_to=case.gone_to,
        sends=1,
    )
    assert happening_of(hand, case.outcome) is case.happening
    then = told(hand, case.outcome)
    assert then.stage is case.to
    assert then.said or then.stage is not Stage.FAILING


def test_an_outcome_of_another_operation_is_refused() -> None:
    """A read is not accepted; the hand is a value and stays as it was."""
    hand = Hand(step=MOVE, expects=EXPECTS[FRESH], stage=Stage.LOOKING)
    with pytest.raises(OutOfTurn, match="Read was answered"):
        told(hand, Accepted())
    assert hand == Hand(step=MOVE, expects=EXPECTS[FRESH], stage=Stage.LOOKING)


def test_a_failure_says_what_the_device_shows() -> None:
    """Another hand's value, the one expected and the one wanted are all in the sentence."""
    hand = Hand(step=BY_ID["south.take"], expects=EXPECTS["south"], stage=Stage.LOOKING)
    then = told(hand, Saw(state_of("south", sources={"one": source(415)})))
    assert then.said == "south/one shows 415, neither 411 as expected nor 311 as wanted"


def test_a_device_that_does_not_answer_is_named_with_its_address() -> None:
    """Who, and where."""
    hand = Hand(step=BY_ID["north.off"], expects=EXPECTS[NORTH], stage=Stage.LOOKING)
    assert told(hand, Nobody()).said == "north does not answer at 10.44.3.31"
