from orchestrator.planning.scheduling.tasks import ranks
from tests.planning.scheduling.problems import ring


def test_the_cost_is_weighed_from_start_of_disable_to_end_of_enable() -> None:
    """Two silences of 40 and 30, each of weight 1."""
    tasks = ring()
    start = [0, 10, 30, 40, 10, 20, 30]
    assert tasks.cost(start, [each + 10 for each in start]) == 50 + 30


def test_ranks_are_places() -> None:
    """The inverse of an order."""
    assert ranks([2, 0, 1]) == [1, 2, 0]
