"""What no order can be better than.

A silence lasts at least as long as the longest chain of tasks, each waiting for the one before,
from its disable to its enable. And it lasts at least as long as one device needs for those of its
tasks that have to fall into the silence: the one of them that can start first starts so long after
the disable, the device does all of them one at a time, and after the last of them the way to the
end of the enable takes at least so long. That holds for every set of such tasks of one device
(the one-machine bound: Carlier, "The one-machine sequencing problem", European Journal of
Operational Research 11, 1982; from memory), so the greatest is taken. Only the order that safety
demands is looked at, none that a schedule added.

A run lasts, phase by phase, at least as long as its longest chain, as its busiest device, as all
its tasks shared among as many devices as may be spoken to, and as all the time for which numbers
or addresses are lent, shared among those set aside for lending.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence

from orchestrator.planning.scheduling.tasks import Tasks, ranks

MOST_BETWEEN = 300
"""Where a silence may hold more tasks than this, only those of its own device are looked at."""

Loan = tuple[int, int, int, int]
"""The task that borrows, the one that gives back, from which store, and how many are in it."""


def silence_bounds(tasks: Tasks, order: Sequence[int] | None = None) -> list[int]:
    """For each silence of ``tasks``, what it lasts at least.

    ``order`` holds all tasks, each after those that it waits for. The later it has the disables,
    the fewer tasks have to be looked at.
    """
    rank = ranks(_any_order(tasks) if order is None else order)
    return [least_between(tasks, off, on, rank) for off, on, _ in tasks.silences]


def least_between(tasks: Tasks, first: int, last: int, rank: Sequence[int]) -> int:
    """What passes at least from the start of ``first`` to the end of ``last``; 0: unordered.

    ``rank``: the place of each task in an order of all that agrees with what they wait for.
    """
    star = _star(tasks, first, last, rank)
    return _longest(tasks, first, last, rank) if star is None else star


def _longest(tasks: Tasks, first: int, last: int, rank: Sequence[int]) -> int:
    """The same, whatever is in between."""
    members = _leading_to(tasks, first, last, rank)
    length, before = tasks.length, tasks.before
    head = {first: 0}
    for task in members:
        known = [head[b] + length[b] for b in before[task] if b in head]
        if known:
            head[task] = max(known)
    if last not in head:
        return 0
    best = head[last] + length[last]
    if len(head) < 4:  # noqa: PLR2004 - both ends and one task between them are a chain
        return best
    tail = {last: 0}
    for task in reversed(members):
        if task in head and task in tail:
            way = tail[task] + length[task]
            for b in before[task]:
                if b in head and way > tail.get(b, -1):
                    tail[b] = way
    by_device: dict[int, list[int]] = defaultdict(list)
    for task in tail:
        by_device[tasks.device[task]].append(task)
    return max(best, *(_one_at_a_time(tasks, own, head, tail) for own in by_device.values()))


def _star(tasks: Tasks, first: int, last: int, rank: Sequence[int]) -> int | None:
    """The same where all in between waits for ``first`` and for nothing else after it.

    So it is with most silences, and there is little to work out then; None: it is not so.
    """
    length, before, device, floor = tasks.length, tasks.before, tasks.device, rank[first]
    between: dict[int, int] = {}
    for task in before[last]:
        if task == first or rank[task] < floor:
            continue
        if first not in before[task]:
            return None
        for b in before[task]:
            if rank[b] > floor:
                return None
        between[device[task]] = between.get(device[task], 0) + length[task]
    if not between and first not in before[last]:
        return None
    return length[first] + max(between.values(), default=0) + length[last]


def _one_at_a_time(tasks: Tasks, own: list[int], head: dict[int, int], tail: dict[int, int]) -> int:
    best = total = 0
    after = 1 << 60
    for task in sorted(own, key=lambda t: -head[t]):
        total += tasks.length[task]
        after = min(after, tail[task])
        best = max(best, head[task] + total + after)
    return best


def _leading_to(tasks: Tasks, first: int, last: int, rank: Sequence[int]) -> list[int]:
    """The tasks after ``first`` that ``last`` waits for, and itself, in order.

    Where that would be too many, only such as are reached over tasks of the device of ``first``.
    """
    before, floor = tasks.before, rank[first]
    found = {last}
    stack = [last]
    while stack:
        for b in before[stack.pop()]:
            if rank[b] > floor and b not in found:
                found.add(b)
                stack.append(b)
        if len(found) > MOST_BETWEEN:
            found = _on_its_device(tasks, first, last, floor, rank)
            break
    return sorted(found, key=rank.__getitem__)


def _on_its_device(
    tasks: Tasks, first: int, last: int, floor: int, rank: Sequence[int]
) -> set[int]:
    """The tasks of the device of ``first`` that lead to ``last``, over one another alone."""
    found = {last}
    stack = [last]
    while stack:
        for b in tasks.before[stack.pop()]:
            own = tasks.device[b] == tasks.device[first]
            if own and rank[b] > floor and b not in found:
                found.add(b)
                stack.append(b)
    return found


def _any_order(tasks: Tasks) -> list[int]:
    """All tasks, each after those that it waits for; what is in a circle is left out."""
    waits = [len(before) for before in tasks.before]
    ready = [task for task, count in enumerate(waits) if not count]
    order: list[int] = []
    while ready:
        task = ready.pop()
        order.append(task)
        for then in tasks.later[task]:
            waits[then] -= 1
            if not waits[then]:
                ready.append(then)
    return order


def length_bound(
    tasks: Tasks, loans: Iterable[Loan] = (), order: Sequence[int] | None = None
) -> int:
    """What the whole lasts at least, in milliseconds; ``order`` as for the silences."""
    line = _any_order(tasks) if order is None else order
    rank = ranks(line)
    length, device, by_hand = tasks.length, tasks.device, tasks.by_hand
    lent: dict[tuple[int, int], int] = defaultdict(int)
    stores: dict[int, int] = {}
    ends = _ends(tasks, line)
    least: dict[int, int] = {}
    for phase, own in tasks.by_phase():
        busy: dict[int, int] = defaultdict(int)
        for task in own:
            busy[device[task]] += length[task]
        spoken = sum([length[task] for task in own if not by_hand[task]])
        longest = max([ends[task] for task in own])
        least[phase] = max(longest, *busy.values(), -(-spoken // tasks.width))
    for first, last, store, count in loans:
        if tasks.phase[first] == tasks.phase[last]:
            lent[tasks.phase[first], store] += least_between(tasks, first, last, rank)
            stores[store] = max(count, 1)
    for (phase, store), total in lent.items():
        least[phase] = max(least[phase], -(-total // stores[store]))
    return sum(least.values())


def _ends(tasks: Tasks, order: Sequence[int]) -> list[int]:
    """How long after its phase's beginning each task ends at the earliest, by order alone."""
    phases, length, before = tasks.phase, tasks.length, tasks.before
    end = [0] * len(length)
    for task in order:
        start = 0
        for b in before[task]:
            if end[b] > start and phases[b] == phases[task]:
                start = end[b]
        end[task] = start + length[task]
    return end
