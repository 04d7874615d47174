import random

import networkx as nx  # type: ignore[import-untyped]  # it ships no types
import pytest

from orchestrator.planning.scheduling.sets import leader_of


@pytest.mark.parametrize("seed", range(50))
def test_what_is_joined_has_one_leader(seed: int) -> None:
    """Just the connected components of the same pairs as a graph, by networkx."""
    rng = random.Random(seed)
    count = rng.randint(1, 60)
    pairs = [(rng.randrange(count), rng.randrange(count)) for _ in range(rng.randrange(count + 1))]
    leader = {one: one for one in range(count)}
    for one, other in pairs:
        leader[leader_of(leader, one)] = leader_of(leader, other)
    graph = nx.Graph(pairs)
    graph.add_nodes_from(range(count))
    sets: dict[int, set[int]] = {}
    for one in range(count):
        sets.setdefault(leader_of(leader, one), set()).add(one)
    components = nx.connected_components(graph)
    assert sorted(map(sorted, sets.values())) == sorted(map(sorted, components))
