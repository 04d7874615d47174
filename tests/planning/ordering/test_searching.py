"""The search: never worse than where it began, and bounded."""

import pytest

from orchestrator.planning.ordering.bounds import length_bound, silence_bounds
from orchestrator.planning.ordering.placing import Placing
from orchestrator.planning.ordering.searching import late_order, search
from orchestrator.planning.ordering.tasks import Tasks
from tests.planning.ordering.problems import orders, problem


def floor_of(tasks: Tasks) -> tuple[int, int]:
    """What no order is below."""
    weights = [weight for _, _, weight in tasks.silences]
    bounds = silence_bounds(tasks)
    return sum(map(int.__mul__, weights, bounds)), length_bound(tasks)


@pytest.mark.parametrize("seed", range(30))
def test_it_finds_the_best_order_of_a_small_problem(seed: int) -> None:
    """Against every order there is: the least cost."""
    tasks = problem(seed)
    best = min(Placing(tasks).place(order)[0] for order in orders(tasks))
    found = search(Placing(tasks), late_order(tasks), floor_of(tasks), 50_000)
    assert Placing(tasks).place(found.orders[-1])[0] == best


def test_no_work_no_tries() -> None:
    """With nothing to spend the order stays as it was, and that is said."""
    tasks = problem(5, 4)
    found = search(Placing(tasks), late_order(tasks), (0, 0), 0)
    assert found.tries == 0
    assert not found.whole


def test_a_late_order_has_disables_late() -> None:
    """Each disable comes right before what it is for, and the order agrees with the tasks."""
    tasks = problem(0, 1)
    assert late_order(tasks) == [0, 1, 2]
    for seed in range(20):
        tasks = problem(seed, 3)
        order = late_order(tasks)
        assert all(order.index(b) < order.index(t) for t in order for b in tasks.before[t])


def test_the_same_problem_gives_the_same_orders() -> None:
    """No clock and no chance: twice the same."""
    tasks = problem(11, 4)
    one = search(Placing(tasks), late_order(tasks), (0, 0), 5000)
    other = search(Placing(tasks), late_order(tasks), (0, 0), 5000)
    assert one == other
