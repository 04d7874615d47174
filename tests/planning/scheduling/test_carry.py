from dataclasses import replace

import pytest

from orchestrator.planning.scheduling.carry import again, carried, carry, in_turn, opening_of
from orchestrator.planning.scheduling.tasks import Tasks
from tests.planning.scheduling.problems import chance, check, problem


def _carried(tasks: Tasks) -> list[int]:
    return carry(tasks, range(len(tasks.length)))


def test_one_task_at_a_time_to_a_device() -> None:
    """Two tasks of one device, in no order, do not overlap; two devices do."""
    assert _carried(problem(("a", 1, ()), ("a", 1, ()), ("b", 1, ()))) == [0, 1, 0]


@pytest.mark.parametrize(("width", "length"), [(1, 6), (2, 3), (3, 2), (16, 1)])
def test_no_more_devices_at_once_than_the_width(width: int, length: int) -> None:
    """Six devices, one task each."""
    tasks = problem(*[(f"d{n}", 1, ()) for n in range(6)], width=width)
    start = _carried(tasks)
    check(tasks, start)
    assert max(start) + 1 == length


def test_what_is_done_by_hand_is_not_spoken() -> None:
    """It keeps its device, but no place among those spoken to."""
    tasks = problem(("a", 5, ()), ("b", 5, ()), ("b", 5, ()), by_hand=(1,), width=1)
    assert _carried(tasks) == [0, 0, 5]


def test_by_hand_lets_a_more_urgent_step_of_its_device_go_first() -> None:
    """Where there is room to speak to the device; where there is none, it need not wait for it."""
    tasks = problem(("a", 5, ()), ("a", 5, ()), by_hand=(1,), width=1)
    assert _carried(tasks) == [0, 5]
    assert carry(tasks, (1, 0)) == [5, 0]
    busy = problem(("b", 9, ()), ("a", 5, ()), ("a", 5, ()), ("c", 1, ()), by_hand=(2, 3), width=1)
    assert carry(busy, (3, 0, 1, 2)) == [0, 9, 1, 0]


def test_a_phase_starts_when_the_one_before_is_done() -> None:
    """Though nothing in it waits for anything in that."""
    tasks = problem(("a", 5, ()), ("b", 1, ()), ("c", 1, ()), phase=(0, 1, 1))
    assert _carried(tasks) == [0, 5, 5]


def test_the_lowest_rank_goes_first() -> None:
    """Of those that may start."""
    tasks = problem(("a", 1, ()), ("a", 1, ()), ("a", 1, ()))
    assert carry(tasks, (1, 2, 0)) == [2, 0, 1]


def test_what_ends_at_one_time_is_over_before_anything_starts() -> None:
    """The more urgent task gets the device, though its gate ends with the device's last task."""
    tasks = problem(("a", 2, ()), ("b", 2, ()), ("a", 1, ()), ("a", 1, (1,)))
    assert carry(tasks, (0, 1, 3, 2)) == [0, 0, 3, 2]


def test_what_starts_at_one_time_is_told_as_it_was_given() -> None:
    """What is done by hand starts first; in turn, it comes where the order has it."""
    tasks = problem(("a", 1, ()), ("b", 1, ()), ("c", 1, ()), by_hand=(2,))
    assert carried(tasks, (1, 2, 0)) == ([0, 0, 0], [2, 1, 0])
    assert in_turn(tasks, (1, 2, 0), opening_of(tasks)) == ([0, 0, 0], [1, 2, 0])


def test_what_comes_free_while_its_device_is_busy_waits_for_it() -> None:
    """Of those that wait so, the first in the order goes first, whichever came first."""
    tasks = problem(("a", 9, ()), ("b", 1, ()), ("c", 2, ()), ("a", 1, (1,)), ("a", 1, (2,)))
    assert carry(tasks, (0, 1, 2, 4, 3)) == [0, 0, 0, 10, 9]


def test_the_same_can_be_carried_out_again_with_other_lengths() -> None:
    """What waits for what, ties and all, is worked out once, and is still there afterwards."""
    tasks = problem(("a", 1, ()), ("b", 2, (0,)), ("c", 3, ()))
    longer = replace(tasks, length=(5, 2, 3))
    opening = opening_of(tasks, {2: (1,)})
    assert again(tasks, (0, 1, 2), opening) == [0, 1, 3]
    assert again(longer, (0, 1, 2), opening) == [0, 5, 7]
    assert again(tasks, (0, 1, 2), opening) == carry(tasks, (0, 1, 2), {2: (1,)})


def test_nothing_takes_no_time() -> None:
    """No tasks, no times."""
    assert _carried(problem()) == []


def test_a_circle_is_refused() -> None:
    """With an error and not for ever."""
    tasks = problem(("a", 1, ()), ("b", 1, ()))
    with pytest.raises(ValueError, match="circle"):
        carry(tasks, (0, 1), {0: (1,), 1: (0,)})


@pytest.mark.parametrize("seed", range(40))
def test_it_is_a_schedule(seed: int) -> None:
    """Every order is kept, whatever the width."""
    tasks = chance(seed, width=1 + seed % 3)
    check(tasks, _carried(tasks))
