"""Carry out tasks on paper, just as a run does, when each takes just its estimate.

A task starts when all that it waits for has ended, its phase is there, its device is free and not
too many devices are spoken to; of those that may start, the one with the lowest rank goes first.
"""

from collections import defaultdict
from collections.abc import Sequence
from heapq import heappop, heappush

from orchestrator.planning.scheduling.tasks import Tasks, Ties, ranks


def carry(tasks: Tasks, order: Sequence[int], *ties: Ties) -> list[int]:
    """The start of each task; the sooner a task comes in ``order``, the lower its rank.

    ``ties`` give, for some tasks, others that they come after, beside those that safety demands.

    Raises:
        ValueError: the tasks wait for one another in a circle.
    """
    return carried(tasks, order, *ties)[0]


def carried(tasks: Tasks, order: Sequence[int], *ties: Ties) -> tuple[list[int], list[int]]:
    """The start of each task, and all tasks in the order in which they start; as :func:`carry`.

    Raises:
        ValueError: the tasks wait for one another in a circle.
    """
    carrier = _Carrier(tasks, order, ties)
    phases: dict[int, list[int]] = defaultdict(list)
    for task, phase in enumerate(tasks.phase):
        phases[phase].append(task)
    for phase in sorted(phases):
        carrier.carry_out(phase, phases[phase])
    return carrier.start, carrier.started


class _Carrier:
    """Keeps, for each device, a heap of its tasks that are ready, by rank.

    ``ready`` holds the ranks of first tasks of devices that are free, and some that are so no
    more; those are passed over. Ranks and times are single whole numbers, so that heaps compare
    nothing else.
    """

    def __init__(self, tasks: Tasks, order: Sequence[int], ties: Sequence[Ties]) -> None:
        count = len(tasks.length)
        self.tasks = tasks
        self.order = order
        self.rank = ranks(order)
        self.opens: list[Sequence[int]] = list(tasks.later)
        self.shut = [len(before) for before in tasks.before]
        for tie in ties:
            for task, firsts in tie.items():
                self.shut[task] += len(firsts)
                for first in firsts:
                    self.opens[first] = (*self.opens[first], task)
        self.now = 0
        self.start = [0] * count
        self.started: list[int] = []
        devices = 1 + max(tasks.device, default=-1)
        self.lines: list[list[int]] = [[] for _ in range(devices)]
        self.busy = [False] * devices
        self.ready: list[int] = []
        self.ready_by_hand: list[int] = []
        self.spoken = 0
        self.running: list[int] = []

    def carry_out(self, phase: int, members: Sequence[int]) -> None:
        """Carry out one phase, after all that was carried out so far."""
        length, device, phases = self.tasks.length, self.tasks.device, self.tasks.phase
        opens, shut, lines, busy = self.opens, self.shut, self.lines, self.busy
        running, by_hand, count = self.running, self.tasks.by_hand, len(length)
        left, may_start = len(members), self._may_start
        for task in members:
            if not shut[task]:
                may_start(task)
        self._start_what_can()
        while running:
            now = self.now = running[0] // count
            until = (now + 1) * count
            while running and running[0] < until:
                task = heappop(running) % count
                left -= 1
                self.spoken -= not by_hand[task]
                own = device[task]
                busy[own] = False
                if lines[own]:
                    heappush(self.ready, lines[own][0])
                for then in opens[task]:
                    shut[then] -= 1
                    if not shut[then] and phases[then] == phase:
                        may_start(then)
            self._start_what_can()
        if left:
            raise ValueError("the steps wait for one another in a circle")

    def _may_start(self, task: int) -> None:
        rank = self.rank[task]
        if self.tasks.by_hand[task]:
            heappush(self.ready_by_hand, rank)
            return
        own = self.tasks.device[task]
        line = self.lines[own]
        heappush(line, rank)
        if line[0] == rank and not self.busy[own]:
            heappush(self.ready, rank)

    def _start_what_can(self) -> None:
        if self.ready_by_hand:
            self._start_by_hand()
        length, device, order, width = (
            self.tasks.length,
            self.tasks.device,
            self.order,
            self.tasks.width,
        )
        ready, running, lines, busy = self.ready, self.running, self.lines, self.busy
        now, count = self.now, len(length)
        while ready and self.spoken < width:
            rank = heappop(ready)
            task = order[rank]
            own = device[task]
            line = lines[own]
            if busy[own] or not line or line[0] != rank:
                continue
            heappop(line)
            busy[own] = True
            self.spoken += 1
            self.start[task] = now
            self.started.append(task)
            heappush(running, (now + length[task]) * count + task)

    def _start_by_hand(self) -> None:
        """Start what is done by hand, unless its device is busy or has a more urgent task."""
        waiting: list[int] = []
        while self.ready_by_hand:
            rank = heappop(self.ready_by_hand)
            task = self.order[rank]
            own = self.tasks.device[task]
            line = self.lines[own]
            if self.busy[own] or (self.spoken < self.tasks.width and line and line[0] < rank):
                waiting.append(rank)
                continue
            self.busy[own] = True
            self.start[task] = self.now
            self.started.append(task)
            end = self.now + self.tasks.length[task]
            heappush(self.running, end * len(self.order) + task)
        self.ready_by_hand = waiting  # in order, so it is a heap
