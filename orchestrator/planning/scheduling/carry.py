"""Carry out tasks on paper, just as a run does, when each takes just its estimate.

A task starts when all that it waits for has ended, its phase is there, its device is free and not
too many devices are spoken to; of those that may start, the one with the lowest rank goes first.
"""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from heapq import heappop, heappush

from orchestrator.planning.scheduling.tasks import Tasks, Ties, ranks


def carry(tasks: Tasks, order: Sequence[int], *ties: Ties) -> list[int]:
    """The start of each task; the sooner a task comes in ``order``, the lower its rank.

    ``ties`` give, for some tasks, others that they come after, beside those that safety demands.

    Raises:
        ValueError: the tasks wait for one another in a circle.
    """
    return again(tasks, order, opening_of(tasks, *ties))


def carried(tasks: Tasks, order: Sequence[int], *ties: Ties) -> tuple[list[int], list[int]]:
    """The start of each task, and all tasks in the order in which they start; as :func:`carry`.

    Raises:
        ValueError: the tasks wait for one another in a circle.
    """
    carrier = _carry(tasks, order, opening_of(tasks, *ties))
    return carrier.start, [order[place] for place in carrier.turns]


@dataclass(frozen=True, slots=True)
class Opening:
    """What each task is waited for by, and how many it waits for; safety's orders and ties."""

    opens: list[Sequence[int]]
    waits: list[int]


def opening_of(tasks: Tasks, *ties: Ties) -> Opening:
    """What tasks wait for, as it is needed to carry them out; their lengths do not matter."""
    opens: list[Sequence[int]] = list(tasks.later)
    waits = list(map(len, tasks.before))
    for tie in ties:
        for task, firsts in tie.items():
            waits[task] += len(firsts)
            for first in firsts:
                known = opens[first]
                if type(known) is list:
                    known.append(task)
                else:
                    opens[first] = [*known, task]
    return Opening(opens, waits)


def again(tasks: Tasks, order: Sequence[int], opening: Opening) -> list[int]:
    """As :func:`carry`, for tasks that may have been carried out before with other lengths.

    Raises:
        ValueError: the tasks wait for one another in a circle.
    """
    return _carry(tasks, order, opening).start


def in_turn(tasks: Tasks, order: Sequence[int], opening: Opening) -> tuple[list[int], list[int]]:
    """As :func:`carried`, but what starts at one time as in ``order``, not what is by hand first.

    Raises:
        ValueError: the tasks wait for one another in a circle.
    """
    carrier = _carry(tasks, order, opening)
    start, turns = carrier.start, carrier.turns
    if any(tasks.by_hand):
        turns.sort(key=lambda place: (start[order[place]], place))
    return start, [order[place] for place in turns]


def _carry(tasks: Tasks, order: Sequence[int], opening: Opening) -> "_Carrier":
    carrier = _Carrier(tasks, order, opening)
    for phase, members in tasks.by_phase():
        carrier.carry_out(phase, members)
    return carrier


class _Carrier:
    """Keeps a heap of the tasks that may start, by rank, and those that run by when they end.

    A task whose turn it is while its device is busy is ``parked`` there; when the device is free
    again, the first of those parked comes back. Ranks and times are single whole numbers, so that
    heaps compare nothing else. ``start`` is -1 until a task has started. ``turns`` are the ranks of
    all tasks as they start: at one time first those by hand, then the others by rank.
    """

    def __init__(self, tasks: Tasks, order: Sequence[int], opening: Opening) -> None:
        count = len(tasks.length)
        self.tasks = tasks
        self.order = order
        self.rank = ranks(order)
        self.opens, self.shut = opening.opens, opening.waits.copy()
        self.now = 0
        self.start = [-1] * count
        self.turns: list[int] = []
        devices = 1 + max(tasks.device, default=-1)
        self.parked: list[list[int]] = [[] for _ in range(devices)]
        self.busy = [False] * devices
        self.ready: list[int] = []
        self.ready_by_hand: list[int] = []
        self.spoken = 0
        self.times: list[int] = []
        self.ending: dict[int, list[int]] = {}

    def carry_out(self, phase: int, members: Sequence[int]) -> None:
        """Carry out one phase, after all that was carried out so far."""
        device, phases, by_hand = self.tasks.device, self.tasks.phase, self.tasks.by_hand
        opens, shut, rank, parked, busy = self.opens, self.shut, self.rank, self.parked, self.busy
        ready, hands, times, left = self.ready, self.ready_by_hand, self.times, len(members)
        self._line_up([task for task in members if not shut[task]])
        self._start_what_can(phase)
        while times:
            self.now = heappop(times)
            ended = self.ending.pop(self.now)
            left -= len(ended)
            for task in ended:
                own = device[task]
                busy[own] = False
                self.spoken -= not by_hand[task]
                if parked[own]:
                    heappush(ready, heappop(parked[own]))
                for then in opens[task]:
                    waits = shut[then] = shut[then] - 1
                    if waits or phases[then] != phase:
                        continue
                    if by_hand[then]:
                        heappush(hands, rank[then])
                    else:
                        other = device[then]
                        heappush(parked[other] if busy[other] else ready, rank[then])
            self._start_what_can(phase)
        if left:
            raise ValueError("the steps wait for one another in a circle")

    def _line_up(self, tasks: Sequence[int]) -> None:
        """Make ready what waits for nothing in a phase: of each device one, the others parked.

        Few are ready then, so the heap that all devices share is small. The lists are in order,
        so they are heaps.
        """
        device, by_hand, order = self.tasks.device, self.tasks.by_hand, self.order
        first: set[int] = set()
        for place in sorted(map(self.rank.__getitem__, tasks)):
            task = order[place]
            own = device[task]
            if by_hand[task]:
                self.ready_by_hand.append(place)
            elif own in first:
                self.parked[own].append(place)
            else:
                first.add(own)
                self.ready.append(place)

    def _start_what_can(self, phase: int) -> None:
        if self.ready_by_hand:
            self._start_by_hand(phase)
        order, length, device = self.order, self.tasks.length, self.tasks.device
        ready, parked, busy, start, now = self.ready, self.parked, self.busy, self.start, self.now
        ending, turns = self.ending, self.turns
        free = self.tasks.width - self.spoken
        while ready and free > 0:
            place = heappop(ready)
            task = order[place]
            own = device[task]
            if busy[own]:
                heappush(parked[own], place)
                continue
            busy[own] = True
            free -= 1
            start[task] = now
            turns.append(place)
            until = now + length[task]
            if until in ending:
                ending[until].append(task)
            else:
                ending[until] = [task]
                heappush(self.times, until)
        self.spoken = self.tasks.width - free

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
            self.turns.append(place)
            self._run(task, now + tasks.length[task])
        self.ready_by_hand[:] = waiting  # in order, so it is a heap

    def _run(self, task: int, until: int) -> None:
        if until not in self.ending:
            self.ending[until] = []
            heappush(self.times, until)
        self.ending[until].append(task)

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
