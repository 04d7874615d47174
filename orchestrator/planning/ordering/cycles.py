"""Cycles among moves, and the fewest that have to be lent to break them.

Strongly connected parts by Tarjan's algorithm (iterative). A part in which every member waits
for one and is awaited by one is a single cycle: lending any one member breaks it. Otherwise the
fewest is a minimum feedback vertex set: exact in small parts, greedy in large ones.
"""

from collections.abc import Callable, Iterable, Sequence
from itertools import combinations

EXACT_UP_TO = 14


def components(successors: Sequence[Iterable[int]]) -> list[list[int]]:
    """The strongly connected components, each after those that it leads to."""
    order = [-1] * len(successors)
    low = [0] * len(successors)
    on_stack = [False] * len(successors)
    stack: list[int] = []
    found: list[list[int]] = []
    count = 0
    for root in range(len(successors)):
        if order[root] != -1:
            continue
        work = [(root, iter(successors[root]))]
        order[root] = low[root] = count
        count += 1
        stack.append(root)
        on_stack[root] = True
        while work:
            node, edges = work[-1]
            advanced = False
            for target in edges:
                if order[target] == -1:
                    order[target] = low[target] = count
                    count += 1
                    stack.append(target)
                    on_stack[target] = True
                    work.append((target, iter(successors[target])))
                    advanced = True
                    break
                if on_stack[target]:
                    low[node] = min(low[node], order[target])
            if advanced:
                continue
            work.pop()
            if work:
                low[work[-1][0]] = min(low[work[-1][0]], low[node])
            if low[node] == order[node]:
                found.append(_pop_component(node, stack, on_stack))
    return found


def _pop_component(node: int, stack: list[int], on_stack: list[bool]) -> list[int]:
    component = []
    while True:
        member = stack.pop()
        on_stack[member] = False
        component.append(member)
        if member == node:
            return component


def fewest_to_break(
    members: Sequence[int],
    successors: Sequence[Iterable[int]],
    lendable: Callable[[int], bool],
    cost: Callable[[int], tuple[int, ...]],
) -> tuple[list[int] | None, bool]:
    """The members to lend so that no cycle is left among ``members``.

    Returns:
        The members (None: no choice of lendable ones breaks all cycles), and whether their count
        is proved to be the least.
    """
    inside = set(members)
    edges = {m: [t for t in successors[m] if t in inside] for m in members}
    candidates = sorted((m for m in members if lendable(m)), key=cost)
    if all(len(targets) == 1 for targets in edges.values()):
        return ([candidates[0]], True) if candidates else (None, True)
    if len(members) <= EXACT_UP_TO:
        for size in range(1, len(candidates) + 1):
            fitting = [
                choice
                for choice in combinations(candidates, size)
                if not _has_cycle(edges, set(choice))
            ]
            if fitting:
                best = min(fitting, key=lambda choice: sorted(map(cost, choice)))
                return list(best), True
        return None, True
    return _greedy(edges, candidates), False


def _greedy(edges: dict[int, list[int]], candidates: list[int]) -> list[int] | None:
    """Lend the busiest member of what is still cyclic, until nothing is."""
    gone: set[int] = set()
    allowed = set(candidates)
    while True:
        core = _cyclic_core(edges, gone)
        if not core:
            return sorted(gone)
        choice = [member for member in core if member in allowed]
        if not choice:
            return None
        rank = {member: index for index, member in enumerate(candidates)}
        degree = {
            m: sum(t in core for t in edges[m]) * sum(m in edges[o] for o in core) for m in choice
        }
        gone.add(min(choice, key=lambda m: (-degree[m], rank[m])))


def _cyclic_core(edges: dict[int, list[int]], gone: set[int]) -> set[int]:
    """What is left after dropping, again and again, members that lead nowhere."""
    core = {member for member in edges if member not in gone}
    shrinking = True
    while shrinking:
        leaving = {m for m in core if not any(t in core for t in edges[m])}
        shrinking = bool(leaving)
        core -= leaving
    return core


def _has_cycle(edges: dict[int, list[int]], gone: set[int]) -> bool:
    return bool(_cyclic_core(edges, gone))
