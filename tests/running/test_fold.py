"""A run's state from its events."""

from orchestrator.running.events import (
    Answered,
    Asked,
    Event,
    Failed,
    Failure,
    Finished,
    Intended,
    Paused,
    Proved,
    Resumed,
    Sent,
)
from orchestrator.running.fold import Standing, State, fold

SURE = Failed("a", Failure.REJECTED, "no")
UNSURE = Failed("a", Failure.UNKNOWN, "?", unsure=True)


def test_a_step_nobody_speaks_of_is_open() -> None:
    """No events, no standing."""
    assert fold(()) == State()
    assert fold(()).standing("a") is Standing.OPEN


def test_the_last_event_of_a_step_counts() -> None:
    """Intended, proved, and failed after all."""
    assert fold([Intended("a")]).standing("a") is Standing.INTENDED
    assert fold([Intended("a"), Sent("a", known=True)]).standing("a") is Standing.INTENDED
    assert fold([Intended("a"), Proved("a")]).standing("a") is Standing.PROVED
    failed = fold([Intended("a"), Proved("a"), UNSURE])
    assert failed.standing("a") is Standing.FAILED
    assert failed.failures == {"a": UNSURE}


def test_a_resume_opens_what_failed_and_keeps_what_may_have_landed() -> None:
    """A sure failure is open again; an unsure one stays intended, so that it is read first."""
    assert fold([Intended("a"), SURE, Resumed()]).standing("a") is Standing.OPEN
    resumed = fold([Intended("a"), UNSURE, Paused("?"), Resumed()])
    assert resumed.standing("a") is Standing.INTENDED
    assert resumed.failures == {}
    assert resumed.ended is None


def test_an_intent_without_an_end_stays_intended_at_resume() -> None:
    """The process stopped there: it may have landed."""
    assert fold([Intended("a"), Resumed()]).standing("a") is Standing.INTENDED


def test_a_go_is_kept_at_resume_and_a_no_go_is_not() -> None:
    """A no is for that night."""
    events: list[Event] = [
        Asked("go:1"),
        Answered("go:1", go=True),
        Asked("go:2"),
        Answered("go:2", go=False),
    ]
    assert fold(events).answers == {"go:1": True, "go:2": False}
    assert fold([*events, Paused("no-go"), Resumed()]).answers == {"go:1": True}


def test_how_it_ended_is_kept() -> None:
    """Paused and finished are told apart."""
    assert fold([Paused("why")]).ended == Paused("why")
    assert fold([Finished()]).ended == Finished()


def test_folding_in_two_parts_is_folding_at_once() -> None:
    """A live run and a resumed one come to the same state."""
    events: list[Event] = [
        Intended("a"),
        SURE,
        Paused("no"),
        Resumed(),
        Intended("a"),
        Proved("a"),
        Finished(),
    ]
    for cut in range(len(events)):
        assert fold(events[cut:], fold(events[:cut])) == fold(events)
