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

from orchestrator.planning.scheduling.tasks import Tasks

MOST_BETWEEN = 300
"""Where a silence may hold more tasks than this, only those of its own device are looked at."""

Loan = tuple[int, int, int, int]
"""The task that borrows, the one that gives back, from which store, and how many are in it."""


def silence_bounds(tasks: Tasks) -> list[int]:
    """For each silence of ``tasks``, what it lasts at least."""
    return [least_between(tasks, off, on) for off, on, _ in tasks.silences]


def least_between(tasks: Tasks, first: int, last: int) -> int:
    """What passes at least from the start of ``first`` to the end of ``last``; 0: unordered."""
    members = _ancestors(tasks, last, None)
    if members is None:
        members = _ancestors(tasks, last, tasks.device[first]) or [last]
    head = {first: 0}
    for task in members:
        known = [head[b] + tasks.length[b] for b in tasks.before[task] if b in head]
        if known and task != first:
            head[task] = max(known)
    if last not in head:
        return 0
    tail = {last: 0}
    for task in reversed(members):
        if task in head and task in tail:
            for before in tasks.before[task]:
                if before in head:
                    way = tail[task] + tasks.length[task]
                    tail[before] = max(way, tail.get(before, 0))
    best = head[last] + tasks.length[last]
    by_device: dict[int, list[int]] = defaultdict(list)
    for task in tail:
        by_device[tasks.device[task]].append(task)
    return max(best, *(_one_at_a_time(tasks, own, head, tail) for own in by_device.values()))


def _one_at_a_time(tasks: Tasks, own: list[int], head: dict[int, int], tail: dict[int, int]) -> int:
    best = total = 0
    after = 1 << 60
    for task in sorted(own, key=lambda t: -head[t]):
        total += tasks.length[task]
        after = min(after, tail[task])
        best = max(best, head[task] + total + after)
    return best


def _ancestors(tasks: Tasks, last: int, device: int | None) -> list[int] | None:
    """All tasks before ``last``, and itself, in an order that agrees; None where too many.

    With ``device``: only such as are reached over tasks of that device.
    """
    order: list[int] = []
    seen = {last}
    stack: list[tuple[int, bool]] = [(last, False)]
    while stack:
        task, left = stack.pop()
        if left:
            order.append(task)
            continue
        stack.append((task, True))
        for before in tasks.before[task]:
            if before not in seen and device in {None, tasks.device[before]}:
                seen.add(before)
                stack.append((before, False))
        if device is None and len(seen) > MOST_BETWEEN:
            return None
    return _sorted(tasks, order)


def _sorted(tasks: Tasks, members: Sequence[int]) -> list[int]:
    """``members``, each after those of them that it waits for."""
    inside = set(members)
    waits = {task: sum(before in inside for before in tasks.before[task]) for task in members}
    ready = [task for task, count in waits.items() if not count]
    order: list[int] = []
    while ready:
        task = ready.pop()
        order.append(task)
        for then in tasks.later[task]:
            if then in inside:
                waits[then] -= 1
                if not waits[then]:
                    ready.append(then)
    return order


def length_bound(tasks: Tasks, loans: Iterable[Loan] = ()) -> int:
    """What the whole lasts at least, in milliseconds."""
    chain: dict[int, int] = defaultdict(int)
    busiest: dict[tuple[int, int], int] = defaultdict(int)
    spoken: dict[int, int] = defaultdict(int)
    lent: dict[tuple[int, int], int] = defaultdict(int)
    stores: dict[int, int] = {}
    for task, head in enumerate(_heads(tasks)):
        phase = tasks.phase[task]
        chain[phase] = max(chain[phase], head + tasks.length[task])
        busiest[phase, tasks.device[task]] += tasks.length[task]
        spoken[phase] += 0 if tasks.by_hand[task] else tasks.length[task]
    for first, last, store, count in loans:
        if tasks.phase[first] == tasks.phase[last]:
            lent[tasks.phase[first], store] += least_between(tasks, first, last)
            stores[store] = max(count, 1)
    least = dict(chain)
    for phase, total in spoken.items():
        least[phase] = max(least[phase], -(-total // tasks.width))
    for (phase, _), total in busiest.items():
        least[phase] = max(least[phase], total)
    for (phase, store), total in lent.items():
        least[phase] = max(least[phase], -(-total // stores[store]))
    return sum(least.values())


def _heads(tasks: Tasks) -> list[int]:
    """How long after its phase's beginning each task starts at the earliest, by order alone."""
    head = [0] * len(tasks.length)
    waits = [len(before) for before in tasks.before]
    ready = [task for task, count in enumerate(waits) if not count]
    while ready:
        task = ready.pop()
        end = head[task] + tasks.length[task]
        for then in tasks.later[task]:
            if tasks.phase[then] == tasks.phase[task]:
                head[then] = max(head[then], end)
            waits[then] -= 1
            if not waits[then]:
                ready.append(then)
    return head
