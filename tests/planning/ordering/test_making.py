"""The whole schedule."""

from dataclasses import replace

import pytest

from orchestrator.planning.ordering.bounds import silence_bounds
from orchestrator.planning.ordering.carry import carry
from orchestrator.planning.ordering.making import make
from tests.planning.ordering.problems import breaks, problem


@pytest.mark.parametrize("seed", range(60))
@pytest.mark.parametrize("width", [1, 2, 16])
def test_what_is_told_is_what_a_run_does(seed: int, width: int) -> None:
    """Nothing broken, no silence below its bound, and the times are those carried out."""
    tasks = problem(seed, 4, width)
    made = make(tasks)
    assert breaks(tasks, made.start) == []
    for (off, on, _), bound in zip(tasks.silences, silence_bounds(tasks), strict=True):
        assert made.end[on] - made.start[off] >= bound
    gates = [
        (*before, *made.waits.get(task, ()), *made.behind.get(task, ()))
        for task, before in enumerate(tasks.before)
    ]
    assert carry(tasks, gates, made.rank) == made.start


def test_without_work_it_says_that_it_stopped() -> None:
    """A search that may not try anything is not whole, unless nothing was to gain."""
    assert not all(make(problem(seed, 5), work=0).whole for seed in range(20))
    assert make(problem(1, 1)).whole


def test_a_circle_is_told() -> None:
    """Tasks that wait for one another are refused in words."""
    tasks = problem(0, 1)
    circle = replace(tasks, before=((2,), (0,), (1,)), later=((1,), (2,), (0,)))
    with pytest.raises(ValueError, match="circle"):
        make(circle)
