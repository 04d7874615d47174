"""A scheduling problem: all that is known of a change's steps here, and nothing else of them.

Times are whole milliseconds, so that equal times are equal and the same facility always gives the
same schedule.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby

Silent = tuple[int, int, int]
"""A silence: its disable, its enable, and what one millisecond of it costs."""

Ties = Mapping[int, tuple[int, ...]]
"""For some tasks, others that they come after, beside those that safety demands."""


@dataclass(frozen=True, slots=True)
class Tasks:
    """What has to be scheduled.

    Tasks are numbered from 0. ``before`` are those that a task waits for, ``later`` those that
    wait for it. ``device`` numbers the devices: each does one task at a time. At most ``width``
    devices are spoken to at once; a task ``by_hand`` is not spoken. ``phase``: a phase starts
    when all earlier ones are done.
    """

    length: tuple[int, ...]
    device: tuple[int, ...]
    phase: tuple[int, ...]
    by_hand: tuple[bool, ...]
    before: tuple[tuple[int, ...], ...]
    later: tuple[tuple[int, ...], ...]
    silences: tuple[Silent, ...]
    width: int

    def cost(self, start: Sequence[int], end: Sequence[int]) -> int:
        """What the silences of a schedule cost."""
        return sum(weight * (end[on] - start[off]) for off, on, weight in self.silences)

    def by_phase(self) -> list[tuple[int, list[int]]]:
        """The phases that have tasks, in order, each with its tasks."""
        found: dict[int, list[int]] = {}
        for phase, run in groupby(numbers(len(self.phase)), key=self.phase.__getitem__):
            found.setdefault(phase, []).extend(run)
        return sorted(found.items())

    def gates(self, *ties: Ties) -> list[tuple[int, ...]]:
        """All that each task comes after: what safety demands, and ``ties``."""
        gates = list(self.before)
        for tie in ties:
            for task, firsts in tie.items():
                gates[task] = (*gates[task], *firsts)
        return gates


def numbers(count: int) -> list[int]:
    """The whole numbers below ``count``: the very same values each time, that lie side by side.

    A large problem is many lists of its tasks. Did each have values of its own, they would fill
    the machine's cache.
    """
    if len(_NUMBERS) < count:
        _NUMBERS.extend(range(len(_NUMBERS), count))
    return _NUMBERS[:count]


_NUMBERS: list[int] = []


def ranks(order: Sequence[int]) -> list[int]:
    """The place of each task in ``order``."""
    place = [0] * len(order)
    for number, task in zip(numbers(len(order)), order, strict=True):
        place[task] = number
    return place
