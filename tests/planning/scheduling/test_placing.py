from itertools import pairwise
from statistics import mean

import networkx as nx  # type: ignore[import-untyped]  # it ships no types
import pytest

from orchestrator.planning.scheduling.placing import Placing, bits_of
from orchestrator.planning.scheduling.searching import late_order
from orchestrator.planning.scheduling.tasks import Tasks
from tests.planning.scheduling.problems import by_chance, chance, check, problem, ring


def _least(tasks: Tasks, order: list[int]) -> int:
    """The least cost for an order, as the dearest flow from disables to enables (duality)."""
    graph = nx.DiGraph()
    graph.add_nodes_from(range(len(order)), demand=0)
    for device in set(tasks.device):
        own = [task for task in order if tasks.device[task] == device]
        graph.add_edges_from((a, b, {"weight": -tasks.length[a]}) for a, b in pairwise(own))
    for task, before in enumerate(tasks.before):
        graph.add_edges_from((b, task, {"weight": -tasks.length[b]}) for b in before)
    for off, on, weight in tasks.silences:
        graph.nodes[off]["demand"] -= weight
        graph.nodes[on]["demand"] += weight
    cost, _ = nx.network_simplex(graph)
    return sum(w * tasks.length[on] for _, on, w in tasks.silences) - int(cost)


def test_a_disable_comes_as_late_as_can_be() -> None:
    """In the ring a is silent for all five steps, b for its own three only."""
    cost, start, _ = Placing(ring()).place([0, 1, 4, 5, 2, 3, 6])
    assert cost == 50 + 30
    assert start[4] == 10


def test_what_gives_a_number_on_goes_later_with_who_takes_it() -> None:
    """B waits for c, which is slow; a waits for nothing but hands on to b: all go late together."""
    tasks = problem(
        ("a", 1, ()),
        ("a", 1, (0,)),
        ("a", 1, (1,)),
        ("b", 1, ()),
        ("b", 1, (3, 1, 6)),
        ("b", 1, (4,)),
        ("c", 50, ()),
        silences=((0, 2, 1), (3, 5, 1)),
    )
    assert Placing(tasks).place(late_order(tasks))[0] == 6


def test_one_task_may_begin_and_end_several_silences() -> None:
    """Two sources that go off, and come back, in one request cost both; nothing moves twice."""
    together = problem(
        ("a", 1, ()),
        ("a", 1, (0, 3)),
        ("a", 1, (1,)),
        ("b", 9, ()),
        silences=((0, 2, 1), (0, 2, 3)),
    )
    order = late_order(together)
    cost, start, _ = Placing(together).place(order)
    assert cost == _least(together, order) == 3 * 4
    assert start[0] == 8


def test_near_the_least_for_the_order() -> None:
    """Never below what a flow (networkx) says is the least, seldom and little above."""
    ratios = []
    for seed in range(150):
        tasks = chance(seed, sources=6)
        order = by_chance(tasks, seed)
        cost, start, first = Placing(tasks).place(order)
        check(tasks, start if max(start) < 1 << 50 else first)
        assert cost >= _least(tasks, order)
        ratios.append(cost / _least(tasks, order))
    assert mean(ratios) < 1.01
    assert max(ratios) < 1.3


def test_a_pinned_disable_starts_when_what_it_waits_for_ends() -> None:
    """And no later, whatever would be gained; taken back, it is free again."""
    placing = Placing(ring())
    order = [0, 1, 4, 5, 2, 3, 6]
    placing.pin(4, 0)
    assert placing.place(order)[1][4] == 10
    placing.unpin(4, 0)
    placing.pin(4, None)
    cost, start, _ = placing.place(order)
    assert (start[4], cost) == (0, 50 + 40)
    placing.unpin(4, None)
    assert placing.place(order)[0] == 80


def test_released_tasks_start_no_sooner() -> None:
    """Though nothing else keeps them."""
    start, following = Placing(ring()).earliest([0, 1, 4, 5, 2, 3, 6], {4: 15})
    assert (start[4], start[5]) == (15, 25)
    assert following == [1, 2, 3, -1, 5, 6, -1]


@pytest.mark.parametrize("group", [0, 1, 0b1010, 1 << 200 | 1])
def test_bits(group: int) -> None:
    """The places of the bits, lowest first."""
    assert sum(1 << place for place in bits_of(group)) == group
    assert list(bits_of(group)) == sorted(bits_of(group))
