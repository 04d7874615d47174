"""Hold each disable back until some other task ends, as a run can do it.

A run starts a task when others end, never at an instant of its own choosing. A disable that had
best start between two such instants starts at the one before or at one soon after: whichever
lets the silences cost less, all else being placed anew.
"""

from bisect import bisect_right
from collections.abc import Mapping, Sequence

from orchestrator.planning.ordering.placing import FAR, Placing
from orchestrator.planning.ordering.tasks import Tasks

CHOICES = 3


def hold(placing: Placing, order: Sequence[int]) -> tuple[list[int], dict[int, int]]:
    """Pin every disable of a silence.

    Returns:
        The order, changed where a disable now comes later; for each disable that is held back,
        the task whose end it waits for.
    """
    now = list(order)
    waits: dict[int, int] = {}
    left = {off for off, _, _ in placing.tasks.silences if not placing.fixed[off]}
    while left:
        _, start, _ = placing.place(now)
        off = min(left, key=lambda task: (start[task], task))
        left.discard(off)
        best: tuple[int, int | None, list[int]] | None = None
        for first in _events(placing, now, start, off, left):
            turned = _after(placing, now, off, first)
            placing.pin(off, first)
            cost, _, _ = placing.place(turned)
            placing.unpin(off, first)
            if best is None or cost < best[0]:
                best = (cost, first, turned)
        if best is None:
            raise AssertionError("a task can always start at the beginning")
        _, first, now = best
        placing.pin(off, first)
        if first is not None:
            waits[off] = first
    return now, waits


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
    below = [task for end, task in ends if natural < end <= wanted]
    above = [task for end, task in ends if end > wanted]
    return [below[-1] if below else None, *above[:CHOICES]]


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


def hold_roughly(
    tasks: Tasks, start: Sequence[int], wanted: Mapping[int, int]
) -> tuple[list[int], dict[int, int]]:
    """The order of ``start``, and for each disable the last task that ends by the time ``wanted``.

    For parts with so many tasks that nothing can be tried out. Nothing ends later for it: every
    disable starts by the time given, so all that follows starts by its ``start``.
    """
    place = sorted(range(len(start)), key=lambda task: (start[task], task in wanted, task))
    rank = {task: number for number, task in enumerate(place)}
    ends = sorted((start[task] + tasks.length[task], rank[task], task) for task in place)
    waits: dict[int, int] = {}
    for off, time in wanted.items():
        at = bisect_right(ends, (time, FAR, 0)) - 1
        while at >= 0 and ends[at][1] >= rank[off]:
            at -= 1
        if at >= 0:
            waits[off] = ends[at][2]
    return place, waits
