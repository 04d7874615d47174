"""Rehearsals of random facilities under random faults; the command tries as many as wished."""

import pytest

from orchestrator.running.rehearsed import Fault, Held, Time, Trouble
from tests.rehearsal.__main__ import attempt, main, wrong

CHUNK = 20


@pytest.mark.parametrize("first", range(0, 100, CHUNK))
def test_no_rule_is_broken_and_resumes_finish_it(first: int) -> None:
    """Whatever goes wrong: that is what a user is told of a rehearsal."""
    told = [attempt(seed, 3, 2) for seed in range(first, first + CHUNK)]
    assert [(seed, wrong(times)) for seed, times in told if wrong(times)] == []
    assert sum(len(times) for _, times in told) > CHUNK


@pytest.mark.parametrize(
    "seed",
    [
        741,  # lost its power while its new address was probed
        915,  # another hand did what the run wants, and took it back
        3227,  # a number put right by hand, with its source on
        3384,  # a destination pointed by number at who comes from a bench
    ],
)
def test_seeds_that_failed_once(seed: int) -> None:
    """Each for a reason of its own."""
    assert wrong(attempt(seed, 3, 4)[1]) == ""


def test_what_was_wrong_is_told_with_what_makes_it_again(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """A broken rule, and a run that no resume finishes."""
    slow = (Fault("a", Trouble.SLOW),)
    rule = Time(seed=7, faults=slow, finished=True, seconds=1.0, broken=("H8: a hears b",))
    assert wrong([rule]) == "H8: a hears b (rehearsal 7, under a=slow)"
    stuck = Time(seed=7, finished=False, resumes=None, seconds=1.0, held=(Held("a", "a", "why"),))
    assert wrong([stuck]) == "no resume finishes it: why (rehearsal 7, under no fault)"
    assert main(["--seeds", "4", "--devices", "2", "--times", "1", "--processes", "1"]) == 0
    assert "seeds that failed        0" in capsys.readouterr().out
