"""Phases: the rooms changed together, in an order that agrees with their hand-overs.

When a step in one room has to come after a step in another, the first room hands something over
to the second. An order of rooms works exactly when it agrees with all hand-overs; rooms that hand
over to each other both ways have to go together (a strongly connected part of the graph).
"""

from collections.abc import Sequence
from dataclasses import dataclass

from orchestrator.facility.hazard import Grade, Hazard
from orchestrator.facility.step import Phase
from orchestrator.planning.ordering.cycles import components
from orchestrator.planning.ordering.drafts import Draft, Graph


@dataclass(frozen=True, slots=True)
class HandOver:
    """One step that lets a step in another room come: ``first`` before ``then``."""

    giver: str
    taker: str
    first: Draft
    then: Draft


def hand_overs(graph: Graph) -> list[HandOver]:
    """Every order between steps that belong to different rooms."""
    return [
        HandOver(graph.drafts[before].room, draft.room, graph.drafts[before], draft)
        for draft in graph.drafts
        for before in draft.after
        if graph.drafts[before].room != draft.room
    ]


def phases(
    graph: Graph, wanted: Sequence[tuple[str, ...]]
) -> tuple[tuple[Phase, ...], tuple[Hazard, ...]]:
    """Give every draft its phase.

    ``wanted`` is the user's order; rooms that it leaves out come after, in the order of their
    first step. Where the user's order does not work, a hazard offers the one that does, and that
    one is used.
    """
    overs = hand_overs(graph)
    rooms = list(dict.fromkeys(draft.room for draft in graph.drafts))
    asked = [tuple(room for room in group if room in rooms) for group in wanted]
    asked = [group for group in asked if group]
    named = {room for group in asked for room in group}
    working = _working_order(rooms, overs, [room for group in asked for room in group])
    hazards: tuple[Hazard, ...] = ()
    groups = working
    if asked:
        rest = [room for room in rooms if room not in named]
        groups = [*asked, *[(room,) for room in rest]]
        broken = _disagreements(groups, overs)
        if broken:
            hazards = (_disagreement(broken, working),)
            groups = working
    where = {room: index for index, group in enumerate(groups) for room in group}
    for draft in graph.drafts:
        draft.phase = where[draft.room]
    return tuple(Phase(rooms=group) for group in groups), hazards


def _working_order(
    rooms: list[str], overs: list[HandOver], preferred: list[str]
) -> list[tuple[str, ...]]:
    """The smallest groups of rooms, in an order that works, as near to ``preferred`` as can be."""
    rank = {room: index for index, room in enumerate([*preferred, *rooms][::-1])}
    ordered = sorted(rooms, key=lambda room: -rank[room])
    index = {room: i for i, room in enumerate(ordered)}
    gives: list[set[int]] = [set() for _ in ordered]
    for over in overs:
        gives[index[over.taker]].add(index[over.giver])
    parts = components([sorted(before) for before in gives])
    part_of = {member: number for number, part in enumerate(parts) for member in part}
    waiting = {
        number: {part_of[b] for m in part for b in gives[m]} - {number}
        for number, part in enumerate(parts)
    }
    done: list[tuple[str, ...]] = []
    while waiting:
        ready = [number for number, before in waiting.items() if not before]
        chosen = min(ready, key=lambda number: min(parts[number]))
        del waiting[chosen]
        for before in waiting.values():
            before.discard(chosen)
        done.append(tuple(ordered[m] for m in sorted(parts[chosen])))
    return done


def _disagreements(groups: Sequence[tuple[str, ...]], overs: list[HandOver]) -> list[HandOver]:
    where = {room: index for index, group in enumerate(groups) for room in group}
    return [over for over in overs if where[over.giver] > where[over.taker]]


def _disagreement(broken: list[HandOver], working: list[tuple[str, ...]]) -> Hazard:
    over = broken[0]
    offered = ", then ".join(" and ".join(group) for group in working)
    first, then = over.first, over.then
    first_name = f"{first.device}/{first.source or first.destination or first.kind}"
    then_name = f"{then.device}/{then.source or then.destination or then.kind}"
    more = f" (and {len(broken) - 1} more like it)" if len(broken) > 1 else ""
    return Hazard(
        name="phase-order",
        rule="phases",
        grade=Grade.STOPS,
        what=f"in the order asked for, {then_name} in {over.taker} would have to wait for "
        f"{first_name} in {over.giver}, which comes later{more}",
        where=(over.taker, over.giver),
        fix=f"this order works: {offered}",
    )
