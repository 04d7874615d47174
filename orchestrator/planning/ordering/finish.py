"""The last touches: first and final saves, and steps with ids in the order of the schedule."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from typing import NamedTuple

from orchestrator.facility.quick import maker
from orchestrator.facility.step import Step, StepKind
from orchestrator.facility.traits import Saves
from orchestrator.planning.ordering.drafts import Draft, Graph
from orchestrator.planning.scene import Scene
from orchestrator.planning.scheduling.making import Made
from orchestrator.planning.scheduling.tasks import ranks

_DONE = {
    StepKind.DISABLE: "is off",
    StepKind.SET: "is set",
    StepKind.RENUMBER: "is renumbered",
    StepKind.REPOINT: "is pointed",
    StepKind.SAVE: "has saved",
    StepKind.READDRESS: "is readdressed",
    StepKind.CONFIRM: "is confirmed",
    StepKind.ENABLE: "is on again",
    StepKind.BY_HAND: "is done by hand",
}


_step = maker(Step)
_TAKES = frozenset({StepKind.RENUMBER, StepKind.READDRESS, StepKind.REPOINT, StepKind.ENABLE})


def add_first_saves(scene: Scene, graph: Graph) -> None:
    """Save what has to be saved before anything is taken; all else waits for it.

    What another hand has left unsaved is saved on devices that are changed anyway, and only where
    another device takes something.
    """
    if not scene.unsaved and not scene.save_first:
        return
    every = range(len(graph.drafts))
    takers = {draft.device for draft in graph.drafts if draft.kind in _TAKES}
    changed = {draft.device for draft in graph.drafts}
    left = {name for name in scene.unsaved & changed if takers - {name}}
    for device in sorted(left | (scene.save_first & scene.states.keys())):
        if scene.traits[device].saves is not Saves.ON_SAVE or not every:
            continue
        entry = scene.found.devices[device]
        save = graph.add(
            Draft(
                kind=StepKind.SAVE,
                device=device,
                room=scene.room_of(device),
                at=entry.at,
                as_found=None,
                wanted=None,
            )
        )
        for index in every:
            same = graph.drafts[index].device == device
            graph.order(save, index, "" if same else f"waits until {device} has saved what it runs")


def add_final_saves(scene: Scene, graph: Graph) -> None:
    """Save each device that boots with what is saved, at the end of each phase that changed it."""
    boots_saved = {name for name, has in scene.traits.items() if has.saves is Saves.ON_SAVE}
    groups: dict[tuple[str, int], list[int]] = defaultdict(list)
    for index, draft in enumerate(graph.drafts):
        if draft.device in boots_saved:
            groups[draft.device, draft.phase].append(index)
    for (device, phase), members in groups.items():
        if _saved(graph, members).issuperset(members):
            continue
        last = graph.drafts[members[-1]]
        graph.add(
            Draft(
                kind=StepKind.SAVE,
                device=device,
                room=last.room,
                at=_last_address(graph, members, last.at),
                as_found=None,
                wanted=None,
                after=dict.fromkeys(members, ""),
                phase=phase,
            )
        )


def _saved(graph: Graph, members: list[int]) -> set[int]:
    """The saves and confirms among the drafts of one device, and all that a save comes after."""
    inside = set(members)
    stack = [i for i in members if graph.drafts[i].kind is StepKind.SAVE]
    seen = set(stack)
    while stack:
        for before in graph.drafts[stack.pop()].after:
            if before in inside and before not in seen:
                seen.add(before)
                stack.append(before)
    return seen.union(i for i in members if graph.drafts[i].kind is StepKind.CONFIRM)


def _last_address(graph: Graph, members: list[int], otherwise: str) -> str:
    """Where the device is spoken to after all of ``members``."""
    confirms = [graph.drafts[i] for i in members if graph.drafts[i].kind is StepKind.CONFIRM]
    return confirms[-1].at if confirms else otherwise


def tie(graph: Graph, made: Made) -> None:
    """Put each disable after what it waits for, so that nobody is silent sooner than need be."""
    drafts = graph.drafts
    said: dict[int, str] = {}
    for off, firsts in made.waits.items():
        device, after = drafts[off].device, drafts[off].after
        for first in firsts:
            if drafts[first].device == device:
                graph.order(first, off)
                continue
            why = said.get(first)
            if why is None:
                why = said[first] = _why(drafts[first])
            after[first] = why


def _why(first: Draft) -> str:
    """Why a disable comes after a step of another device."""
    name = first.source or first.destination
    what = f"{first.device}/{name}" if name else first.device
    return f"waits until {what} {_DONE[first.kind]}, to be silent no longer than it has to"


class First(NamedTuple):
    """The numbers with which the steps, phases and batches of a sequence begin."""

    step: int
    phase: int
    batch: int


START = First(1, 0, 1)


def steps_of(
    graph: Graph, made: Made, groups: Iterable[Sequence[int]] = (), first: First = START
) -> tuple[Step, ...]:
    """The drafts as steps, numbered ``s1``, ``s2`` ... in the order in which they start.

    ``groups`` are those that go in one request; they are numbered by their first steps. All
    numbers begin with ``first``.
    """
    place = ranks(made.order)
    start_of, names = place.__getitem__, [f"s{number + first.step}" for number in place]
    name_of = names.__getitem__
    by_place = sorted(groups, key=lambda group: min(place[index] for index in group))
    numbered = enumerate(by_place, first.batch)
    batch = {index: number for number, group in numbered for index in group}
    steps: list[Step | None] = [None] * len(place)
    # Made in the order of the drafts: what is looked at together, device by device, lies together.
    for index, draft in enumerate(graph.drafts):
        firsts: Iterable[int] = draft.after
        if len(draft.after) > 1:
            firsts = sorted(firsts, key=start_of)
        reasons = tuple(filter(None, map(draft.after.__getitem__, firsts)))
        behind = made.behind.get(index)
        at = place[index]
        steps[at] = _step(
            names[index],
            draft.kind,
            draft.device,
            draft.at,
            draft.as_found,
            draft.wanted,
            draft.source,
            draft.destination,
            draft.setting,
            tuple(map(name_of, firsts)),
            tuple(map(name_of, sorted(behind, key=start_of))) if behind else (),
            reasons if len(reasons) < 2 else tuple(dict.fromkeys(reasons)),  # noqa: PLR2004
            draft.phase + first.phase,
            at + first.step,
            draft.seconds,
            draft.origin,
            batch.get(index, 0),
        )
    return tuple([step for step in steps if step is not None])
