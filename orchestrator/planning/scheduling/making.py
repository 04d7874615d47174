"""The schedule: which step starts when, so that silence is least, then the whole length.

Each part is ordered apart (see ``parts`` and ``solving``). Where more devices have work than may
be spoken to at once, parts come one after another as devices become free (see ``packing``). What
all that comes to is then carried out on paper, as a run would; the times told are from there.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from itertools import groupby

from orchestrator.planning.scheduling.carry import Opening, again, in_turn, opening_of
from orchestrator.planning.scheduling.packing import pack
from orchestrator.planning.scheduling.parts import Group, groups_of, part_of
from orchestrator.planning.scheduling.solving import Solved, Solver
from orchestrator.planning.scheduling.tasks import Tasks, numbers

WORK = 600_000
"""How many tasks may be placed in search of a better order, over all tries (under a second)."""


@dataclass(frozen=True, slots=True)
class Made:
    """A schedule in milliseconds from the start of the run.

    ``waits``: for each disable that is held back, the tasks that it comes after. ``behind``: for
    each task, those that go first for the sake of silence. ``order``: all tasks, as they start.
    ``tries``: how often the search tried another order; ``whole``: whether that was as often as it
    would, or all that there was to gain was gained. ``opening``: ``waits`` and ``behind`` once
    more, together with what safety demands, until it is :func:`paced`.
    """

    start: list[int]
    end: list[int]
    waits: dict[int, tuple[int, ...]]
    behind: dict[int, tuple[int, ...]]
    order: list[int]
    tries: int = 0
    whole: bool = True
    opening: Opening | None = field(default=None, repr=False, compare=False)


def make(tasks: Tasks, work: int = WORK) -> Made:
    """Make the schedule of ``tasks``; ``work`` bounds the search.

    Raises:
        ValueError: the tasks wait for one another in a circle.
    """
    groups = groups_of(tasks)
    making = _Making(tasks, groups, work)
    for _, own in groupby(groups, key=lambda group: tasks.phase[group.members[0]]):
        making.add_phase(own)
    solver, waits, behind = making.solver, making.waits, making.behind
    opening = opening_of(tasks, waits, behind)
    start, order = in_turn(tasks, making.first, opening)
    end = list(map(int.__add__, start, tasks.length))
    return Made(start, end, waits, behind, order, solver.tries, solver.whole, opening)


def paced(made: Made, tasks: Tasks) -> Made:
    """The same schedule, in the same order, where the tasks take other times.

    ``tasks`` differ from those of ``made`` by their lengths alone.
    """
    opening = made.opening or opening_of(tasks, made.waits, made.behind)
    start = again(tasks, made.order, opening)
    end = list(map(int.__add__, start, tasks.length))
    return replace(made, start=start, end=end, opening=None)


class _Making:
    """What comes of the parts, phase by phase.

    A phase's parts are made, solved and done with before the next one's: so what they need is
    small, and in the machine's cache. ``first``: all tasks as their parts have them start.
    """

    def __init__(self, tasks: Tasks, groups: Sequence[Group], work: int) -> None:
        self.tasks = tasks
        self.solver = Solver(work)
        self.silent = sum(bool(group.silences) for group in groups)
        self.place = [0] * len(tasks.phase)
        self.first: list[int] = []
        self.waits: dict[int, tuple[int, ...]] = {}
        self.behind: dict[int, tuple[int, ...]] = {}

    def add_phase(self, groups: Iterable[Group]) -> None:
        """Solve all of one phase."""
        solved: list[Solved] = []
        for group in groups:
            share = self.solver.work // max(self.silent, 1)
            part = part_of(self.tasks, group, self.place)
            solved.append(self.solver.solve(part, share))
            self.silent -= bool(part.tasks.silences)
        self.behind |= pack(self.tasks, solved)
        for one in solved:
            self._tie(one)
        self.first += _merged(solved)

    def _tie(self, one: Solved) -> None:
        names, most = one.part.members, len(one.part.members)
        for task, firsts in one.waits.items():
            self.waits[names[task]] = tuple([names[first] for first in firsts if first < most])
        for task, firsts in one.behind.items():
            known = self.behind.get(names[task], ())
            self.behind[names[task]] = (*known, *[names[first] for first in firsts])


def _merged(solved: Sequence[Solved]) -> list[int]:
    """The tasks of parts, as they start; what starts at one time, as each part has it."""
    if len(solved) == 1:
        (one,) = solved
        names, own = one.part.members, len(one.part.members)
        return [names[task] for task in one.order if task < own]
    line: list[int] = []
    keys: list[int] = []
    most = 1 + max(len(one.order) for one in solved)
    for one in solved:
        names, own, start, key = one.part.members, len(one.part.members), one.start, one.at * most
        for place, task in enumerate(one.order):
            if task < own:
                line.append(names[task])
                keys.append(key + start[task] * most + place)
    return [line[at] for at in sorted(numbers(len(line)), key=keys.__getitem__)]
