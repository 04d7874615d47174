"""Bounds: no order is better, tried on every order of small problems."""

import pytest

from orchestrator.planning.ordering.bounds import least_between, length_bound, silence_bounds
from orchestrator.planning.ordering.carry import carry
from orchestrator.planning.ordering.placing import Placing
from orchestrator.planning.ordering.tasks import ranks
from tests.planning.ordering.problems import orders, problem


@pytest.mark.parametrize("seed", range(40))
def test_no_order_has_less_silence_than_the_bound(seed: int) -> None:
    """Every order, everything as late as it can be: no silence is below its bound."""
    tasks = problem(seed)
    bounds = silence_bounds(tasks)
    for order in orders(tasks):
        _, start, _ = Placing(tasks).place(order)
        for (off, on, _), bound in zip(tasks.silences, bounds, strict=True):
            assert start[on] + tasks.length[on] - start[off] >= bound


@pytest.mark.parametrize("seed", range(40))
def test_no_order_is_shorter_than_the_bound(seed: int) -> None:
    """Every order, carried out: the whole is never shorter."""
    tasks = problem(seed)
    for order in orders(tasks):
        start = carry(tasks, tasks.before, ranks(order))
        ends = map(int.__add__, start, tasks.length)
        assert max(ends) >= length_bound(tasks)


def test_a_lone_source_lasts_as_long_as_its_own_steps() -> None:
    """Where nothing else is to do the bound is reached."""
    tasks = problem(3, 1)
    assert least_between(tasks, 0, 2) == sum(tasks.length)


def test_loans_of_one_store_add_up() -> None:
    """One number lent twice can't be lent at the same time."""
    tasks = problem(3, 2)
    alone = least_between(tasks, 0, 2)
    other = least_between(tasks, 3, 5)
    assert length_bound(tasks, [(0, 2, 0, 1), (3, 5, 0, 1)]) >= alone + other
