import random
from itertools import combinations

import pytest

from orchestrator.planning.ordering.cycles import EXACT_UP_TO, components, fewest_to_break
from tests.planning import graphs

Edges = list[list[int]]


def _random(seed: int, most: int) -> Edges:
    rng = random.Random(seed)
    count = rng.randint(1, most)
    density = rng.choice([0.1, 0.2, 0.4])
    return [
        [other for other in range(count) if other != one and rng.random() < density]
        for one in range(count)
    ]


def _as_map(edges: Edges) -> dict[int, list[int]]:
    return dict(enumerate(edges))


def _cost(member: int) -> tuple[int, ...]:
    return (member % 3, member)


def _anybody(_: int) -> bool:
    return True


@pytest.mark.parametrize("seed", range(100))
def test_components_are_the_strongly_connected_ones(seed: int) -> None:
    """Against networkx; and each component comes after those that it leads to."""
    edges = _random(seed, 25)
    found = components(edges)
    assert {frozenset(part) for part in found} == graphs.parts(_as_map(edges))
    place = {member: number for number, part in enumerate(found) for member in part}
    assert all(place[other] <= place[one] for one, far in enumerate(edges) for other in far)


def test_a_long_chain_does_not_run_out_of_stack() -> None:
    """20,000 members in one ring: the search is no recursion."""
    count = 20_000
    assert len(components([[(i + 1) % count] for i in range(count)])) == 1


@pytest.mark.parametrize("seed", range(150))
def test_the_fewest_are_the_fewest(seed: int) -> None:
    """Feedback vertex sets of random digraphs of up to eight nodes, against brute force."""
    edges = _random(seed, 8)
    for part in components(edges):
        inside = {m: [t for t in edges[m] if t in part] for m in part}
        if not graphs.has_ring(inside):
            continue
        found, exact = fewest_to_break(sorted(part), edges, _anybody, _cost)
        assert exact
        assert found is not None
        assert not graphs.has_ring(inside, without=found)
        least = next(
            size
            for size in range(1, len(part) + 1)
            if any(not graphs.has_ring(inside, without=c) for c in combinations(part, size))
        )
        assert len(found) == least


@pytest.mark.parametrize("seed", range(40))
def test_among_the_fewest_the_cheapest_is_chosen(seed: int) -> None:
    """No other choice of as many has lower costs."""
    edges = _random(seed, 7)
    for part in components(edges):
        inside = {m: [t for t in edges[m] if t in part] for m in part}
        if not graphs.has_ring(inside):
            continue
        found, _ = fewest_to_break(sorted(part), edges, _anybody, _cost)
        assert found is not None
        others = [
            sorted(map(_cost, choice))
            for choice in combinations(part, len(found))
            if not graphs.has_ring(inside, without=choice)
        ]
        assert sorted(map(_cost, found)) == min(others)


def test_a_single_ring_lends_its_cheapest() -> None:
    """In a ring any one member does; who costs least is taken."""
    costs = {0: 5, 1: 2, 2: 9}
    found = fewest_to_break([0, 1, 2], [[1], [2], [0]], _anybody, lambda m: (costs[m],))
    assert found == ([1], True)


def test_only_who_can_lend_is_asked() -> None:
    """The cheapest that may be lent; nobody, where none may."""
    ring = [[1], [2], [0]]
    assert fewest_to_break([0, 1, 2], ring, lambda m: m == 2, _cost) == ([2], True)
    assert fewest_to_break([0, 1, 2], ring, lambda _: False, _cost) == (None, True)


def test_two_rings_through_one_member_that_may_not_be_lent() -> None:
    """With the shared member out of the question, one of each ring is lent; else none helps."""
    eight = [[1, 2], [0], [0]]
    assert fewest_to_break([0, 1, 2], eight, _anybody, _cost) == ([0], True)
    assert fewest_to_break([0, 1, 2], eight, lambda m: m != 0, _cost) == ([1, 2], True)
    assert fewest_to_break([0, 1, 2], eight, lambda m: m == 1, _cost) == (None, True)


def test_a_large_tangle_is_broken_without_the_proof_of_the_least() -> None:
    """Beyond the exact size the answer breaks every cycle, and says that fewer might do."""
    count = EXACT_UP_TO + 6
    edges = [[(i + 1) % count, (i + 5) % count] for i in range(count)]
    found, exact = fewest_to_break(range(count), edges, _anybody, _cost)
    assert not exact
    assert found is not None
    assert not graphs.has_ring(_as_map(edges), without=found)
    assert len(found) < count


def test_a_large_tangle_that_nobody_may_break() -> None:
    """Where no member of what is still cyclic may be lent, there is no answer."""
    count = EXACT_UP_TO + 6
    edges = [[(i + 1) % count, (i + 5) % count] for i in range(count)]
    found, _ = fewest_to_break(range(count), edges, lambda m: m == 0, _cost)
    assert found is None
