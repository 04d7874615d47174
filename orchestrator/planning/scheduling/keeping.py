"""Keep a device free for the step that is more urgent: soft orders.

A run starts whatever may start. Where a device is idle for a while because its next task waits for
another device, a later one that is ready already would start, and keep the next one, and with it
somebody's silence, waiting. Such a one is put behind the next one.
"""

from collections import defaultdict
from collections.abc import Sequence

from orchestrator.planning.scheduling.carry import carry
from orchestrator.planning.scheduling.tasks import Tasks, Ties

Behind = dict[int, tuple[int, ...]]


def behind_of(tasks: Tasks, held: Ties, start: Sequence[int], order: Sequence[int]) -> Behind:
    """The soft orders that make a run keep to ``start``, or do better.

    What fits into the idle time whole is let in, unless that turns out to cost silence or length.
    """
    gates = tasks.gates(held)
    strict = _behind(tasks, gates, start, order, fits=False)
    loose = _behind(tasks, gates, start, order, fits=True)
    if loose == strict:
        return strict
    return min((loose, strict), key=lambda each: _value(tasks, order, held, each))


def _value(tasks: Tasks, order: Sequence[int], held: Ties, behind: Behind) -> tuple[int, int]:
    start = carry(tasks, order, held, behind)
    end = list(map(int.__add__, start, tasks.length))
    return tasks.cost(start, end), max(end, default=0)


def _behind(
    tasks: Tasks,
    gates: Sequence[Sequence[int]],
    start: Sequence[int],
    order: Sequence[int],
    *,
    fits: bool,
) -> Behind:
    """Soft orders; with ``fits`` none for a task that fits into the idle time."""
    place = {task: number for number, task in enumerate(order)}
    lines: dict[int, list[int]] = defaultdict(list)
    for task in sorted(order, key=lambda t: (start[t], place[t])):
        lines[tasks.device[task]].append(task)
    behind: Behind = {}
    for line in lines.values():
        gaps: list[tuple[int, int, int]] = []  # from, to, the task that ends it
        free = 0
        for task in line:
            ready = max((start[g] + tasks.length[g] for g in gates[task]), default=0)
            for since, until, first in reversed(gaps):
                if ready >= until:
                    break
                if not fits or max(ready, since) + tasks.length[task] > until:
                    behind[task] = (first,)
                    break
            if start[task] > free:
                gaps.append((free, start[task], task))
            free = start[task] + tasks.length[task]
    return behind
