"""What is known of a step when it is taken in hand."""

from dataclasses import replace

from orchestrator.facility.step import AddressValue, Step, StepKind
from orchestrator.running.events import Event, Failure, Intended, Proved
from orchestrator.running.fold import Folding, fold
from orchestrator.running.steps.hand import Hand
from orchestrator.running.steps.life import Stage
from orchestrator.running.steps.patience import Patience
from orchestrator.running.steps.taking import gone_back, taken, writes
from tests.running.made_up import AT, BENCH, EXPECTS, FRESH, JOINED, NEW, number, step

OFF = step("fresh.off", StepKind.DISABLE, True, False)
NUMBER = step("fresh.number", StepKind.RENUMBER, number(311), number(321), "fresh.off", order=1)
MOVE = step("fresh.move", StepKind.READDRESS, BENCH, JOINED, "fresh.number", order=2)
SEEN = step("fresh.seen", StepKind.CONFIRM, BENCH, JOINED, "fresh.move", order=3, at=NEW)
STEPS = {one.id: one for one in (OFF, NUMBER, MOVE, SEEN)}


def take(one: Step, *events: Event) -> Hand:
    """The step in hand after ``events``."""
    state = Folding(fold(events))
    patience, who = Patience(), EXPECTS[FRESH]
    return taken(one, list(STEPS), STEPS, state, expects=who, patience=patience)


def test_what_it_rests_on_are_proved_steps_of_its_device() -> None:
    """A number rests on its source being off; what is not proved is nothing to rest on."""
    assert take(NUMBER).holds == ()
    assert take(NUMBER, Intended(OFF.id), Proved(OFF.id)).holds == (OFF,)


def test_what_was_begun_before_is_in_doubt() -> None:
    """Its write may have landed, or may land yet; a look alone leaves nothing to doubt."""
    assert not take(NUMBER).doubt
    begun = take(NUMBER, Intended(NUMBER.id))
    assert (begun.doubt, begun.earlier) == (True, True)
    assert not take(SEEN, Intended(SEEN.id)).doubt
    assert [writes(one) for one in STEPS.values()] == [True, True, True, False]


def test_a_confirm_knows_where_its_device_came_from() -> None:
    """There it is looked for, should nobody answer at the new address."""
    hand = take(SEEN, Proved(MOVE.id))
    assert (hand.left, hand.readdress) == (AT[FRESH], MOVE.id)
    stays = replace(MOVE, wanted=AddressValue("main", AT[FRESH], 16))
    assert taken(
        SEEN, list(STEPS), {**STEPS, MOVE.id: stays}, Folding(fold(())),
        expects=None, patience=Patience(),
    ).left is None  # fmt: skip


def test_what_has_moved_since_is_looked_at_where_it_is() -> None:
    """A step that is done again after its device was readdressed."""
    hand = take(NUMBER, Proved(NUMBER.id), Proved(MOVE.id))
    assert (hand.gone_to, hand.left, hand.readdress) == (NEW, AT[FRESH], MOVE.id)


def test_what_stands_where_it_stood_before_a_move_takes_back_the_confirm_too() -> None:
    """The move itself failed along with the step that saw it; nothing else is taken back."""
    hand = replace(take(NUMBER, Proved(NUMBER.id), Proved(MOVE.id)), stage=Stage.FAILED)
    assert gone_back(replace(hand, why=Failure.NOT_DONE), STEPS) == (SEEN,)
    assert gone_back(replace(hand, why=Failure.UNREACHABLE), STEPS) == ()


def test_a_save_that_finds_nobody_takes_back_the_last_move() -> None:
    """A device that can't be found may have gone back to where it booted."""
    save = step("fresh.save", StepKind.SAVE, None, None, "fresh.seen")
    failed = replace(take(SEEN), step=save, stage=Stage.FAILED, why=Failure.UNREACHABLE)
    assert gone_back(replace(failed, holds=(MOVE,)), STEPS) == (MOVE, SEEN)
    assert gone_back(replace(failed, holds=(MOVE,), why=Failure.REJECTED), STEPS) == ()
