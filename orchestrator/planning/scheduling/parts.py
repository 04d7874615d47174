"""The parts of a problem that can be scheduled apart, and a problem of each one's own.

A part is what hangs together within one phase: tasks that wait for one another or share a device.
Where no more devices have work in a phase than may be spoken to at once, its parts have nothing to
do with each other; the cost of the whole is the sum of theirs.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

from orchestrator.planning.scheduling.sets import leader_of
from orchestrator.planning.scheduling.tasks import Silent, Tasks, numbers


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


class Group(NamedTuple):
    """What will be a part: its tasks, and the silences that begin or end among them."""

    members: list[int]
    silences: list[Silent]


def parts_of(tasks: Tasks) -> list[Part]:
    """All parts, phase by phase, each by its first task."""
    place = [0] * len(tasks.phase)
    return [part_of(tasks, group, place) for group in groups_of(tasks)]


def groups_of(tasks: Tasks) -> list[Group]:
    """What hangs together, phase by phase, each by its first task."""
    groups: list[Group] = []
    group_of = [0] * len(tasks.phase)
    for _, every in tasks.by_phase():
        for members in _together(tasks, every):
            for task in members:
                group_of[task] = len(groups)
            groups.append(Group(members, []))
    for silent in tasks.silences:
        off, on = group_of[silent[0]], group_of[silent[1]]
        groups[off].silences.append(silent)
        if on != off:
            groups[on].silences.append(silent)
    return groups


def _together(tasks: Tasks, members: Sequence[int]) -> list[list[int]]:
    """The tasks of one phase, by part."""
    device, before, phase = tasks.device, tasks.before, tasks.phase
    leader = {device[task]: device[task] for task in members}

    here = phase[members[0]]
    for task in members:
        own = device[task]
        for first in before[task]:
            other = device[first]
            if other != own and phase[first] == here and leader[other] != leader[own]:
                leader[leader_of(leader, other)] = leader_of(leader, own)
    part_of = {one: leader_of(leader, one) for one in leader}
    if len(set(part_of.values())) == 1:
        return [list(members)]
    parts: dict[int, list[int]] = {}
    for task in members:
        parts.setdefault(part_of[device[task]], []).append(task)
    return list(parts.values())


def _among(members: Sequence[int], task: int, place: Sequence[int]) -> bool:
    """Whether ``task`` is one of ``members``, whose places were noted last."""
    return place[task] < len(members) and members[place[task]] == task


def part_of(tasks: Tasks, group: Group, place: list[int]) -> Part:
    """One part as a problem of its own; ``place`` is where it notes the place of each member."""
    members, silences = group
    for number, task in zip(numbers(len(members)), members, strict=True):
        place[task] = number
    devices: dict[int, int] = {}
    device = [devices.setdefault(tasks.device[task], len(devices)) for task in members]
    length = [tasks.length[task] for task in members]
    before = _before(tasks, members, place)
    own: list[Silent] = []
    begins: list[int] = []
    for off, on, weight in silences:
        begun, ended = _among(members, off, place), _among(members, on, place)
        if begun and ended:
            own.append((place[off], place[on], weight))
            continue
        stand_in = len(length)
        own.append((place[off] if begun else stand_in, place[on] if ended else stand_in, weight))
        length.append(0)
        device.append(max(device) + 1)
        before.append(() if ended else tuple(range(len(members))))
        if ended:
            begins.append(stand_in)
    later: list[list[int]] = [[] for _ in length]
    for then, firsts in zip(numbers(len(before)), before, strict=True):
        for first in firsts:
            later[first].append(then)
    extra = len(length) - len(members)
    by_hand = (*[tasks.by_hand[task] for task in members], *[True] * extra)
    whole = Tasks(
        length=tuple(length),
        device=tuple(device),
        phase=(0,) * len(length),
        by_hand=by_hand,
        before=tuple(before),
        later=tuple(map(tuple, later)),
        silences=tuple(own),
        width=tasks.width,
    )
    return Part(whole, tuple(members), tuple(begins))


def _before(tasks: Tasks, members: Sequence[int], place: Sequence[int]) -> list[tuple[int, ...]]:
    """What each of ``members`` waits for within their phase, by the ``place`` of each."""
    phase, here = tasks.phase, tasks.phase[members[0]]
    firsts = [tasks.before[task] for task in members]
    if not {phase[first] for each in firsts for first in each} <= {here}:
        firsts = [tuple([first for first in each if phase[first] == here]) for each in firsts]
    return [tuple([place[first] for first in each]) if each else () for each in firsts]
