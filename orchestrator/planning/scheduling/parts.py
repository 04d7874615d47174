"""The parts of a problem that can be scheduled apart, and a problem of each one's own.

A part is what hangs together within one phase: tasks that wait for one another or share a device.
Where no more devices have work in a phase than may be spoken to at once, its parts have nothing to
do with each other; the cost of the whole is the sum of theirs.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from orchestrator.planning.scheduling.tasks import Silent, Tasks


@dataclass(frozen=True, slots=True)
class Part:
    """One part: its tasks as a problem, and which of the whole they are.

    A silence that begins or ends in another phase has a task without length in its place, which
    stands for the phase's beginning or end: ``begins`` are those that stay at the beginning.
    They come last and are not in ``members``.
    """

    tasks: Tasks
    members: tuple[int, ...]
    begins: tuple[int, ...] = ()


def parts_of(tasks: Tasks) -> list[Part]:
    """All parts, phase by phase, each by its first task."""
    leader = _leaders(tasks)
    groups: dict[tuple[int, int], list[int]] = {}
    for task, first in enumerate(leader):
        groups.setdefault((tasks.phase[task], first), []).append(task)
    silences: dict[int, list[Silent]] = {}
    for silent in tasks.silences:
        for end in dict.fromkeys((leader[silent[0]], leader[silent[1]])):
            silences.setdefault(end, []).append(silent)
    return [
        _part(tasks, members, silences.get(first, []))
        for (_, first), members in sorted(groups.items())
    ]


def _leaders(tasks: Tasks) -> list[int]:
    """For each task, the first of its part (disjoint sets with path halving)."""
    leader = list(range(len(tasks.length)))

    def find(task: int) -> int:
        while leader[task] != task:
            leader[task] = leader[leader[task]]
            task = leader[task]
        return task

    def join(one: int, other: int) -> None:
        first, second = find(one), find(other)
        if first != second:
            leader[max(first, second)] = min(first, second)

    last: dict[tuple[int, int], int] = {}
    for task, before in enumerate(tasks.before):
        phase = tasks.phase[task]
        join(last.setdefault((phase, tasks.device[task]), task), task)
        for first in before:
            if tasks.phase[first] == phase:
                join(first, task)
    return [find(task) for task in range(len(leader))]


def _part(tasks: Tasks, members: Sequence[int], silences: Sequence[Silent]) -> Part:
    here = {task: place for place, task in enumerate(members)}
    devices: dict[int, int] = {}
    device = [devices.setdefault(tasks.device[task], len(devices)) for task in members]
    before = [[here[first] for first in tasks.before[task] if first in here] for task in members]
    length = [tasks.length[task] for task in members]
    own: list[Silent] = []
    begins: list[int] = []
    for off, on, weight in silences:
        stand_in = len(length)
        own.append((here.get(off, stand_in), here.get(on, stand_in), weight))
        if off in here and on in here:
            continue
        length.append(0)
        device.append(max(device) + 1)
        before.append([] if on in here else list(range(len(members))))
        if on in here:
            begins.append(stand_in)
    later: list[list[int]] = [[] for _ in length]
    for then, firsts in enumerate(before):
        for first in firsts:
            later[first].append(then)
    extra = len(length) - len(members)
    by_hand = (*[tasks.by_hand[task] for task in members], *[True] * extra)
    whole = Tasks(
        length=tuple(length),
        device=tuple(device),
        phase=(0,) * len(length),
        by_hand=by_hand,
        before=tuple(map(tuple, before)),
        later=tuple(map(tuple, later)),
        silences=tuple(own),
        width=tasks.width,
    )
    return Part(whole, tuple(members), tuple(begins))
