"""Saves in the midst of a sequence: what is let go is let go in what the device boots with (H9).

A device that boots with what it saved brings back by a power cycle what it had not saved: an old
number, an old address, an old pointer. Whoever takes what it held, or is switched on where it
listened, waits for the save. (Saves around a readdress: ``readdress_steps``; the last save of each
phase: ``finish``.)
"""

from collections import defaultdict
from collections.abc import Collection

from orchestrator.facility.plan import Ref
from orchestrator.facility.step import StepKind
from orchestrator.facility.traits import Saves
from orchestrator.planning.ordering.lending import device_order
from orchestrator.planning.ordering.work import Work


def boots_saved(work: Work, device: str) -> bool:
    """Whether ``device`` boots with what it saved, not with what it ran on."""
    return work.traits(device).saves is Saves.ON_SAVE


def saves_that_free(work: Work, awaited: Collection[int]) -> None:
    """Add a save after each move ``awaited`` by another device, which waits for that then.

    Renumbers of one device that come after equally many moves can't wait for one another, so
    one save serves them all.
    """
    level = _levels(work)
    shared: dict[tuple[str, int], list[int]] = defaultdict(list)
    for index in sorted(awaited):
        move = work.moves[index]
        if move.source is not None and boots_saved(work, move.device):
            shared[move.device, level[index]].append(index)
    for (device, _), members in shared.items():
        save = work.add(device, StepKind.SAVE)
        drafts = work.graph.drafts
        drafts[save].at = drafts[work.move_step[members[0]]].at
        for index in members:
            work.graph.order(work.move_step[index], save)
            work.freed_at[index] = save
        for index in work.moves_of[device]:
            if work.moves[index].source is None and not work.moves[index].leaves:
                work.graph.order(save, work.move_step[index])


def _levels(work: Work) -> list[int]:
    """How many moves each move comes after, at most."""
    order = device_order(work.moves)
    before = [
        (*move.waits, *order[index]) if index in order else move.waits
        for index, move in enumerate(work.moves)
    ]
    level = [-1 if firsts else 0 for firsts in before]
    for root, known in enumerate(level):
        if not known:
            continue
        stack = [root]
        while stack:
            node = stack[-1]
            if level[node] < 0:
                firsts = [level[first] for first in before[node]]
                if min(firsts) < 0:
                    stack.extend([first for first in before[node] if level[first] < 0])
                    continue
                level[node] = 1 + max(firsts)
            stack.pop()
    return level


class PointerSaves:
    """Adds a save after a repoint, where somebody else is to be switched on where it pointed.

    Listeners of one device that follow one source are saved together: they are pointed in one and
    the same silence.
    """

    def __init__(self, work: Work) -> None:
        self.work = work
        self.together: dict[tuple[str, str, Ref | None], list[int]] = defaultdict(list)
        for ref, step in work.repoint.items():
            at = work.graph.drafts[step].at
            self.together[ref.device, at, work.heard.listeners[ref].after].append(step)
        self.made: dict[int, int] = {}

    def left_at(self, listener: Ref, other: str) -> int:
        """The step after which ``listener`` has left where it pointed, as ``other`` sees it."""
        step = self.work.repoint[listener]
        if listener.device == other or not boots_saved(self.work, listener.device):
            return step
        if step not in self.made:
            at = self.work.graph.drafts[step].at
            after = self.work.heard.listeners[listener].after
            self._save(listener.device, self.together[listener.device, at, after])
        return self.made[step]

    def _save(self, device: str, repoints: list[int]) -> None:
        graph = self.work.graph
        save = self.work.add(device, StepKind.SAVE)
        draft, first = graph.drafts[save], graph.drafts[repoints[0]]
        draft.at, draft.room = first.at, first.room
        for step in repoints:
            graph.order(step, save)
            self.made[step] = save
        for index in self.work.moves_of[device]:
            readdress = self.work.move_step[index]
            if graph.drafts[readdress].after.keys() & set(repoints):
                graph.order(save, readdress)
