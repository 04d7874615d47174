"""Hold each disable back until some other task ends, as a run can do it.

A run starts a task when others end, never at an instant of its own choosing. A disable that had
best start between two such instants starts at the one before or at one soon after: whichever
lets the silences cost less, all else being placed anew.
"""

from bisect import bisect_left
from collections.abc import Iterable, Iterator, Mapping, Sequence

from orchestrator.planning.scheduling.placing import FAR, Placing
from orchestrator.planning.scheduling.tasks import Tasks, numbers, ranks

CHOICES = 3
AGAIN = 2


def hold(placing: Placing, order: Sequence[int]) -> tuple[list[int], dict[int, int]]:
    """Pin every disable of a silence, then look at each once more while that gains.

    Returns:
        The order, changed where a disable now comes later; for each disable that is held back,
        the task whose end it waits for.
    """
    now = list(order)
    ties: dict[int, int | None] = {}
    left = {off for off, _, _ in placing.tasks.silences if not placing.fixed[off]}
    free = cost = placing.place(now)[0]
    while left:
        start = placing.place(now)[1]
        off = min(left, key=lambda task: (start[task], task))
        left.discard(off)
        cost, ties[off], now = min(_choices(placing, now, off, left), key=lambda each: each[0])
        placing.pin(off, ties[off])
    for _ in range(AGAIN):
        before = cost
        for off, tie in list(ties.items()):
            if cost > free:
                cost, ties[off], now = _better(placing, now, off, tie, cost)
        if cost == before:
            break
    return now, {off: first for off, first in ties.items() if first is not None}


def _better(
    placing: Placing, order: list[int], off: int, tie: int | None, cost: int
) -> tuple[int, int | None, list[int]]:
    """The cost, tie and order with ``off`` tied elsewhere, if that costs less; else as they are."""
    placing.unpin(off, tie)
    found = min(_choices(placing, order, off, set()), key=lambda each: each[0])
    if found[0] >= cost:
        found = (cost, tie, order)
    placing.pin(off, found[1])
    return found


def _choices(
    placing: Placing, order: list[int], off: int, left: set[int]
) -> Iterator[tuple[int, int | None, list[int]]]:
    """What it costs to tie ``off`` to each task whose end comes near the time wanted for it."""
    start = placing.place(order)[1]
    for first in _events(placing, order, start, off, left):
        turned = _after(placing, order, off, first)
        placing.pin(off, first)
        cost = placing.place(turned)[0]
        placing.unpin(off, first)
        yield cost, first, turned


def _events(
    placing: Placing, order: Sequence[int], start: list[int], off: int, left: set[int]
) -> list[int | None]:
    """The tasks whose ends come just before, and soon after, the time wanted for ``off``."""
    wanted = start[off]
    released = {task: start[task] for task in left}
    released[off] = wanted
    real, following = placing.earliest(order, released)
    beyond = _reached(placing, order, following, off)
    length = placing.tasks.length
    natural = placing.earliest(order, {task: start[task] for task in left})[0][off]
    ends = sorted(
        (real[task] + length[task], task)
        for task in range(placing.count)
        if not beyond >> task & 1 and start[task] <= FAR
    )
    below: list[int | None] = [task for end, task in ends if natural < end <= wanted]
    above = [task for end, task in ends if end > wanted]
    return [*(below[-2:] or [None]), *above[:CHOICES]]


def _reached(placing: Placing, order: Sequence[int], following: list[int], off: int) -> int:
    """As bits, ``off`` and all that can't start before it ends."""
    reached = 1 << off
    for task in order:
        if reached >> task & 1:
            for then in placing.later[task]:
                reached |= 1 << then
            if following[task] >= 0:
                reached |= 1 << following[task]
    return reached


def _after(placing: Placing, order: list[int], off: int, first: int | None) -> list[int]:
    """The order with ``off``, and what comes after it in any case, behind ``first``."""
    if first is None:
        return order
    here, there = order.index(off), order.index(first)
    if there < here:
        return order
    following = placing.earliest(order)[1]
    beyond = _reached(placing, order, following, off)
    block = order[here : there + 1]
    kept = [task for task in block if not beyond >> task & 1]
    moved = [task for task in block if beyond >> task & 1]
    return [*order[:here], *kept, *moved, *order[there + 1 :]]


def in_order(start: Sequence[int], offs: Iterable[int]) -> list[int]:
    """All tasks by their ``start``; of those that start at one time, the disables ``offs`` last."""
    key = [2 * time for time in start]
    for off in offs:
        key[off] += 1
    return sorted(numbers(len(start)), key=key.__getitem__)


def hold_roughly(
    tasks: Tasks, start: Sequence[int], order: Sequence[int], wanted: Mapping[int, int]
) -> dict[int, int]:
    """For each disable the last task before it in ``order`` that ends by the time ``wanted``.

    For parts with so many tasks that nothing can be tried out. Nothing ends later for it: every
    disable starts by the time given, so all that follows starts by its ``start``.
    """
    rank, count = ranks(order), len(order)
    ends = sorted([(start[task] + tasks.length[task]) * count + rank[task] for task in order])
    waits: dict[int, int] = {}
    for off, time in wanted.items():
        at = bisect_left(ends, (time + 1) * count) - 1
        while at >= 0 and ends[at] % count >= rank[off]:
            at -= 1
        if at >= 0:
            waits[off] = order[ends[at] % count]
    return waits
