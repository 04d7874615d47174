"""Lending in turn: where a knot needs more lent in all than there is to lend at one time.

What one member borrowed can be lent to another, once the first has gone home. Every way to do so
is looked at, those with the fewest loans first, so far as there are not too many.
"""

from collections import Counter, deque
from collections.abc import Callable, Collection, Mapping, Sequence

MOST_STATES = 20_000

Loans = tuple[tuple[int, frozenset[int]], ...]
"""Who borrows, in order, each with those who have something on loan just then."""


def lend_in_turn(
    members: Sequence[int],
    waits: Mapping[int, Collection[int]],
    after: Mapping[int, Collection[int]],
    store: Callable[[int], str | None],
    most: Mapping[str, int],
) -> Loans | None:
    """The fewest loans that undo a knot; None where there is no way, or too much to look at.

    A member can go home when all that it ``waits`` for have let go, by a loan or for good, and
    all that it comes ``after`` are home. ``store``: where a member borrows, None if it can't;
    ``most``: how many may be on loan from each at one time.
    """
    start: tuple[frozenset[int], frozenset[int]] = (frozenset(), frozenset())
    seen = {start}
    line: deque[tuple[frozenset[int], frozenset[int], Loans]] = deque([(*start, ())])
    while line and len(seen) < MOST_STATES:
        home, lent, loans = line.popleft()
        out = Counter(store(member) for member in lent)
        for member in members:
            place = store(member)
            if member in home or member in lent or place is None or out[place] >= most[place]:
                continue
            told = (*loans, (member, lent))
            then = _go_home(members, waits, after, home, lent | {member})
            if len(then[0]) == len(members):
                return told
            if then not in seen:
                seen.add(then)
                line.append((*then, told))
    return None


def _go_home(
    members: Sequence[int],
    waits: Mapping[int, Collection[int]],
    after: Mapping[int, Collection[int]],
    home: frozenset[int],
    lent: frozenset[int],
) -> tuple[frozenset[int], frozenset[int]]:
    """Let go home whoever can: that only makes room for others."""
    moving = True
    while moving:
        moving = False
        for member in members:
            if member in home:
                continue
            let_go = all(first in home or first in lent for first in waits[member])
            if let_go and home.issuperset(after[member]):
                home, lent, moving = home | {member}, lent - {member}, True
    return home, lent
