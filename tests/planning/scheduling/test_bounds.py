import pytest

from orchestrator.planning.scheduling.bounds import least_between, length_bound, silence_bounds
from orchestrator.planning.scheduling.making import make
from orchestrator.planning.scheduling.tasks import Tasks
from tests.planning.scheduling.problems import chance, problem, ring


def between(tasks: Tasks, first: int, last: int) -> int:
    """What passes at least between two tasks of a problem written down in order."""
    return least_between(tasks, first, last, range(len(tasks.length)))


def test_the_longest_chain_between() -> None:
    """Of two ways from the disable to the enable the longer, both ends included."""
    tasks = problem(("a", 1, ()), ("b", 2, (0,)), ("c", 4, (0,)), ("d", 8, (1, 2)))
    assert between(tasks, 0, 3) == 13


def test_one_device_does_one_task_at_a_time() -> None:
    """What has to fall into the silence on one device is added up, not laid side by side."""
    tasks = problem(("a", 1, ()), ("b", 2, (0,)), ("b", 4, (0,)), ("a", 8, (1, 2)))
    assert between(tasks, 0, 3) == 1 + 2 + 4 + 8


def test_what_may_be_done_before_the_disable_is_no_part() -> None:
    """However long it takes."""
    tasks = problem(("a", 1, ()), ("a", 50, ()), ("a", 8, (0, 1)))
    assert between(tasks, 0, 2) == 9


def test_tasks_in_no_order_bound_nothing() -> None:
    """There is no chain between them."""
    assert between(problem(("a", 1, ()), ("b", 1, ())), 0, 1) == 0


def test_a_very_long_silence_is_bounded_by_its_own_device() -> None:
    """Where more may fall into it than is looked at."""
    lines: list[tuple[str, int, tuple[int, ...]]] = [("a", 1, ())]
    lines += [(f"d{number}", 1, (0,)) for number in range(400)]
    lines += [("a", 2, (0,)), ("a", 4, (*range(1, 402),))]
    assert between(problem(*lines), 0, 402) == 7


def test_the_ring() -> None:
    """A has five steps in a row between the two of b and its own; b three."""
    assert silence_bounds(ring()) == [50, 30]


@pytest.mark.parametrize("seed", range(100))
def test_no_schedule_is_better(seed: int) -> None:
    """Neither in a silence nor in length."""
    tasks = chance(seed, sources=6, width=1 + seed % 4)
    made = make(tasks)
    bounds = silence_bounds(tasks, made.order)
    for (off, on, _), bound in zip(tasks.silences, bounds, strict=True):
        assert 0 < bound <= made.end[on] - made.start[off]
    assert 0 < length_bound(tasks) <= max(made.end)


@pytest.mark.parametrize("seed", range(50))
def test_which_order_is_given_makes_no_difference(seed: int) -> None:
    """It says only where to look."""
    tasks = chance(seed, sources=6, width=4)
    made = make(tasks)
    assert silence_bounds(tasks, made.order) == silence_bounds(tasks)
    assert length_bound(tasks, (), made.order) == length_bound(tasks)


def test_the_length_is_the_greatest_of_four() -> None:
    """The longest chain, the busiest device, all by the width, what is lent by what there is."""
    chain = problem(("a", 2, ()), ("b", 3, (0,)), ("c", 4, (1,)))
    assert length_bound(chain) == 9
    assert length_bound(problem(*[("a", 2, ())] * 5)) == 10
    wide = problem(*[(f"d{number}", 2, ()) for number in range(9)], width=4)
    assert length_bound(wide) == 5
    assert length_bound(chain, [(0, 2, 0, 1)] * 3) == 27
    assert length_bound(chain, [(0, 2, 0, 2)] * 3) == 14
    assert length_bound(problem()) == 0


def test_phases_add_up() -> None:
    """One after another."""
    assert length_bound(problem(("a", 2, ()), ("b", 3, ()), phase=(0, 1))) == 5


def test_what_is_done_by_hand_is_not_spoken() -> None:
    """It does not count against the width."""
    tasks = problem(*[(f"d{number}", 2, ()) for number in range(9)], width=4, by_hand=range(9))
    assert length_bound(tasks) == 2


def test_a_long_chain_is_no_trouble() -> None:
    """Nothing here recurses."""
    lines = [(f"d{n}", 1, (n - 1,) if n else ()) for n in range(5000)]
    assert length_bound(problem(*lines)) == 5000
