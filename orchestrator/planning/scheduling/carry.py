"""Carry out tasks on paper, just as a run does, when each takes just its estimate.

A task starts when all that it waits for has ended, its phase is there, its device is free and not
too many devices are spoken to; of those that may start, the one with the lowest rank goes first.
"""

import heapq
from collections import defaultdict
from collections.abc import Sequence

from orchestrator.planning.scheduling.tasks import Tasks


def carry(tasks: Tasks, gates: Sequence[Sequence[int]], rank: Sequence[int]) -> list[int]:
    """The start of each task; ``gates`` are all those that each waits for, for whatever reason.

    Raises:
        ValueError: the tasks wait for one another in a circle.
    """
    phases: dict[int, list[int]] = defaultdict(list)
    for task, phase in enumerate(tasks.phase):
        phases[phase].append(task)
    carrier = _Carrier(tasks, gates, rank)
    for phase in sorted(phases):
        carrier.phase(phases[phase])
    return carrier.start


class _Carrier:
    def __init__(self, tasks: Tasks, gates: Sequence[Sequence[int]], rank: Sequence[int]) -> None:
        self.tasks = tasks
        self.gates = gates
        self.rank = rank
        self.now = 0
        self.start = [0] * len(tasks.length)
        self.opens: list[list[int]] = [[] for _ in tasks.length]
        self.shut = [0] * len(tasks.length)
        self.done = [False] * len(tasks.length)
        self.ready: list[tuple[int, int]] = []
        self.ready_by_hand: list[tuple[int, int]] = []
        self.aside: dict[int, list[int]] = {}
        self.busy: set[int] = set()
        self.spoken = 0
        self.running: list[tuple[int, int]] = []

    def phase(self, members: Sequence[int]) -> None:
        """Carry out one phase, after all that was carried out so far."""
        for task in members:
            for first in self.gates[task]:
                if not self.done[first]:
                    self.opens[first].append(task)
                    self.shut[task] += 1
        for task in members:
            if not self.shut[task]:
                self._may_start(task)
        left = len(members)
        self._start_what_can()
        while self.running:
            left -= self._end_next()
            self._start_what_can()
        if left:
            raise ValueError("the steps wait for one another in a circle")

    def _may_start(self, task: int) -> None:
        if self.tasks.device[task] in self.busy:
            self.aside.setdefault(self.tasks.device[task], []).append(task)
        else:
            heap = self.ready_by_hand if self.tasks.by_hand[task] else self.ready
            heapq.heappush(heap, (self.rank[task], task))

    def _start_what_can(self) -> None:
        length, device, busy = self.tasks.length, self.tasks.device, self.busy
        ready, running, now = self.ready, self.running, self.now
        while self.ready_by_hand:
            self._start_by_hand()
        while ready and self.spoken < self.tasks.width:
            task = heapq.heappop(ready)[1]
            own = device[task]
            if own in busy:
                self.aside.setdefault(own, []).append(task)
                continue
            busy.add(own)
            self.spoken += 1
            self.start[task] = now
            heapq.heappush(running, (now + length[task], task))

    def _start_by_hand(self) -> None:
        """Start, or set aside, the first task by hand, unless its device has a more urgent one."""
        entry = heapq.heappop(self.ready_by_hand)
        device = self.tasks.device[entry[1]]
        spoken = [task for _, task in self.ready if self.tasks.device[task] == device]
        if self.spoken < self.tasks.width and any(self.rank[t] < entry[0] for t in spoken):
            self.aside.setdefault(device, []).append(entry[1])
            return
        if device in self.busy:
            self.aside.setdefault(device, []).append(entry[1])
            return
        self.busy.add(device)
        self.start[entry[1]] = self.now
        heapq.heappush(self.running, (self.now + self.tasks.length[entry[1]], entry[1]))

    def _end_next(self) -> int:
        """Go on to the next end of a task, and end all that end then; how many."""
        running, shut, aside = self.running, self.shut, self.aside
        now = self.now = running[0][0]
        ended = 0
        while running and running[0][0] == now:
            task = heapq.heappop(running)[1]
            ended += 1
            self.done[task] = True
            self.spoken -= not self.tasks.by_hand[task]
            device = self.tasks.device[task]
            self.busy.discard(device)
            for other in aside.pop(device, ()):
                self._may_start(other)
            for then in self.opens[task]:
                shut[then] -= 1
                if not shut[then]:
                    self._may_start(then)
        return ended
