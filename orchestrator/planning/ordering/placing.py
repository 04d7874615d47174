"""When each task starts, once it is settled which comes first on each device.

The tasks are given in one order that agrees with ``before``; a device does its own in that order.
Everything is first put as early as can be; then it is moved later where that makes the silences
cost less, until no group of tasks that is held together gains by it.
"""

from collections.abc import Mapping, Sequence

from orchestrator.planning.ordering.tasks import Tasks

FAR = 1 << 60


class Placing:
    """Places the tasks of one part of the problem: one phase, devices that hang together."""

    def __init__(self, tasks: Tasks) -> None:
        self.tasks = tasks
        self.count = len(tasks.length)
        self.devices = 1 + max(tasks.device, default=-1)
        self.fixed = [False] * self.count
        for _, on, _ in tasks.silences:
            self.fixed[on] = True
        self.pinned: set[int] = set()
        self.before: list[tuple[int, ...]] = list(tasks.before)
        self.later: list[tuple[int, ...]] = list(tasks.later)
        self.work = 0

    def pin(self, off: int, first: int | None) -> None:
        """Let ``off`` start as early as it can, but after ``first``."""
        self.pinned.add(off)
        self.fixed[off] = True
        if first is not None:
            self.before[off] = (*self.before[off], first)
            self.later[first] = (*self.later[first], off)

    def unpin(self, off: int, first: int | None) -> None:
        """Take a pin back, the last one first."""
        self.pinned.discard(off)
        self.fixed[off] = False
        if first is not None:
            self.before[off] = self.before[off][:-1]
            self.later[first] = self.later[first][:-1]

    def earliest(
        self, order: Sequence[int], released: Mapping[int, int] | None = None
    ) -> tuple[list[int], list[int]]:
        """The earliest start of each task, and the next task on its device (-1: none).

        ``released``: tasks that may not start before a time.
        """
        length, device, before = self.tasks.length, self.tasks.device, self.before
        last = [-1] * self.devices
        start, end, following = [0] * self.count, [0] * self.count, [-1] * self.count
        for task in order:
            own = device[task]
            previous = last[own]
            at = released.get(task, 0) if released else 0
            if previous >= 0:
                if end[previous] > at:
                    at = end[previous]
                following[previous] = task
            for first in before[task]:
                if end[first] > at:
                    at = end[first]
            start[task] = at
            end[task] = at + length[task]
            last[own] = task
        self.work += self.count
        return start, following

    def place(self, order: Sequence[int]) -> tuple[int, list[int], list[int]]:
        """The least cost found for this order, the starts that cost it, and the earliest."""
        first, following = self.earliest(order)
        start = self._later(order, first, following)
        while self._shift(order, start, following):
            pass
        length = self.tasks.length
        cost = sum(
            weight * (start[on] + length[on] - start[off])
            for off, on, weight in self.tasks.silences
        )
        return cost, start, first

    def _later(self, order: Sequence[int], first: list[int], following: list[int]) -> list[int]:
        """Everything as late as it can be while each silence ends when it ended."""
        length, later, fixed = self.tasks.length, self.later, self.fixed
        start = [FAR] * self.count
        for task in reversed(order):
            if fixed[task]:
                start[task] = first[task]
                continue
            nearest = start[following[task]] if following[task] >= 0 else FAR
            for then in later[task]:
                if start[then] < nearest:
                    nearest = start[then]
            if nearest < FAR:
                start[task] = nearest - length[task]
        self.work += self.count
        return start

    def _shift(self, order: Sequence[int], start: list[int], following: list[int]) -> bool:
        """Move one group of tasks later, if there is one that gains by it."""
        held = self._held(order, start, following)
        silences = self.tasks.silences
        for off, _, _ in silences:
            group = held[off]
            if group >> self.count:
                continue
            best, gain = 0, 0
            while True:
                missing = 0
                total = 0
                for begins, ends, weight in silences:
                    if group >> begins & 1:
                        if not group >> ends & 1:
                            total += weight
                    elif group >> ends & 1:
                        total -= weight
                        missing = missing or held[begins]
                if total > gain:
                    best, gain = group, total
                if not missing:
                    break
                group |= missing
                if group >> self.count:
                    break
            if best:
                room = self._room(best, start, following)
                for task in range(self.count):
                    if best >> task & 1 and start[task] < FAR:
                        start[task] += room
                return True
        return False

    def _held(self, order: Sequence[int], start: list[int], following: list[int]) -> list[int]:
        """For each task, as bits, those that have to move when it moves later."""
        length, later = self.tasks.length, self.later
        held = [0] * self.count
        stuck = 1 << self.count
        for task in reversed(order):
            bits = 1 << task
            end = start[task] + length[task]
            for then in later[task]:
                if start[then] == end:
                    bits |= held[then]
            then = following[task]
            if then >= 0 and start[then] == end:
                bits |= held[then]
            held[task] = bits | stuck if task in self.pinned else bits
        self.work += self.count
        return held

    def _room(self, group: int, start: list[int], following: list[int]) -> int:
        """How far a group can move before it meets a task outside."""
        length, later = self.tasks.length, self.later
        room = FAR
        for task in range(self.count):
            if not group >> task & 1 or start[task] >= FAR:
                continue
            end = start[task] + length[task]
            then = following[task]
            if then >= 0 and not group >> then & 1:
                room = min(room, start[then] - end)
            for then in later[task]:
                if not group >> then & 1:
                    room = min(room, start[then] - end)
        return room
