from orchestrator.planning.scheduling.tasks import numbers, ranks
from tests.planning.scheduling.problems import problem, ring


def test_the_cost_is_weighed_from_start_of_disable_to_end_of_enable() -> None:
    """Two silences of 40 and 30, each of weight 1."""
    tasks = ring()
    start = [0, 10, 30, 40, 10, 20, 30]
    assert tasks.cost(start, [each + 10 for each in start]) == 50 + 30


def test_numbers_are_the_very_same_values_each_time() -> None:
    """Also those that are no small numbers, of which Python itself keeps one each."""
    few, more = numbers(1_000), numbers(2_000)
    assert more == list(range(2_000))
    assert few == more[:1_000]
    assert all(one is other for one, other in zip(few, more, strict=False))
    few.clear()
    assert numbers(3) == [0, 1, 2]


def test_ranks_are_places() -> None:
    """The inverse of an order."""
    assert ranks([2, 0, 1]) == [1, 2, 0]


def test_phases_come_in_order_with_their_tasks() -> None:
    """Wherever the tasks of one stand; a phase without tasks is left out."""
    tasks = problem(("a", 1, ()), ("a", 1, ()), ("b", 1, ()), ("b", 1, ()), phase=(3, 0, 3, 3))
    assert tasks.by_phase() == [(0, [1]), (3, [0, 2, 3])]
