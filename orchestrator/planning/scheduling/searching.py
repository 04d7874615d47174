"""The search for an order of tasks that lets the silences cost less.

It begins with an order in which every disable comes as late as the order between tasks allows.
Then it moves, again and again, one task of a device before or behind another of the same device,
with all that has to move along, and keeps what is not worse; at first also what is a little
worse, so as not to be caught at once (simulated annealing). The number of tries is bounded by
counted work, never by a clock: the same tasks always give the same order.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from heapq import heapify, heappop, heappush

from orchestrator.planning.scheduling.chance import Chance
from orchestrator.planning.scheduling.placing import Placing
from orchestrator.planning.scheduling.tasks import Tasks, numbers

TRIES_A_TASK = 40
WARM = 33
"""The first tries may cost up to one part in so many more than the best."""
INCOMPARABLE = 1000
HEAVY_UNTIL = 0.6
"""Down to this warmth the heaviest silences say what is a little worse, then the lighter ones."""
FOR_SILENCE = 0.65
"""The part of the tries that goes to less silence, if there may be less; the rest to length."""
KEPT = 4
"""Of the last best orders so many are kept: which is best once disables are tied is not known."""
MOST = 1500
"""Parts of more tasks are not searched: their bits would take too much room and time."""


@dataclass(frozen=True, slots=True)
class Searched:
    """The best orders found, the best last; the tries made, and whether there were to be more."""

    orders: list[list[int]]
    tries: int
    whole: bool


def late_order(tasks: Tasks) -> list[int]:
    """An order that agrees with ``before`` and has each disable of a silence late.

    Raises:
        ValueError: the tasks wait for one another in a circle.
    """
    count, before = len(tasks.length), tasks.before
    is_off = [False] * count
    for off, _, _ in tasks.silences:
        is_off[off] = True
    waiting = list(map(len, tasks.later))
    # Backwards, disables come first, then the last of the others; what is negative sorts so. Most
    # of the others are taken in turn: ``beyond`` holds only those that come free after their turn.
    offs = [-task for task in range(count) if is_off[task] and not waiting[task]]
    heapify(offs)
    beyond: list[int] = []
    backwards: list[int] = []
    for turn in reversed(numbers(count)):
        if not waiting[turn] and not is_off[turn]:
            beyond.append(-turn)
        while offs or beyond:
            task = -heappop(offs or beyond)
            backwards.append(task)
            for first in before[task]:
                left = waiting[first] = waiting[first] - 1
                if not left and is_off[first]:
                    heappush(offs, -first)
                elif not left and first >= turn:
                    heappush(beyond, -first)
    if len(backwards) != count:
        raise ValueError("the steps wait for one another in a circle")
    return backwards[::-1]


def search(
    placing: Placing, order: Sequence[int], floor: tuple[int, int], most_work: int
) -> Searched:
    """Look for a better order, until it is as good as ``floor`` or the tries or work are spent.

    ``floor``: a cost and a length that no order is below.
    """
    return _Search(placing, order, floor).run(most_work)


class _Search:
    def __init__(self, placing: Placing, order: Sequence[int], floor: tuple[int, int]) -> None:
        self.placing = placing
        self.tasks = placing.tasks
        self.floor = floor
        self.order = list(order)
        self.now = self.best = self._value(self.order)
        self.orders = [self.order]
        self.chance = Chance(len(self.order))
        by_device: dict[int, list[int]] = {}
        for task, device in enumerate(self.tasks.device):
            by_device.setdefault(device, []).append(task)
        self.groups = [by_device[device] for device in self.tasks.device]
        self.ancestors: list[int] = []
        self.light = self._light()

    def _light(self) -> int:
        """What the silences cost that are not incomparably heavier than others; 0: none is.

        Were a little worse judged by the heavy ones alone, the light ones would stay as they fall.
        """
        silences = self.tasks.silences
        least = min((weight for _, _, weight in silences), default=0)
        light = [each for each in silences if each[2] < INCOMPARABLE * least]
        if len(light) == len(silences):
            return 0
        start = self.placing.place(self.order)[1]
        length = self.tasks.length
        return sum(weight * (start[on] + length[on] - start[off]) for off, on, weight in light)

    def _value(self, order: Sequence[int], most: int | None = None) -> tuple[int, int]:
        """Cost and length; the length is not worked out for what costs more than ``most``."""
        cost, start, _ = self.placing.place(order)
        if most is not None and cost > most:
            return cost, 0
        held = {off: start[off] for off, _, _ in self.tasks.silences}
        ends = map(int.__add__, self.placing.earliest(order, held)[0], self.tasks.length)
        return cost, max(ends, default=0)

    def run(self, most_work: int) -> Searched:
        """Search."""
        planned = TRIES_A_TASK * len(self.order)
        if len(self.order) > MOST or self.best <= self.floor:
            whole = self.best <= self.floor
            return Searched(self.orders, 0, whole)
        self._prepare()
        limit = self.placing.work + most_work
        tries = 0
        while tries < planned and self.placing.work < limit and self.best > self.floor:
            tries += 1
            spent = max(tries / planned, 1 - (limit - self.placing.work) / most_work)
            if self.best[0] > self.floor[0] and spent < FOR_SILENCE:
                self._try(1 - spent / FOR_SILENCE)
            else:
                self._try_shorter(1 - spent)
        whole = tries == planned or self.best <= self.floor
        return Searched(self.orders, tries, whole)

    def _prepare(self) -> None:
        self.ancestors = [0] * len(self.order)
        for task in self.order:
            bits = 1 << task
            for first in self.tasks.before[task]:
                bits |= self.ancestors[first]
            self.ancestors[task] = bits

    def _try(self, warmth: float) -> None:
        turned = self._turned()
        if turned is None:
            self.placing.work += 1
            return
        little = self.light if self.light and warmth < HEAVY_UNTIL else self.best[0]
        room = int(little / WARM * warmth * self.chance.below(1024) / 1024)
        value = self._value(turned, self.now[0] + room)
        if value <= self.now or value[0] < self.now[0] + room:
            self.order, self.now = turned, value
            if value < self.best:
                self._keep(value, turned)

    def _try_shorter(self, warmth: float) -> None:
        """Look for a shorter whole among orders that cost no more; at first it may get longer."""
        if self.now[0] > self.best[0]:
            self.order, self.now = self.orders[-1], self.best
        turned = self._turned()
        if turned is None:
            self.placing.work += 1
            return
        value = self._value(turned, self.best[0])
        room = int(self.best[1] / WARM * warmth * self.chance.below(1024) / 1024)
        if value[0] < self.best[0] or (value[0] == self.best[0] and value[1] <= self.now[1] + room):
            self.order, self.now = turned, value
            if value < self.best:
                self._keep(value, turned)

    def _keep(self, value: tuple[int, int], order: list[int]) -> None:
        """Keep what is better, and of those before it the first of its cost and a few more."""
        if value[0] < self.best[0]:
            self.orders = self.orders[-1:]
        elif len(self.orders) == KEPT:
            del self.orders[1]
        self.best = value
        self.orders.append(order)

    def _turned(self) -> list[int] | None:
        """The order with two tasks of one device the other way round; None where they can't be."""
        one = self.chance.below(len(self.order))
        group = self.groups[one]
        other = group[self.chance.below(len(group))]
        if one == other:
            return None
        here, there = sorted((self.order.index(one), self.order.index(other)))
        first, then = self.order[here], self.order[there]
        if self.ancestors[then] >> first & 1:
            return None
        block = self.order[here : there + 1]
        if self.chance.below(2):
            forward = self.ancestors[then]
            front = [task for task in block if forward >> task & 1]
            back = [task for task in block if not forward >> task & 1]
        else:
            front = [task for task in block if not self.ancestors[task] >> first & 1]
            back = [task for task in block if self.ancestors[task] >> first & 1]
        return [*self.order[:here], *front, *back, *self.order[there + 1 :]]
