"""Each disable held back until another task ends."""

import pytest

from orchestrator.planning.ordering.carry import carry
from orchestrator.planning.ordering.holding import hold, hold_roughly
from orchestrator.planning.ordering.placing import Placing
from orchestrator.planning.ordering.searching import late_order
from orchestrator.planning.ordering.tasks import Tasks, ranks
from tests.planning.ordering.problems import breaks, problem


def cost_of(tasks: Tasks, start: list[int]) -> int:
    """What the silences of these starts cost."""
    return tasks.cost(start, [s + n for s, n in zip(start, tasks.length, strict=True)])


def test_held_back_nothing_is_in_a_circle_and_silence_is_less() -> None:
    """A run with the ties breaks nothing, and over many problems is a good deal less silent."""
    with_ties = without = 0
    for seed in range(60):
        tasks = problem(seed, 3)
        order, held = hold(Placing(tasks), late_order(tasks))
        gates = [(*b, *([held[t]] if t in held else ())) for t, b in enumerate(tasks.before)]
        tied = carry(tasks, gates, ranks(order))
        assert breaks(tasks, tied) == []
        with_ties += cost_of(tasks, tied)
        without += cost_of(tasks, carry(tasks, tasks.before, ranks(order)))
    assert with_ties < 0.9 * without


@pytest.mark.parametrize("seed", range(60))
def test_held_roughly_it_comes_after_what_has_ended_by_then(seed: int) -> None:
    """The task that a disable is tied to has ended when the disable was to start."""
    tasks = problem(seed, 4)
    placing = Placing(tasks)
    _, start, _ = placing.place(late_order(tasks))
    wanted = {off: start[off] for off, _, _ in tasks.silences}
    order, held = hold_roughly(tasks, start, wanted)
    assert sorted(order) == list(range(len(start)))
    for off, first in held.items():
        assert start[first] + tasks.length[first] <= wanted[off]
