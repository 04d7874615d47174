"""The schedule: which step starts when, so that silence is least, then the whole length.

Each part is ordered apart (see ``parts`` and ``solving``). Where more devices have work than may
be spoken to at once, parts come one after another as devices become free (see ``packing``). What
all that comes to is then carried out on paper, as a run would; the times told are from there.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import groupby

from orchestrator.planning.scheduling.carry import carried, carry
from orchestrator.planning.scheduling.packing import pack
from orchestrator.planning.scheduling.parts import parts_of
from orchestrator.planning.scheduling.solving import Solved, Solver
from orchestrator.planning.scheduling.tasks import Tasks, ranks

WORK = 600_000
"""How many tasks may be placed in search of a better order, over all tries (under a second)."""


@dataclass(frozen=True, slots=True)
class Made:
    """A schedule in milliseconds from the start of the run.

    ``waits``: for each disable that is held back, the tasks that it comes after. ``behind``: for
    each task, those that go first for the sake of silence. ``order``: all tasks, as they start.
    ``tries``: how often the search tried another order; ``whole``: whether that was as often as it
    would, or all that there was to gain was gained.
    """

    start: list[int]
    end: list[int]
    waits: dict[int, tuple[int, ...]]
    behind: dict[int, tuple[int, ...]]
    order: list[int]
    tries: int = 0
    whole: bool = True


def make(tasks: Tasks, work: int = WORK) -> Made:
    """Make the schedule of ``tasks``; ``work`` bounds the search.

    Raises:
        ValueError: the tasks wait for one another in a circle.
    """
    parts = parts_of(tasks)
    silent = sum(bool(part.tasks.silences) for part in parts)
    solver = Solver(work)
    solved: list[Solved] = []
    for part in parts:
        solved.append(solver.solve(part, solver.work // max(silent, 1)))
        silent -= bool(part.tasks.silences)
    behind = pack(tasks, solved)
    waits: dict[int, tuple[int, ...]] = {}
    for one in solved:
        names, count = one.part.members, len(one.part.members)
        for task, firsts in one.waits.items():
            waits[names[task]] = tuple([names[first] for first in firsts if first < count])
        for task, firsts in one.behind.items():
            known = behind.get(names[task], ())
            behind[names[task]] = (*known, *[names[first] for first in firsts])
    start, order = _carried(tasks, solved, waits, behind)
    end = list(map(int.__add__, start, tasks.length))
    return Made(start, end, waits, behind, order, solver.tries, solver.whole)


def paced(made: Made, tasks: Tasks) -> Made:
    """The same schedule, in the same order, where the tasks take other times.

    ``tasks`` differ from those of ``made`` by their lengths alone.
    """
    start = carry(tasks, made.order, made.waits, made.behind)
    return replace(made, start=start, end=list(map(int.__add__, start, tasks.length)))


def _carried(
    tasks: Tasks,
    solved: Sequence[Solved],
    waits: dict[int, tuple[int, ...]],
    behind: dict[int, tuple[int, ...]],
) -> tuple[list[int], list[int]]:
    """When each task starts in a run, and all tasks by their starts.

    ``solved`` are the parts phase by phase.
    """
    first: list[int] = []
    for _, parts in groupby(solved, key=lambda one: tasks.phase[one.part.members[0]]):
        line: list[tuple[int, int, int]] = []
        for one in parts:
            at, start, names, count = one.at, one.start, one.part.members, len(one.part.members)
            line += [
                (at + start[task], place, names[task])
                for place, task in enumerate(one.order)
                if task < count
            ]
        first += [task for _, _, task in sorted(line)]
    start, started = carried(tasks, first, waits, behind)
    count = len(first)
    key = [time * count + place for time, place in zip(start, ranks(first), strict=True)]
    return start, sorted(started, key=key.__getitem__)
