"""Disjoint sets, each known by a leader: what belongs together, found by joining pairs."""

from typing import TypeVar

K = TypeVar("K")


def leader_of(leader: dict[K, K], one: K) -> K:
    """The leader of the set that ``one`` is in; the way there gets shorter (path halving).

    ``leader`` maps everything to something nearer to its leader, and a leader to itself. To join
    two sets, put the leader of the one under that of the other.
    """
    while leader[one] != one:
        leader[one] = leader[leader[one]]
        one = leader[one]
    return one
