"""When each task starts, once it is settled which comes first on each device.

The tasks are given in one order that agrees with ``before``; a device does its own in that order.
Everything is first put as early as can be; then it is moved later where that makes the silences
cost less, until no group of tasks that is held together gains by it.
"""

from collections.abc import Iterator, Mapping, Sequence

from orchestrator.planning.scheduling.tasks import Tasks

FAR = 1 << 60


def bits_of(group: int) -> Iterator[int]:
    """The places of the bits that are set, lowest first."""
    while group:
        lowest = group & -group
        yield lowest.bit_length() - 1
        group ^= lowest


def _tables(weights: Sequence[int]) -> list[list[int]]:
    """For each eight weights, what every choice of them weighs together."""
    tables = []
    for first in range(0, len(weights), 8):
        table = [0]
        for weight in weights[first : first + 8]:
            table += [each + weight for each in table]
        tables.append(table)
    return tables


class Placing:
    """Places the tasks of one part of the problem: one phase, devices that hang together."""

    def __init__(self, tasks: Tasks) -> None:
        self.tasks = tasks
        self.count = len(tasks.length)
        self.devices = 1 + max(tasks.device, default=-1)
        self.fixed = [False] * self.count
        for _, on, _ in tasks.silences:
            self.fixed[on] = True
        self.every = (1 << len(tasks.silences)) - 1
        self.stuck = 1 << self.count
        self.weights = _tables([weight for _, _, weight in tasks.silences])
        self.task_at = self._places()
        self.bit = [0] * self.count
        for place, task in enumerate(self.task_at):
            self.bit[task] |= 1 << place
        self.before: list[tuple[int, ...]] = list(tasks.before)
        self.later: list[tuple[int, ...]] = list(tasks.later)
        self.work = 0

    def _places(self) -> list[int]:
        """Which task each bit of a group stands for: first all disables, then all enables.

        A task that ends or begins several silences has a bit for each; they are set together.
        """
        offs = [off for off, _, _ in self.tasks.silences]
        ons = [on for _, on, _ in self.tasks.silences]
        ends = {*offs, *ons}
        return [*offs, *ons, *[task for task in range(self.count) if task not in ends]]

    def pin(self, off: int, first: int | None) -> None:
        """Let ``off`` start as early as it can, but after ``first``."""
        self.fixed[off] = True
        self.bit[off] |= self.stuck
        if first is not None:
            self.before[off] = (*self.before[off], first)
            self.later[first] = (*self.later[first], off)

    def unpin(self, off: int, first: int | None) -> None:
        """Take a pin back."""
        self.fixed[off] = False
        self.bit[off] ^= self.stuck
        if first is not None:
            self.before[off] = self.before[off][:-1]
            later = list(self.later[first])
            later.reverse()
            later.remove(off)
            later.reverse()
            self.later[first] = tuple(later)

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
                if end[previous] > at:  # noqa: PLR1730 - the innermost loop: max() takes longer
                    at = end[previous]
                following[previous] = task
            for first in before[task]:
                if end[first] > at:  # noqa: PLR1730 - as above
                    at = end[first]
            start[task] = at
            end[task] = at + length[task]
            last[own] = task
        self.work += self.count
        return start, following

    def place(self, order: Sequence[int]) -> tuple[int, list[int], list[int]]:
        """The least cost found for this order, the starts that cost it, and the earliest."""
        first, following = self.earliest(order)
        start = self.later_start(order, first, following)
        while self._shift(order, start, following):
            pass
        length = self.tasks.length
        cost = sum(
            weight * (start[on] + length[on] - start[off])
            for off, on, weight in self.tasks.silences
        )
        return cost, start, first

    def later_start(
        self, order: Sequence[int], first: list[int], following: list[int]
    ) -> list[int]:
        """Everything as late as it can be while each silence ends when it ended."""
        length, later, fixed = self.tasks.length, self.later, self.fixed
        start = [FAR] * self.count
        for task in reversed(order):
            if fixed[task]:
                start[task] = first[task]
                continue
            nearest = start[following[task]] if following[task] >= 0 else FAR
            for then in later[task]:
                if start[then] < nearest:  # noqa: PLR1730 - as above
                    nearest = start[then]
            if nearest < FAR:
                start[task] = nearest - length[task]
        self.work += self.count
        return start

    def _shift(self, order: Sequence[int], start: list[int], following: list[int]) -> bool:
        """Move later every group of tasks that gains by it; whether there was one.

        Groups that have nothing in common can move in one go: one that moves later takes nothing
        from the room before another.
        """
        held = self._held(order, start, following)
        moved = 0
        for number, (off, _, _) in enumerate(self.tasks.silences):
            if not moved >> number & 1:
                group = self._gaining(held, held[off])
                if group and not group & moved:
                    self._move(group, start, following)
                    moved |= group
        return bool(moved)

    def _gaining(self, held: list[int], group: int) -> int:
        """The group, or what it grows to with the disables of those it keeps waiting; 0: no gain.

        Where a group moves the end of a silence but not its beginning, taking the beginning along
        costs nothing more.
        """
        silences, every, count = self.tasks.silences, self.every, len(self.tasks.silences)
        best, most = 0, 0
        while not group & self.stuck:
            begun, ended = group & every, group >> count & every
            missing = ended & ~begun
            gain = self._weigh(begun & ~ended)
            if gain > most and (gain := gain - self._weigh(missing)) > most:
                best, most = group, gain
            if not missing:
                break
            group |= held[silences[(missing & -missing).bit_length() - 1][0]]
        return best

    def _weigh(self, numbers: int) -> int:
        """The weights of all silences whose bits are set."""
        total = byte = 0
        while numbers:
            total += self.weights[byte][numbers & 255]
            numbers >>= 8
            byte += 1
        return total

    def _held(self, order: Sequence[int], start: list[int], following: list[int]) -> list[int]:
        """For each task, as bits, those that have to move when it moves later."""
        length, later, bit = self.tasks.length, self.later, self.bit
        held = [0] * self.count
        for task in reversed(order):
            bits = bit[task]
            end = start[task] + length[task]
            for then in later[task]:
                if start[then] == end:
                    bits |= held[then]
            then = following[task]
            if then >= 0 and start[then] == end:
                bits |= held[then]
            held[task] = bits
        self.work += self.count
        return held

    def _move(self, group: int, start: list[int], following: list[int]) -> None:
        """Move a group as far as it can before it meets a task outside."""
        length, later, bit = self.tasks.length, self.later, self.bit
        members = list(dict.fromkeys([self.task_at[place] for place in bits_of(group)]))
        room = FAR
        for task in members:
            if start[task] >= FAR:
                continue
            end = start[task] + length[task]
            then = following[task]
            if then >= 0 and not group & bit[then] and start[then] - end < room:
                room = start[then] - end
            for then in later[task]:
                if not group & bit[then] and start[then] - end < room:
                    room = start[then] - end
        for task in members:
            if start[task] < FAR:
                start[task] += room
        self.work += len(members)
