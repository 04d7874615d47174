"""Soft orders that keep a device free for what is more urgent."""

import pytest

from orchestrator.planning.ordering.carry import carry
from orchestrator.planning.ordering.keeping import behind_of
from orchestrator.planning.ordering.placing import Placing
from orchestrator.planning.ordering.searching import late_order
from orchestrator.planning.ordering.tasks import ranks
from tests.planning.ordering.problems import breaks, problem


@pytest.mark.parametrize("seed", range(60))
def test_a_run_with_soft_orders_is_a_schedule(seed: int) -> None:
    """No circle, nothing broken."""
    tasks = problem(seed, 4)
    order = late_order(tasks)
    _, start, _ = Placing(tasks).place(order)
    behind = behind_of(tasks, tasks.before, start, order)
    gates = [(*g, *behind.get(t, ())) for t, g in enumerate(tasks.before)]
    assert breaks(tasks, carry(tasks, gates, ranks(order))) == []


def test_a_ready_task_is_put_behind_the_one_its_device_is_kept_for() -> None:
    """Somewhere a device is idle on purpose, and the soft order names the one it waits for."""
    for seed in range(200):
        tasks = problem(seed, 4)
        order = late_order(tasks)
        _, start, _ = Placing(tasks).place(order)
        for task, firsts in behind_of(tasks, tasks.before, start, order).items():
            assert all(tasks.device[first] == tasks.device[task] for first in firsts)
            assert all(start[first] <= start[task] for first in firsts)
            return
    pytest.fail("no soft order was made in 200 problems")
