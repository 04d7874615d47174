"""The schedule: which step starts when, so that silence is least, then the whole length.

Each part is ordered apart (see ``parts``): a first order by list scheduling, a search where it
leaves more silence than there has to be, then each disable tied to the task whose end it waits
for. Where more devices have work than may be spoken to at once, parts come one after another as
devices become free. What all that comes to is then carried out on paper, as a run would; the times
told are from there.
"""

import heapq
from collections.abc import Sequence
from dataclasses import dataclass, field

from orchestrator.planning.ordering.bounds import length_bound, silence_bounds
from orchestrator.planning.ordering.carry import carry
from orchestrator.planning.ordering.holding import hold, hold_roughly
from orchestrator.planning.ordering.keeping import behind_of
from orchestrator.planning.ordering.listing import listed
from orchestrator.planning.ordering.parts import Part, parts_of
from orchestrator.planning.ordering.placing import Placing
from orchestrator.planning.ordering.searching import MOST, late_order, search
from orchestrator.planning.ordering.tasks import Tasks

WORK = 600_000
"""How many tasks the search may place, over all parts and tries (about 0.3 s to 1 s)."""
MOST_HELD = 200_000
"""Parts in which the exact holding back would place more tasks than this get the rough one."""


@dataclass(frozen=True, slots=True)
class Made:
    """A schedule in milliseconds from the start of the run.

    ``waits``: for each disable that is held back, the tasks that it comes after. ``behind``: for
    each task, those that go first for the sake of silence. ``rank``: its place among all.
    ``tries``: how often the search tried another order; ``whole``: whether that was as often as it
    would, or all that there was to gain was gained.
    """

    start: list[int]
    end: list[int]
    waits: dict[int, tuple[int, ...]]
    behind: dict[int, tuple[int, ...]]
    rank: list[int]
    tries: int = 0
    whole: bool = True


@dataclass(slots=True)
class _Solved:
    """One part, ordered: starts as planned, and ties, by the part's own numbers."""

    part: Part
    order: list[int]
    start: list[int]
    waits: dict[int, tuple[int, ...]]
    behind: dict[int, tuple[int, ...]] = field(default_factory=dict)
    at: int = 0

    @property
    def length(self) -> int:
        ends = map(int.__add__, self.start, self.part.tasks.length)
        return max(ends, default=0)


def make(tasks: Tasks, work: int = WORK) -> Made:
    """Make the schedule of ``tasks``; ``work`` bounds the search.

    Raises:
        ValueError: the tasks wait for one another in a circle.
    """
    return _Maker(tasks, work).make()


class _Maker:
    def __init__(self, tasks: Tasks, work: int) -> None:
        self.tasks = tasks
        self.work = work
        self.tries = 0
        self.whole = True

    def make(self) -> Made:
        parts = parts_of(self.tasks)
        parts_left = sum(bool(part.tasks.silences) for part in parts)
        solved: list[_Solved] = []
        for part in parts:
            share = self.work // max(parts_left, 1)
            parts_left -= bool(part.tasks.silences)
            solved.append(self._solve(part, share))
        behind = self._pack(solved)
        waits: dict[int, tuple[int, ...]] = {}
        for one in solved:
            members = one.part.members
            waits |= {members[t]: tuple(members[b] for b in w) for t, w in one.waits.items()}
            for task, firsts in one.behind.items():
                known = behind.get(members[task], ())
                behind[members[task]] = (*known, *[members[first] for first in firsts])
        return self._carried(solved, waits, behind)

    def _solve(self, part: Part, share: int) -> _Solved:
        tasks = part.tasks
        late = late_order(tasks)
        if not tasks.silences:
            order = listed(tasks, late)
            return _Solved(part, order, _placed(part).earliest(order)[0], {})
        placing, order, held = self._ordered(part, late, share)
        start = placing.earliest(order)[0]
        gates = [(*b, *([held[t]] if t in held else ())) for t, b in enumerate(tasks.before)]
        behind = behind_of(tasks, gates, start, order)
        start = carry(tasks, [(*g, *behind.get(t, ())) for t, g in enumerate(gates)], ranks(order))
        waits = _robust(tasks, held, start, order)
        return _Solved(part, _by_start(start, order), start, waits, behind)

    def _ordered(
        self, part: Part, late: list[int], share: int
    ) -> tuple[Placing, list[int], dict[int, int]]:
        """Order one part that has silences, and tie its disables."""
        tasks, placing = part.tasks, _placed(part)
        order = listed(tasks, late)
        if len(order) > MOST:
            return (placing, *hold_roughly(placing, order))
        floor = sum(
            weight * bound
            for (_, _, weight), bound in zip(tasks.silences, silence_bounds(tasks), strict=True)
        )
        order = min((order, late), key=lambda each: placing.place(each)[0])
        found = search(placing, order, (floor, length_bound(tasks)), share)
        self.work -= min(self.work, placing.work)
        self.tries += found.tries
        self.whole &= found.whole
        if len(tasks.silences) * len(order) * 20 > MOST_HELD:
            return (placing, *hold_roughly(placing, found.orders[-1]))
        tied: list[tuple[Placing, list[int], dict[int, int]]] = []
        for each in found.orders:
            placing = _placed(part)
            tied.append((placing, *hold(placing, each)))
        return min(tied, key=lambda each: _value(*each[:2]))

    def _pack(self, solved: list[_Solved]) -> dict[int, tuple[int, ...]]:
        """Say when each part starts, where not all can go at once; soft orders that see to it."""
        behind: dict[int, tuple[int, ...]] = {}
        by_phase: dict[int, list[_Solved]] = {}
        for one in solved:
            by_phase.setdefault(self.tasks.phase[one.part.members[0]], []).append(one)
        for parts in by_phase.values():
            devices = sum(len(set(_spoken(one.part.tasks))) for one in parts)
            if devices > self.tasks.width:
                _pack_phase(parts, self.tasks.width, behind)
        return behind

    def _carried(
        self,
        solved: list[_Solved],
        waits: dict[int, tuple[int, ...]],
        behind: dict[int, tuple[int, ...]],
    ) -> Made:
        tasks = self.tasks
        planned = [0] * len(tasks.length)
        place = [0] * len(tasks.length)
        for one in solved:
            for number, task in enumerate(one.order):
                if task < len(one.part.members):
                    member = one.part.members[task]
                    planned[member] = one.at + one.start[task]
                    place[member] = number
        every = range(len(planned))
        first = sorted(every, key=lambda t: (tasks.phase[t], planned[t], place[t], t))
        gates: list[Sequence[int]] = list(tasks.before)
        for ties in (waits, behind):
            for task, firsts in ties.items():
                gates[task] = (*gates[task], *firsts)
        rank = ranks(first)
        start = carry(tasks, gates, rank)
        end = list(map(int.__add__, start, tasks.length))
        last = sorted(every, key=lambda t: (tasks.phase[t], start[t], rank[t]))
        return Made(start, end, waits, behind, ranks(last), self.tries, self.whole)


def _placed(part: Part) -> Placing:
    placing = Placing(part.tasks)
    for begin in part.begins:
        placing.pin(begin, None)
    return placing


def _value(placing: Placing, order: Sequence[int]) -> tuple[int, int]:
    """Cost and length with all disables tied."""
    start = placing.earliest(order)[0]
    end = list(map(int.__add__, start, placing.tasks.length))
    return placing.tasks.cost(start, end), max(end, default=0)


def ranks(order: Sequence[int]) -> list[int]:
    """The place of each task in ``order``."""
    place = [0] * len(order)
    for number, task in enumerate(order):
        place[task] = number
    return place


def _by_start(start: Sequence[int], order: Sequence[int]) -> list[int]:
    place = ranks(order)
    return sorted(order, key=lambda task: (start[task], place[task]))


def _robust(
    tasks: Tasks, held: dict[int, int], start: Sequence[int], order: Sequence[int]
) -> dict[int, tuple[int, ...]]:
    """What each disable comes after, should the steps take other times than expected.

    Beside the task whose end it waits for, all those that its device's write waits for and that
    end before it starts; where such a one has not ended, what comes before it in turn.
    """
    place = ranks(order)
    waits: dict[int, tuple[int, ...]] = {}
    for off in dict.fromkeys(off for off, _, _ in tasks.silences):
        found: dict[int, None] = {}
        if off in held:
            found[held[off]] = None
        for write in tasks.later[off]:
            for awaited in tasks.before[write]:
                if awaited == off:
                    continue
                near = (awaited, *tasks.before[awaited])
                for task in near:
                    over = start[task] + tasks.length[task] <= start[off]
                    if over and place[task] < place[off] and task not in tasks.before[off]:
                        found[task] = None
                        if task == awaited:
                            break
        if found:
            waits[off] = tuple(found)
    return waits


def _spoken(tasks: Tasks) -> list[int]:
    """The devices of the tasks that are not by hand."""
    return [d for d, by_hand in zip(tasks.device, tasks.by_hand, strict=True) if not by_hand]


def _pack_phase(parts: list[_Solved], width: int, behind: dict[int, tuple[int, ...]]) -> None:
    """Give each part, the longest first, as many places as it has devices, when they are free."""
    places: list[tuple[int, int]] = [(0, -1)] * width  # when free, and the task that frees it
    for one in sorted(parts, key=lambda each: -each.length):
        tasks, members = one.part.tasks, one.part.members
        last: dict[int, int] = {}
        for task in one.order:
            if not tasks.by_hand[task]:
                last[tasks.device[task]] = task
        taken = [heapq.heappop(places) for _ in range(min(len(last), width))]
        if not taken:
            continue
        one.at, freed_by = taken[-1]
        if freed_by >= 0:
            for task, before in enumerate(tasks.before[: len(members)]):
                if not before:
                    behind[members[task]] = (freed_by,)
        ends = sorted((one.start[t] + tasks.length[t], members[t]) for t in last.values())
        if len(last) > width:
            ends = [ends[-1]] * width
        for end, task in ends:
            heapq.heappush(places, (one.at + end, task))
