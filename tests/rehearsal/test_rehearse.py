"""Rehearsals: the real machine over simulated devices."""

import pytest

from orchestrator.errors import CallError
from orchestrator.rehearsal.rehearse import many
from orchestrator.running.rehearsed import Fault, Trouble
from tests.planning.hand import chain, exchange, join, readdress, ring
from tests.rehearsal.premises_of import of, rehearsed


@pytest.mark.parametrize("boxes", [chain, ring, readdress, exchange, join])
def test_without_faults_every_run_finishes_by_itself(boxes) -> None:  # type: ignore[no-untyped-def]  # noqa: ANN001
    """And no rule is broken."""
    told = many(of(boxes()), times=10, seed=1, words=lambda step: str(step.kind))
    assert len(told.finished) == 10
    assert not told.broken
    assert told.calm


def test_the_same_seed_is_the_same_rehearsal() -> None:
    """To the last figure."""
    what = of(exchange())
    fault = Fault("a", Trouble.LOSES_ANSWERS)
    assert rehearsed(what, fault, seed=7) == rehearsed(what, fault, seed=7)
    assert rehearsed(what, fault, seed=7) != rehearsed(what, fault, seed=8)


@pytest.mark.parametrize("trouble", [one for one in Trouble if one is not Trouble.OTHER_HAND])
def test_whatever_goes_wrong_the_run_ends_or_can_be_finished(trouble: Trouble) -> None:
    """No rule is broken, and once it is calm a resume reaches the end."""
    what = of(readdress())
    for seed in range(15):
        time = rehearsed(what, Fault("b", trouble), seed=seed)
        assert not time.broken, seed
        assert time.finished or time.resumes is not None, (seed, time.held)


def test_a_pause_says_on_which_device_and_why() -> None:
    """What it would have paused on, in the words of the run."""
    time = rehearsed(of(readdress()), Fault("b", Trouble.ADDRESS_TAKEN))
    assert not time.finished
    assert time.resumes == 1
    assert [held.device for held in time.held] == ["b"]
    assert "127.44.3.40" in time.held[0].why


def test_faults_are_drawn_anew_each_time() -> None:
    """So many each time, beside those that are always there."""
    always = Fault("a", Trouble.SLOW)
    told = many(
        of(chain()), times=12, seed=1, words=lambda step: str(step.kind), faults=[always], drawn=2
    )
    assert all(time.faults[0] == always and len(time.faults) == 3 for time in told.times)
    assert len({time.faults for time in told.times}) > 6
    assert not told.calm


def test_a_fault_that_touches_nothing_is_refused() -> None:
    """Before anything is rehearsed."""
    with pytest.raises(CallError, match="nobody"):
        many(
            of(chain()),
            times=1,
            seed=1,
            words=lambda step: str(step.kind),
            faults=[Fault("nobody", Trouble.SLOW)],
        )


def test_it_is_told_as_it_goes() -> None:
    """The number of each that is done."""
    counted: list[int] = []
    many(of(chain()), times=3, seed=1, words=lambda step: str(step.kind), told=counted.append)
    assert counted == [1, 2, 3]
