"""Carried out on paper, just as a run does."""

from dataclasses import replace

import pytest

from orchestrator.planning.ordering.carry import carry
from orchestrator.planning.ordering.tasks import ranks
from tests.planning.ordering.problems import breaks, problem


@pytest.mark.parametrize("seed", range(80))
@pytest.mark.parametrize("width", [1, 2, 16])
def test_nothing_is_broken(seed: int, width: int) -> None:
    """Waits, devices and the width are kept."""
    tasks = problem(seed, 4, width)
    start = carry(tasks, tasks.before, ranks(range(len(tasks.length))))
    assert breaks(tasks, start) == []


def test_the_lowest_rank_goes_first() -> None:
    """Of two that may start on one device, the one with the lower rank does."""
    tasks = replace(
        problem(0, 2), device=(0,) * 6, before=((),) * 6, later=((),) * 6, length=(10,) * 6
    )
    order = [4, 2, 0, 5, 3, 1]
    start = carry(tasks, tasks.before, ranks(order))
    assert sorted(range(6), key=start.__getitem__) == order


def test_phases_come_one_after_another() -> None:
    """Nothing of a later phase starts before the one before it is done."""
    tasks = replace(problem(2, 2), phase=(0, 0, 0, 1, 1, 1), before=((),) * 6, later=((),) * 6)
    start = carry(tasks, tasks.before, ranks(range(6)))
    ends = [begin + length for begin, length in zip(start, tasks.length, strict=True)]
    assert min(start[3:]) >= max(ends[:3])


def test_a_circle_is_told() -> None:
    """Tasks that wait for one another end in words, not in waiting for ever."""
    tasks = problem(0, 1)
    with pytest.raises(ValueError, match="circle"):
        carry(tasks, [(2,), (0,), (1,)], [0, 1, 2])
