"""One part, from its tasks to starts and ties."""

import pytest

from orchestrator.planning.ordering.carry import carry
from orchestrator.planning.ordering.parts import parts_of
from orchestrator.planning.ordering.placing import Placing
from orchestrator.planning.ordering.solving import Solver, spoken_to
from orchestrator.planning.ordering.tasks import ranks
from tests.planning.ordering.problems import breaks, orders, problem


@pytest.mark.parametrize("seed", range(40))
def test_its_starts_are_what_a_run_does_with_its_ties(seed: int) -> None:
    """Carried out with the waits and the soft orders, each task starts when it says."""
    for part in parts_of(problem(seed, 3)):
        solved = Solver(100_000).solve(part, 100_000)
        gates = [
            (*before, *solved.waits.get(task, ()), *solved.behind.get(task, ()))
            for task, before in enumerate(part.tasks.before)
        ]
        assert breaks(part.tasks, solved.start) == []
        assert carry(part.tasks, gates, ranks(solved.order)) == solved.start


@pytest.mark.parametrize("seed", range(25))
def test_it_is_near_the_best_of_all_orders(seed: int) -> None:
    """Against every order of a small problem: at most a tenth above the least silence."""
    tasks = problem(seed)
    best = min(Placing(tasks).place(order)[0] for order in orders(tasks))
    cost = 0
    for part in parts_of(tasks):
        solved = Solver(100_000).solve(part, 100_000)
        ends = [s + n for s, n in zip(solved.start, part.tasks.length, strict=True)]
        cost += part.tasks.cost(solved.start, ends)
    assert best <= cost <= 1.1 * best


def test_a_profile_counts_the_devices_at_work() -> None:
    """From when to when how many are spoken to; it ends when the part does."""
    (part, *_) = parts_of(problem(2, 3))
    solved = Solver(10_000).solve(part, 10_000)
    profile = solved.profile()
    assert profile[-1][1] == solved.length
    assert all(0 < count <= solved.devices for _, _, count, _ in profile)
    assert spoken_to(part.tasks) <= set(part.tasks.device)
