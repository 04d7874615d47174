"""Parts one after another, where not all devices can be spoken to at once.

A part that goes on without a pause costs no more silence than alone. So each is put as a whole
where there is room for it, the longest first, and its first tasks stand behind a task that ends
just then.
"""

from bisect import bisect_left
from collections.abc import Sequence
from itertools import accumulate

from orchestrator.planning.scheduling.solving import Solved
from orchestrator.planning.scheduling.tasks import Tasks

MOST_LOOKED_AT = 100
"""After so many beginnings that do not do for a part, the earliest ones are given up."""


def pack(tasks: Tasks, solved: Sequence[Solved]) -> dict[int, tuple[int, ...]]:
    """Set when each part starts; give the soft orders that see to it, by task of the whole."""
    behind: dict[int, tuple[int, ...]] = {}
    by_phase: dict[int, list[Solved]] = {}
    for one in solved:
        by_phase.setdefault(tasks.phase[one.part.members[0]], []).append(one)
    for parts in by_phase.values():
        if len(parts) > 1 and _crowded(parts, tasks.width):
            _Room(tasks.width).put_all(parts, behind)
    return behind


def _crowded(parts: Sequence[Solved], width: int) -> bool:
    """Whether parts speak to more than ``width`` devices together."""
    return any(count > width for count in accumulate(one.devices for one in parts))


class _Room:
    """How many are spoken to at each time: ``used[i]`` from ``times[i]`` on.

    ``ends[i]`` is a task that ends at that time, if one does.
    """

    def __init__(self, width: int) -> None:
        self.width = width
        self.times = [0]
        self.used = [0]
        self.ends = [-1]
        self.full = 0  # before this place there is no room for anything

    def put_all(self, parts: Sequence[Solved], behind: dict[int, tuple[int, ...]]) -> None:
        """Put each part where there is room."""
        for one in sorted(parts, key=lambda each: -each.length):
            profile = one.profile()
            place = self._beginning(profile)
            one.at, first = self.times[place], self.ends[place]
            names = one.part.members
            if first >= 0:
                for task, before in enumerate(one.part.tasks.before[: len(names)]):
                    if not before:
                        behind[names[task]] = (first,)
            for since, until, count, last in profile:
                self._use(one.at + since, one.at + until, count, names[last])
            while self.full < len(self.used) - 1 and self.used[self.full] >= self.width:
                self.full += 1

    def _beginning(self, profile: Sequence[tuple[int, int, int, int]]) -> int:
        """The first place from which on there is room.

        Where many places had to be looked at, the earlier ones are given up for all that follow:
        so no more are looked at than are made.
        """
        looked_at = 0
        for place in range(self.full, len(self.times) - 1):
            if self.ends[place] < 0 and place:
                continue
            if self._fits(self.times[place], profile):
                return place
            looked_at += 1
            if looked_at > MOST_LOOKED_AT:
                self.full += 1
        return len(self.times) - 1

    def _fits(self, at: int, profile: Sequence[tuple[int, int, int, int]]) -> bool:
        for since, until, count, _ in profile:
            place = bisect_left(self.times, at + since + 1) - 1
            while place < len(self.times) and self.times[place] < at + until:
                if self.used[place] + count > self.width:
                    return False
                place += 1
        return True

    def _use(self, since: int, until: int, count: int, last: int) -> None:
        first, end = self._cut(since), self._cut(until)
        self.ends[end] = last
        for place in range(first, end):
            self.used[place] += count

    def _cut(self, time: int) -> int:
        """The place of ``time``, which is made where there is none."""
        place = bisect_left(self.times, time)
        if place == len(self.times) or self.times[place] != time:
            self.times.insert(place, time)
            self.used.insert(place, self.used[place - 1])
            self.ends.insert(place, -1)
            self.full += place <= self.full
        return place
