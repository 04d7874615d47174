"""What an independent graph library (networkx) says, with types."""

from collections.abc import Iterable, Mapping

import networkx as nx  # type: ignore[import-untyped]  # it ships no types


def _graph(edges: Mapping[int, Iterable[int]]) -> nx.DiGraph:
    graph = nx.DiGraph([(one, other) for one, others in edges.items() for other in others])
    graph.add_nodes_from(edges)
    return graph


def closure(edges: Mapping[int, Iterable[int]]) -> set[tuple[int, int]]:
    """Every pair of nodes of which the first leads to the second."""
    return set(nx.transitive_closure(_graph(edges)).edges)


def parts(edges: Mapping[int, Iterable[int]]) -> set[frozenset[int]]:
    """The strongly connected components."""
    return {frozenset(part) for part in nx.strongly_connected_components(_graph(edges))}


def rings(edges: Mapping[int, Iterable[int]]) -> list[list[int]]:
    """The simple cycles."""
    return [list(ring) for ring in nx.simple_cycles(_graph(edges))]


def has_ring(edges: Mapping[int, Iterable[int]], without: Iterable[int] = ()) -> bool:
    """Whether a cycle is left when some nodes are taken out."""
    graph = _graph(edges)
    graph.remove_nodes_from(list(without))
    return not nx.is_directed_acyclic_graph(graph)
