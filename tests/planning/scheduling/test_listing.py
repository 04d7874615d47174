import pytest

from orchestrator.planning.scheduling.listing import listed
from orchestrator.planning.scheduling.searching import late_order
from tests.planning.scheduling.problems import chance, check, problem, ring


@pytest.mark.parametrize("width", [1, 2, 16])
@pytest.mark.parametrize("seed", range(30))
def test_it_is_a_schedule(seed: int, width: int) -> None:
    """Whatever the width."""
    tasks = chance(seed, width=width)
    order, start = listed(tasks, late_order(tasks))
    check(tasks, start)
    assert sorted(order) == list(range(len(start)))
    assert [start[task] for task in order] == sorted(start)


def test_a_disable_waits_for_what_its_write_waits_for() -> None:
    """In the ring b stays on until a is off."""
    tasks = ring()
    _, start = listed(tasks, late_order(tasks))
    assert start[4] == 10


def test_what_ends_a_silence_goes_first_and_what_begins_one_last() -> None:
    """Three tasks of one device that are all ready."""
    tasks = problem(
        ("a", 1, ()), ("a", 1, ()), ("a", 1, ()), ("b", 0, ()), ("b", 0, (0,)),
        silences=((0, 4, 1), (3, 2, 1)),
    )  # fmt: skip
    order, _ = listed(tasks, late_order(tasks))
    assert [task for task in order if task < 3] == [2, 1, 0]
