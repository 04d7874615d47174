"""Parts one after another where not all devices can be spoken to at once."""

from dataclasses import replace

import pytest

from orchestrator.planning.ordering.making import make
from orchestrator.planning.ordering.packing import pack
from orchestrator.planning.ordering.parts import parts_of
from orchestrator.planning.ordering.solving import Solver
from orchestrator.planning.ordering.tasks import Tasks
from tests.planning.ordering.problems import breaks, problem


def many(count: int, width: int) -> Tasks:
    """So many sources that have nothing to do with each other, each on a device of its own."""
    tasks = problem(1, count, width)
    before = tuple(() if t % 3 == 0 else tuple(range(t - t % 3, t)) for t in range(3 * count))
    later = tuple(tuple(range(t + 1, t - t % 3 + 3)) for t in range(3 * count))
    device = tuple(t // 3 for t in range(3 * count))
    return replace(tasks, device=device, before=before, later=later)


@pytest.mark.parametrize("width", [1, 2, 3])
def test_whole_parts_take_turns(width: int) -> None:
    """The width is kept, and no part pauses: each is silent only as long as its own steps."""
    tasks = many(7, width)
    made = make(tasks)
    assert breaks(tasks, made.start) == []
    for off, on, _ in tasks.silences:
        assert made.end[on] - made.start[off] == sum(tasks.length[off : on + 1])


def test_with_room_for_all_nothing_is_packed() -> None:
    """Where the width does not bind, parts have no order among each other."""
    tasks = many(3, 16)
    solved = [Solver(1000).solve(part, 300) for part in parts_of(tasks)]
    assert pack(tasks, solved) == {}
