"""Phases: the rooms changed together, in an order that agrees with their hand-overs.

When a step in one room has to come after a step in another, the first room hands something over
to the second. An order of rooms works exactly when it agrees with all hand-overs; rooms that hand
over to each other both ways have to go together (a strongly connected part of the graph).
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from orchestrator.facility.hazard import Grade, Hazard
from orchestrator.facility.step import Phase
from orchestrator.planning.ordering.cycles import components
from orchestrator.planning.ordering.drafts import Draft, Graph
from orchestrator.planning.ordering.split import NAME, Waits, put_off

A_MINUTE = 60


@dataclass(frozen=True, slots=True)
class HandOver:
    """One step that lets a step in another room come: ``first`` before ``then``."""

    giver: str
    taker: str
    first: Draft
    then: Draft


def hand_overs(graph: Graph) -> list[HandOver]:
    """Every order between steps that belong to different rooms."""
    drafts = graph.drafts
    rooms = [draft.room for draft in drafts]
    return [
        HandOver(rooms[before], room, drafts[before], draft)
        for draft, room in zip(drafts, rooms, strict=True)
        for before in draft.after
        if rooms[before] != room
    ]


def phases(
    graph: Graph, wanted: Sequence[tuple[str, ...]], accepted: Mapping[str, str] | None = None
) -> tuple[tuple[Phase, ...], tuple[Hazard, ...]]:
    """Give every draft its phase.

    ``wanted`` is the user's order; rooms that it leaves out come after, in the order of their
    first step. Where the user's order does not work, a hazard offers the one that does, and that
    one is used; unless the split is among the ``accepted`` hazards: then the user's order stands,
    and what has to wait stays silent until its turn.
    """
    overs = hand_overs(graph)
    rooms = list(dict.fromkeys(draft.room for draft in graph.drafts))
    asked = [tuple(room for room in group if room in rooms) for group in wanted]
    asked = [group for group in asked if group]
    working = _working_order(rooms, overs, [room for group in asked for room in group])
    if not asked:
        return _set(graph, working), ()
    named = {room for group in asked for room in group}
    groups = [*asked, *[(room,) for room in rooms if room not in named]]
    broken = _disagreements(groups, overs)
    if not broken:
        return _set(graph, groups), ()
    waits = put_off(graph, groups)
    if NAME in (accepted or {}):
        return _split_phases(groups, waits), (_split(broken, working, waits),)
    return _set(graph, working), (_split(broken, working, waits),)


def _set(graph: Graph, groups: Sequence[tuple[str, ...]]) -> tuple[Phase, ...]:
    """Give every draft the phase of its room."""
    where = {room: index for index, group in enumerate(groups) for room in group}
    for draft in graph.drafts:
        draft.phase = where[draft.room]
    return tuple(Phase(rooms=group) for group in groups)


def _split_phases(groups: Sequence[tuple[str, ...]], waits: Sequence[Waits]) -> tuple[Phase, ...]:
    """The phases in the user's order; each says what waits silent at the point before it."""
    return tuple(
        Phase(
            rooms=group,
            accepts=tuple(str(wait) for wait in waits if wait.first < index <= wait.last),
        )
        for index, group in enumerate(groups)
    )


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


def _split(
    broken: list[HandOver], working: list[tuple[str, ...]], waits: Sequence[Waits]
) -> Hazard:
    """The user's order does not work as it is: what it would cost, and the one that works."""
    over = broken[0]
    offered = ", then ".join(" and ".join(group) for group in working)
    more = f" (and {len(broken) - 1} more like it)" if len(broken) > 1 else ""
    return Hazard(
        name=NAME,
        rule="phases",
        grade=Grade.NEEDS_NAME,
        what=f"in the order asked for, {_named(over.then)}, which goes with {over.taker}, has to "
        f"wait for {_named(over.first)}, which goes with {over.giver} later on{more}. "
        f"{_cost(waits)}",
        where=(over.taker, over.giver),
        fix=f"this order works: {offered}; or accept the split by name",
    )


def _cost(waits: Sequence[Waits]) -> str:
    if not waits:
        return "Kept so, its steps are put off to the later phase; nothing is silent meanwhile"
    shown = "; ".join(str(wait) for wait in waits[:5])
    more = f"; and {len(waits) - 5} more" if len(waits) > 5 else ""  # noqa: PLR2004 - readable
    transit = len({wait.transit for wait in waits if wait.transit is not None})
    lent = f"{transit} transit number{'s' if transit > 1 else ''} held" if transit else "silence"
    longest = max(wait.seconds for wait in waits)
    lasts = f"{longest / 60:.1f} min" if longest >= A_MINUTE else f"{longest:.0f} s"
    return (
        f"Kept so, it would cost {lent} over a go/no-go point: {shown}{more}. That is {lasts} of "
        "silence at least for the longest, and on top of it all that people take at that point"
    )


def _named(draft: Draft) -> str:
    name = draft.source or draft.destination
    return f"{draft.device}/{name}" if name else f"the {draft.kind} of {draft.device}"
