import pytest

from orchestrator.planning.scheduling.holding import hold, hold_roughly, in_order
from orchestrator.planning.scheduling.placing import Placing
from orchestrator.planning.scheduling.searching import late_order
from tests.planning.scheduling.problems import chance, check, problem, ring


def test_a_disable_waits_for_the_end_of_another_task() -> None:
    """In the ring b goes off when a is off: it is off just when a's number is free."""
    placing = Placing(ring())
    order, waits = hold(placing, [0, 1, 4, 5, 2, 3, 6])
    assert waits == {4: 0}
    assert placing.earliest(order)[0] == [0, 10, 30, 40, 10, 20, 30]


def test_between_two_ends_the_better_one_is_taken() -> None:
    """B is quick and a slow: to go off with a would cost b 9, to go off after costs both 1."""
    tasks = problem(
        ("a", 10, ()),
        ("a", 10, (0,)),
        ("a", 10, (1,)),
        ("b", 1, ()),
        ("b", 1, (3, 1)),
        ("b", 1, (4,)),
        silences=((0, 2, 1), (3, 5, 1)),
    )
    placing = Placing(tasks)
    _, waits = hold(placing, [0, 1, 3, 4, 5, 2])
    assert waits == {3: 1}


@pytest.mark.parametrize("seed", range(60))
def test_every_disable_starts_with_an_end(seed: int) -> None:
    """Tied, a disable starts at the beginning or when some task ends, and all is a schedule."""
    tasks = chance(seed)
    placing = Placing(tasks)
    order, waits = hold(placing, late_order(tasks))
    start = placing.earliest(order)[0]
    check(tasks, start)
    ends = {0, *[begin + length for begin, length in zip(start, tasks.length, strict=True)]}
    for off, _, _ in tasks.silences:
        assert start[off] in ends
    for off, first in waits.items():
        assert start[off] >= start[first] + tasks.length[first]


@pytest.mark.parametrize("seed", range(60))
def test_the_rough_way_delays_nothing(seed: int) -> None:
    """Tied in one go, no enable ends later than it would, and the order agrees with the ties."""
    tasks = chance(seed)
    placing = Placing(tasks)
    order = late_order(tasks)
    late = placing.place(order)[1]
    wanted = {off: late[off] for off, _, _ in tasks.silences}
    start = placing.earliest(order, wanted)[0]
    again = in_order(start, wanted)
    waits = hold_roughly(tasks, start, again, wanted)
    place = {task: number for number, task in enumerate(again)}
    assert all(place[first] < place[off] for off, first in waits.items())
    for off, first in waits.items():
        placing.pin(off, first)
    tied = placing.earliest(again)[0]
    check(tasks, tied)
    assert all(tied[task] <= start[task] for task in range(len(start)))
