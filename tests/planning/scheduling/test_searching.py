import pytest

from orchestrator.planning.scheduling.placing import Placing
from orchestrator.planning.scheduling.searching import MOST, late_order, search
from tests.planning.scheduling.problems import by_chance, chance, problem, ring


@pytest.mark.parametrize("seed", range(40))
def test_the_late_order_agrees(seed: int) -> None:
    """Every task comes after those that it waits for."""
    tasks = chance(seed)
    order = late_order(tasks)
    assert sorted(order) == list(range(len(tasks.length)))
    place = {task: number for number, task in enumerate(order)}
    assert all(place[b] < place[task] for task in order for b in tasks.before[task])


@pytest.mark.parametrize("seed", range(40))
def test_the_late_order_is_by_its_rule(seed: int) -> None:
    """Backwards: of all that nothing left waits for a disable of a silence, else the last one."""
    tasks = chance(seed, sources=6)
    offs = {off for off, _, _ in tasks.silences}
    left = set(range(len(tasks.length)))
    for task in reversed(late_order(tasks)):
        free = [each for each in left if left.isdisjoint(tasks.later[each])]
        assert task == max(free, key=lambda each: (each in offs, each))
        left.remove(task)


def test_a_circle_is_refused() -> None:
    """With an error and not for ever."""
    with pytest.raises(ValueError, match="circle"):
        late_order(problem(("a", 1, (1,)), ("b", 1, (0,))))


def test_it_finds_what_is_better() -> None:
    """Of many orders by chance few stay as they were; none gets worse."""
    better = 0
    for seed in range(60):
        tasks = chance(seed, sources=6)
        placing = Placing(tasks)
        order = by_chance(tasks, seed)
        before = placing.place(order)[0]
        found = search(placing, order, (0, 0), 100_000)
        after = placing.place(found.orders[-1])[0]
        assert after <= before
        better += after < before
    assert better > 40


def test_it_stops_at_the_floor() -> None:
    """Where nothing can be better, nothing is tried."""
    tasks = ring()
    order = [0, 1, 4, 5, 2, 3, 6]
    found = search(Placing(tasks), order, (80, 50), 100_000)
    assert (found.orders, found.tries, found.whole) == ([order], 0, True)


def test_it_is_bounded_by_work_and_says_so() -> None:
    """Not by a clock: the same work gives the same tries and the same order."""
    tasks = chance(3, sources=6)
    order = late_order(tasks)
    one, again = (search(Placing(tasks), order, (0, 0), 500) for _ in range(2))
    assert one == again
    assert not one.whole
    assert 0 < one.tries < 500
    assert search(Placing(tasks), order, (0, 0), 10_000_000).whole


def test_a_very_large_part_is_not_searched() -> None:
    """It says that it was not."""
    count = MOST + 1
    lines = [("a", 1, (number - 1,) if number else ()) for number in range(count)]
    tasks = problem(*lines, silences=((0, count - 1, 1),))
    found = search(Placing(tasks), list(range(count)), (0, 0), 1_000)
    assert (found.tries, found.whole) == (0, False)


def test_light_silences_are_not_lost_beside_a_heavy_one() -> None:
    """What feeds an on-air destination weighs a million; the others still come out short."""
    tasks = problem(
        ("a", 10, ()),
        ("a", 10, (0,)),
        ("b", 10, ()),
        ("b", 10, (2,)),
        ("b", 10, ()),
        ("b", 10, (4,)),
        silences=((0, 1, 1_000_000), (2, 3, 1), (4, 5, 1)),
    )
    found = search(Placing(tasks), [0, 2, 4, 1, 3, 5], (0, 0), 10_000)
    assert Placing(tasks).place(found.orders[-1])[0] == 20 * 1_000_000 + 20 + 20
