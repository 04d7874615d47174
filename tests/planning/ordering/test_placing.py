"""Starts for a settled order: as late as silence gains by it."""

import pytest

from orchestrator.planning.ordering.placing import Placing, bits_of
from tests.planning.ordering.problems import breaks, orders, problem


@pytest.mark.parametrize("seed", range(60))
def test_a_placed_order_breaks_nothing_and_costs_what_it_says(seed: int) -> None:
    """Waits and devices are kept, and the cost told is that of the starts."""
    tasks = problem(seed, 3)
    order = next(orders(tasks))
    cost, start, earliest = Placing(tasks).place(order)
    assert breaks(tasks, start) == []
    assert cost == tasks.cost(start, [s + n for s, n in zip(start, tasks.length, strict=True)])
    assert all(one <= late for one, late in zip(earliest, start, strict=True))


def test_later_is_never_dearer_than_earliest() -> None:
    """Moving things later never costs silence."""
    for seed in range(40):
        tasks = problem(seed, 3)
        cost, _, earliest = Placing(tasks).place(next(orders(tasks)))
        ends = [s + n for s, n in zip(earliest, tasks.length, strict=True)]
        assert cost <= tasks.cost(earliest, ends)


def test_a_pin_is_taken_back() -> None:
    """A disable pinned behind another task comes after it; unpinned it is free again."""
    tasks = problem(5, 2)
    placing = Placing(tasks)
    before = placing.before[:]
    placing.pin(3, 1)
    assert 1 in placing.before[3]
    placing.unpin(3, 1)
    assert placing.before == before


def test_bits_are_listed_lowest_first() -> None:
    """The places of the bits of 22 (10110 in base two)."""
    assert list(bits_of(22)) == [1, 2, 4]
