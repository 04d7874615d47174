import pytest

from orchestrator.planning.scheduling.carry import carry
from orchestrator.planning.scheduling.holding import hold
from orchestrator.planning.scheduling.keeping import behind_of
from orchestrator.planning.scheduling.placing import Placing
from orchestrator.planning.scheduling.searching import late_order
from tests.planning.scheduling.problems import chance, problem

URGENT = problem(("b", 5, ()), ("a", 2, (0,)), ("a", 9, ()), ("a", 3, ()))
"""Device a waits for b, then has a short task; a long one would be in its way, another not."""


def test_a_task_that_would_be_in_the_way_goes_behind() -> None:
    """The long one waits; the one that fits into the idle time does not."""
    behind = behind_of(URGENT, {}, [0, 5, 7, 16], [0, 1, 2, 3])
    assert behind == {2: (1,)}
    assert carry(URGENT, (0, 1, 2, 3), behind) == [0, 5, 7, 0]


def test_without_it_the_urgent_one_would_wait() -> None:
    """That is what soft orders are for."""
    assert carry(URGENT, (0, 1, 2, 3)) == [0, 9, 0, 11]


def test_a_device_without_idle_time_needs_none() -> None:
    """The order of the schedule is enough."""
    tasks = problem(("a", 1, ()), ("a", 1, ()), ("a", 1, ()))
    assert behind_of(tasks, {}, [0, 1, 2], [0, 1, 2]) == {}


@pytest.mark.parametrize("seed", range(60))
def test_a_run_keeps_to_the_plan_or_does_better(seed: int) -> None:
    """Carried out with ties and soft orders, the silences cost no more than planned."""
    tasks = chance(seed, sources=6)
    placing = Placing(tasks)
    order, held = hold(placing, late_order(tasks))
    planned = placing.earliest(order)[0]
    ties = {off: (first,) for off, first in held.items()}
    behind = behind_of(tasks, ties, planned, order)
    start = carry(tasks, order, ties, behind)
    cost = [
        tasks.cost(each, [s + length for s, length in zip(each, tasks.length, strict=True)])
        for each in (start, planned)
    ]
    assert cost[0] <= cost[1]
