"""One part of the problem, from its tasks to starts and ties.

A first order by list scheduling, a search where it leaves more silence than there has to be, then
each disable tied to the task whose end it waits for, and soft orders that keep devices free.
"""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field

from orchestrator.planning.scheduling.bounds import length_bound, silence_bounds
from orchestrator.planning.scheduling.carry import carry
from orchestrator.planning.scheduling.holding import hold, hold_roughly, in_order
from orchestrator.planning.scheduling.keeping import Behind, behind_of
from orchestrator.planning.scheduling.listing import listed
from orchestrator.planning.scheduling.parts import Part
from orchestrator.planning.scheduling.placing import Placing
from orchestrator.planning.scheduling.searching import MOST, late_order, search
from orchestrator.planning.scheduling.tasks import Tasks, ranks

LEAST_WORTH = 40
"""A part is searched only if each of its tasks may be placed so often."""
PLACED_A_TIE = 20
"""About how often each task is placed while one disable is tied exactly."""


@dataclass(slots=True)
class Solved:
    """One part, ordered: its starts, what each disable waits for, and soft orders.

    ``at``: when it starts as a whole.
    """

    part: Part
    order: list[int]
    start: list[int]
    waits: Behind = field(default_factory=dict)
    behind: Behind = field(default_factory=dict)
    at: int = 0

    @property
    def length(self) -> int:
        """How long the part takes."""
        ends = map(int.__add__, self.start, self.part.tasks.length)
        return max(ends, default=0)

    @property
    def devices(self) -> int:
        """How many devices it speaks to."""
        return len(spoken_to(self.part.tasks))

    def profile(self) -> list[tuple[int, int, int, int]]:
        """From when to when how many devices are spoken to, and a task that ends just then."""
        tasks, start = self.part.tasks, self.start
        own = [
            task
            for task in range(len(self.part.members))
            if tasks.length[task] and not tasks.by_hand[task]
        ]
        until = [start[task] + tasks.length[task] for task in own]
        turns = Counter([start[task] for task in own])
        for time, count in Counter(until).items():
            turns[time] -= count
        ends = dict(zip(until, own, strict=True))
        found: list[tuple[int, int, int, int]] = []
        since = count = 0
        for time in sorted(turns):
            if count:
                last = ends.get(time, found[-1][3] if found else -1)
                found.append((since, time, count, last))
            since, count = time, count + turns[time]
        return found


def spoken_to(tasks: Tasks) -> set[int]:
    """The devices that have tasks not by hand."""
    return {d for d, by_hand in zip(tasks.device, tasks.by_hand, strict=True) if not by_hand}


class Solver:
    """Solves parts, with so much ``work`` (tasks placed) for all together."""

    def __init__(self, work: int) -> None:
        self.work = work
        self.tries = 0
        self.whole = True

    def solve(self, part: Part, share: int) -> Solved:
        """Solve one part with about ``share`` of the work.

        Raises:
            ValueError: the tasks wait for one another in a circle.
        """
        tasks = part.tasks
        late = late_order(tasks)
        order, start = listed(tasks, late)
        if not tasks.silences:
            return Solved(part, order, start)
        crowded = len(spoken_to(tasks)) > tasks.width
        if len(order) > MOST or share < LEAST_WORTH * len(order):
            self.whole = False
            if crowded:
                return _crowded(part, start)
            if len(order) <= MOST:
                placing = placing_of(part)
                order = min((order, late), key=lambda each: placing.place(each)[0])
            return self._roughly(part, order)
        found = self._searched(part, late, order, share)
        if not crowded:
            return found
        return min((found, _crowded(part, start)), key=lambda each: _value(tasks, each.start))

    def _roughly(self, part: Part, order: Sequence[int]) -> Solved:
        placing = placing_of(part)
        if len(order) <= MOST:
            late = placing.place(order)[1]
        else:
            late = placing.later_start(order, *placing.earliest(order))
        wanted = {off: late[off] for off, _, _ in part.tasks.silences if not placing.fixed[off]}
        start, _ = placing.earliest(order, wanted)
        turned = in_order(start, wanted)
        return _tied(part, turned, hold_roughly(part.tasks, start, turned, wanted))

    def _searched(
        self, part: Part, late: Sequence[int], order: Sequence[int], share: int
    ) -> Solved:
        tasks, placing = part.tasks, placing_of(part)
        bounds = silence_bounds(tasks, late)
        floor = sum(s[2] * bound for s, bound in zip(tasks.silences, bounds, strict=True))
        first = min((order, late), key=lambda each: placing.place(each)[0])
        found = search(placing, first, (floor, length_bound(tasks, (), late)), share)
        self.work -= min(self.work, placing.work)
        self.tries += found.tries
        self.whole &= found.whole
        price = len(tasks.silences) * len(order) * PLACED_A_TIE
        if price > share:
            self.whole = False
            return self._roughly(part, found.orders[-1])
        solved: list[Solved] = []
        for each in found.orders[-max(1, share // price) :]:
            placing = placing_of(part)
            solved.append(_tied(part, *hold(placing, each)))
            self.work -= min(self.work, placing.work)
        return min(solved, key=lambda each: _value(tasks, each.start))


def _crowded(part: Part, start: list[int]) -> Solved:
    """A part as listed: its devices take turns, so what matters is who goes first.

    A disable waits for a task that ends its own length before. Tied to one that ends just then, it
    would leave a turn empty whenever that one took a little longer than expected, though others
    have ended: a run of 500 devices took a twelfth longer for it, with one part in 75 less silence.
    """
    tasks = part.tasks
    offs = [off for off, _, _ in tasks.silences if off not in part.begins]
    order = in_order(start, dict.fromkeys(offs))
    early = {off: start[off] - tasks.length[off] for off in offs if start[off] > tasks.length[off]}
    held = hold_roughly(tasks, start, order, early)
    return Solved(part, order, start, robust(tasks, held, start, ranks(order)))


def _tied(part: Part, order: Sequence[int], held: dict[int, int]) -> Solved:
    """Carry out the part with its ties, and keep devices free for what is urgent."""
    tasks = part.tasks
    rank = ranks(order)
    ties = {off: (first,) for off, first in held.items()}
    start = placing_of(part, held).earliest(order)[0]
    behind: Behind = {}
    if len(spoken_to(tasks)) <= tasks.width:
        behind = behind_of(tasks, ties, start, order)
    start = carry(tasks, order, ties, behind)
    by_start = sorted(order, key=lambda task: (start[task], rank[task]))
    return Solved(part, by_start, start, robust(tasks, held, start, ranks(by_start)), behind)


def placing_of(part: Part, held: dict[int, int] | None = None) -> Placing:
    """The placing of a part; the beginnings of silences that came before it stay where they are."""
    placing = Placing(part.tasks)
    for begin in part.begins:
        placing.pin(begin, None)
    for off, first in (held or {}).items():
        placing.pin(off, first)
    return placing


def _value(tasks: Tasks, start: Sequence[int]) -> tuple[int, int]:
    end = list(map(int.__add__, start, tasks.length))
    return tasks.cost(start, end), max(end, default=0)


def robust(tasks: Tasks, held: dict[int, int], start: Sequence[int], rank: Sequence[int]) -> Behind:
    """What each disable comes after, should the steps take other times than expected.

    Beside the task whose end it waits for, all those that its device's write waits for and that
    end before it starts; where such a one has not ended by then, what comes before it in turn.
    """
    before, later = tasks.before, tasks.later
    end = list(map(int.__add__, start, tasks.length))
    waits: Behind = {}
    for off in dict.fromkeys([off for off, _, _ in tasks.silences]):
        now, place, known = start[off], rank[off], before[off]
        found: list[int] = [held[off]] if off in held else []
        for write in later[off]:
            for awaited in before[write]:
                if end[awaited] <= now and rank[awaited] < place and awaited not in known:
                    found.append(awaited)
                elif awaited != off:
                    for task in before[awaited]:
                        if end[task] <= now and rank[task] < place and task not in known:
                            found.append(task)  # noqa: PERF401 - the innermost loop
        if found:
            waits[off] = tuple(dict.fromkeys(found))
    return waits
