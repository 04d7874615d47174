"""Rehearsals: the real machine over simulated devices."""

from dataclasses import replace

import pytest

from orchestrator.errors import CallError
from orchestrator.facility.step import Sequence, StepKind
from orchestrator.facility.traits import Saves
from orchestrator.rehearsal.rehearse import many
from orchestrator.running.rehearsed import Fault, Trouble
from orchestrator.running.terms import AfterFailure, Terms
from tests.planning.hand import chain, dropped, exchange, join, readdress, ring, safe
from tests.rehearsal.premises_of import of, premises, rehearsed


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


def test_a_pointer_that_a_restart_brings_back_is_heard() -> None:
    """What a listener boots with counts: without its saves it hears, restarted, who came after."""
    boxes = ring()
    boxes["c"].saves = Saves.ON_SAVE
    where, sequence = safe(boxes)
    restart = Fault("c", Trouble.REBOOTS)

    def rules(steps: Sequence) -> set[str]:
        what = premises(where, steps)
        times = [rehearsed(what, restart, seed=seed) for seed in range(40)]
        return {rule[:2] for time in times for rule in time.broken}

    assert rules(sequence) == set()
    for save in [one for one in sequence.steps if (one.kind, one.device) == (StepKind.SAVE, "c")]:
        sequence = dropped(sequence, save)
    assert rules(sequence) == {"H8"}


def test_the_terms_of_the_run_are_kept() -> None:
    """It rests before a go as long as agreed; after a failure it holds what was agreed on."""
    boxes = readdress()
    boxes["b"].room = "south"
    where, sequence = safe(boxes, phases=(("south",), ("north",)))
    plain = rehearsed(premises(where, sequence))
    soaked = rehearsed(premises(where, sequence, terms=Terms(soak_s=90.0)))
    assert soaked.finished
    assert 85 < soaked.seconds - plain.seconds < 95
    held = {}
    for policy in (AfterFailure.HOLD_DEVICE, AfterFailure.HOLD_ALL):
        what = of(chain(), width=1)
        what = replace(what, terms=Terms(after_failure=policy))
        away = [rehearsed(what, Fault("c", Trouble.GOES_AWAY), seed=seed) for seed in range(12)]
        held[policy] = sum(len(time.left_silent) for time in away if not time.finished)
    assert held[AfterFailure.HOLD_ALL] >= held[AfterFailure.HOLD_DEVICE]


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
