"""Carry out tasks on paper, just as a run does, when each takes just its estimate.

A task starts when all that it waits for has ended, its phase is there, its device is free and not
too many devices are spoken to; of those that may start, the one with the lowest rank goes first.
"""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from functools import cached_property
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
    """Keeps a heap of the tasks that may start, by rank, and one of those that run, by their ends.

    A task whose turn it is while its device is busy is ``parked`` there; when the device is free
    again, the first of those parked comes back. Ranks and times are single whole numbers, so that
    heaps compare nothing else. ``start`` is -1 until a task has started.
    """

    def __init__(self, tasks: Tasks, order: Sequence[int], ties: Sequence[Ties]) -> None:
        count = len(tasks.length)
        self.tasks = tasks
        self.order = order
        self.rank = ranks(order)
        self.opens: list[Sequence[int]] = list(tasks.later)
        self.shut = list(map(len, tasks.before))
        for tie in ties:
            for task, firsts in tie.items():
                self.shut[task] += len(firsts)
                for first in firsts:
                    self.opens[first] = (*self.opens[first], task)
        self.now = 0
        self.start = [-1] * count
        self.started: list[int] = []
        devices = 1 + max(tasks.device, default=-1)
        self.parked: list[list[int]] = [[] for _ in range(devices)]
        self.busy = [False] * devices
        self.ready: list[int] = []
        self.ready_by_hand: list[int] = []
        self.spoken = 0
        self.running: list[int] = []

    def carry_out(self, phase: int, members: Sequence[int]) -> None:
        """Carry out one phase, after all that was carried out so far."""
        device, phases, by_hand = self.tasks.device, self.tasks.phase, self.tasks.by_hand
        opens, shut, rank, parked, busy = self.opens, self.shut, self.rank, self.parked, self.busy
        ready, running, count = self.ready, self.running, len(self.start)
        left = len(members)
        for task in members:
            if not shut[task]:
                heappush(self.ready_by_hand if by_hand[task] else ready, rank[task])
        self._start_what_can(phase)
        while running:
            self.now = running[0] // count
            until = (self.now + 1) * count
            while running and running[0] < until:
                task = heappop(running) % count
                left -= 1
                self.spoken -= not by_hand[task]
                own = device[task]
                busy[own] = False
                if parked[own]:
                    heappush(ready, heappop(parked[own]))
                for then in opens[task]:
                    shut[then] -= 1
                    if not shut[then] and phases[then] == phase:
                        heappush(self.ready_by_hand if by_hand[then] else ready, rank[then])
            self._start_what_can(phase)
        if left:
            raise ValueError("the steps wait for one another in a circle")

    def _start_what_can(self, phase: int) -> None:
        if self.ready_by_hand:
            self._start_by_hand(phase)
        length, device, width = self.tasks.length, self.tasks.device, self.tasks.width
        ready, running, parked, busy = self.ready, self.running, self.parked, self.busy
        now, count = self.now, len(self.start)
        while ready and self.spoken < width:
            place = heappop(ready)
            task = self.order[place]
            own = device[task]
            if busy[own]:
                heappush(parked[own], place)
                continue
            busy[own] = True
            self.spoken += 1
            self.start[task] = now
            self.started.append(task)
            heappush(running, (now + length[task]) * count + task)

    def _start_by_hand(self, phase: int) -> None:
        """Start what is done by hand, unless its device is busy or has a more urgent task."""
        tasks, now, waiting = self.tasks, self.now, []
        room = self.spoken < tasks.width
        while self.ready_by_hand:
            place = heappop(self.ready_by_hand)
            task = self.order[place]
            own = tasks.device[task]
            if self.busy[own] or (room and self._more_urgent(own, place, phase)):
                waiting.append(place)
                continue
            self.busy[own] = True
            self.start[task] = now
            self.started.append(task)
            heappush(self.running, (now + tasks.length[task]) * len(self.order) + task)
        self.ready_by_hand = waiting  # in order, so it is a heap

    def _more_urgent(self, own: int, place: int, phase: int) -> bool:
        """Whether a task of the device that is not by hand may start, and comes sooner."""
        tasks = self.tasks
        return any(
            self.start[task] < 0
            and not self.shut[task]
            and tasks.phase[task] == phase
            and not tasks.by_hand[task]
            for task in self._of_device[own]
            if self.rank[task] < place
        )

    @cached_property
    def _of_device(self) -> Mapping[int, list[int]]:
        """The tasks of each device; asked for only where something is done by hand."""
        found: dict[int, list[int]] = defaultdict(list)
        for task, own in enumerate(self.tasks.device):
            found[own].append(task)
        return found
