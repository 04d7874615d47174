"""The first order, by list scheduling."""

import pytest

from orchestrator.planning.ordering.listing import listed
from orchestrator.planning.ordering.searching import late_order
from tests.planning.ordering.problems import breaks, problem


@pytest.mark.parametrize("seed", range(60))
@pytest.mark.parametrize("width", [1, 2, 8])
def test_it_is_a_schedule(seed: int, width: int) -> None:
    """Every task once, nothing broken, the order that of the starts."""
    tasks = problem(seed, 4, width)
    order, start = listed(tasks, late_order(tasks))
    assert sorted(order) == list(range(len(tasks.length)))
    assert breaks(tasks, start) == []
    assert [start[task] for task in order] == sorted(start)


def test_what_ends_a_silence_goes_first() -> None:
    """Of an enable and a disable that are ready on one device, the enable is done first."""
    tasks = problem(4, 4, 1)
    order, start = listed(tasks, late_order(tasks))
    for off, on, _ in tasks.silences:
        ready = max(start[b] + tasks.length[b] for b in tasks.before[on])
        between = [
            other
            for other, _, _ in tasks.silences
            if other != off and ready <= start[other] < start[on]
        ]
        assert between == []
    assert order
