"""Keeping the user's order of rooms where it does not work: what has to wait, waits silent.

A swap whose rooms go in two phases can be done all the same: each step is put off to the first
phase in which all that it comes after is done. The price is that a source lent to transit stays
silent, and the transit number in use, until the later room has had its turn, go/no-go point and
all. That is refused, unless a person accepts it by name.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from orchestrator.facility.plan import Ref
from orchestrator.facility.step import Assigned, StepKind
from orchestrator.planning.ordering.drafts import Draft, Graph

NAME = "split-phases"
_BREAKS_SILENCE = frozenset({StepKind.RENUMBER, StepKind.READDRESS, StepKind.SET})


@dataclass(frozen=True, slots=True)
class Waits:
    """A source that stays silent across go/no-go points.

    ``seconds``: at least so long by the steps alone; what people take at the points comes on top.
    ``transit`` is the number that it is lent meanwhile, if it is.
    """

    source: Ref
    first: int
    last: int
    seconds: float
    transit: int | None = None

    def __str__(self) -> str:
        lent = f", on transit {self.transit}" if self.transit is not None else ""
        return f"{self.source} silent from phase {self.first + 1} to phase {self.last + 1}{lent}"


def put_off(graph: Graph, groups: Sequence[tuple[str, ...]]) -> tuple[Waits, ...]:
    """Give each draft the first phase that its room and all before it allow; say who waits."""
    own = {room: index for index, group in enumerate(groups) for room in group}
    for index in _in_order(graph):
        draft = graph.drafts[index]
        before = (graph.drafts[i].phase for i in draft.after)
        draft.phase = max([own[draft.room], *before])
    _late_disables(graph)
    return tuple(_waits(graph))


def _in_order(graph: Graph) -> list[int]:
    """The drafts, each after all that it comes after."""
    successors = graph.successors()
    left = [len(draft.after) for draft in graph.drafts]
    ready = [index for index, count in enumerate(left) if not count]
    order: list[int] = []
    while ready:
        index = ready.pop()
        order.append(index)
        for later in successors[index]:
            left[later] -= 1
            if not left[later]:
                ready.append(later)
    return order


def _late_disables(graph: Graph) -> None:
    """Nobody goes silent in a phase before the one in which something is done to it."""
    successors = graph.successors()
    for index, draft in enumerate(graph.drafts):
        if draft.kind is StepKind.DISABLE:
            later = [
                graph.drafts[i].phase
                for i in successors[index]
                if graph.drafts[i].kind is not StepKind.ENABLE
            ]
            draft.phase = min(later, default=draft.phase)


def _waits(graph: Graph) -> list[Waits]:
    by_source: dict[Ref, dict[StepKind, Draft]] = {}
    lent: dict[Ref, int] = {}
    for draft in graph.drafts:
        if draft.source is None:
            continue
        ref = Ref(draft.device, draft.source)
        by_source.setdefault(ref, {}).setdefault(draft.kind, draft)
        if draft.kind is StepKind.RENUMBER and isinstance(draft.wanted, Assigned):
            first = by_source[ref][StepKind.RENUMBER]
            if first is not draft and isinstance(first.wanted, Assigned) and first.wanted.number:
                lent[ref] = first.wanted.number
    found: list[Waits] = []
    for ref, steps in by_source.items():
        off, on = steps.get(StepKind.DISABLE), steps.get(StepKind.ENABLE)
        if off is None or on is None or off.phase == on.phase:
            continue
        seconds = sum(_busiest(graph, phase) for phase in range(off.phase + 1, on.phase)) + sum(
            step.seconds for step in steps.values()
        )
        found.append(Waits(ref, off.phase, on.phase, seconds, lent.get(ref)))
    return found


def _busiest(graph: Graph, phase: int) -> float:
    """The seconds of the busiest device of a phase: the phase takes at least as long."""
    by_device: dict[str, float] = {}
    for draft in graph.drafts:
        if draft.phase == phase:
            by_device[draft.device] = by_device.get(draft.device, 0.0) + draft.seconds
    return max(by_device.values(), default=0.0)
