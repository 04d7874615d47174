"""Which steps of a device go to it in one request.

A batch is steps of one device, each about another source or destination, that its traits let go
together and of which none waits for another, or for what waits for another. Each step has a time
at which it is due if no device ever kept another step waiting: within a silence as soon as what
it comes after allows, else (a disable, too) as late as what comes after it allows. Steps that are
due at one time can be one task without a circle, since what comes after a step is always due
later. And nobody is silent longer for it than the order of safety asks.
"""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from orchestrator.facility.step import StepKind
from orchestrator.planning.ordering.drafts import Draft, Graph
from orchestrator.planning.scene import Scene
from orchestrator.planning.scheduling.making import Made

_MAY = frozenset(
    {StepKind.DISABLE, StepKind.SET, StepKind.RENUMBER, StepKind.REPOINT, StepKind.ENABLE}
)


@dataclass(frozen=True)
class Batches:
    """How drafts are put together: ``groups`` of two and more, all others alone.

    ``members``: for each task its drafts; ``task_of``: for each draft its task. Where nothing is
    put together, both stay empty, and a draft's index is its task's.
    """

    count: int
    groups: Sequence[tuple[int, ...]] = ()
    members: list[tuple[int, ...]] = field(default_factory=list, init=False)
    task_of: list[int] = field(default_factory=list, init=False)

    def __post_init__(self) -> None:
        """Number the tasks: in the order of their first drafts."""
        if not self.groups:
            return
        first = {group[0]: group for group in self.groups}
        grouped = {index for group in self.groups for index in group}
        self.task_of.extend([0] * self.count)
        for index in range(self.count):
            if index in first or index not in grouped:
                group = first.get(index, (index,))
                for member in group:
                    self.task_of[member] = len(self.members)
                self.members.append(group)

    def task(self, draft: int) -> int:
        """The task of a draft."""
        return self.task_of[draft] if self.groups else draft

    def spread(self, made: Made, drafts: Sequence[Draft]) -> Made:
        """A schedule of tasks as one of drafts.

        Only disables are tied: what else goes with them in one request does not wait for that.
        """
        if not self.groups:
            return made
        waits = {
            off: self._drafts(firsts)
            for task, firsts in made.waits.items()
            for off in self.members[task]
            if drafts[off].kind is StepKind.DISABLE
        }
        behind = {
            member: self._drafts(firsts)
            for task, firsts in made.behind.items()
            for member in self.members[task]
        }
        return replace(
            made,
            start=[made.start[task] for task in self.task_of],
            end=[made.end[task] for task in self.task_of],
            waits=waits,
            behind=behind,
            order=list(self._drafts(made.order)),
        )

    def gathered(self, graph: Graph, made: Made) -> Made:
        """``made`` (of drafts), with each step of a batch behind what the others of it wait for.

        So they all may start at one time. What can't come to be any more holds none of them up.
        """
        behind = dict(made.behind)
        for group in self.groups:
            awaited: dict[int, int] = {}
            for member in group:
                for first in graph.drafts[member].after:
                    awaited.setdefault(self.task_of[first], first)
            for member in group:
                own = {self.task_of[first] for first in graph.drafts[member].after}
                more = tuple(first for task, first in awaited.items() if task not in own)
                if more:
                    behind[member] = tuple(dict.fromkeys((*behind.get(member, ()), *more)))
        return replace(made, behind=behind)

    def _drafts(self, tasks: Sequence[int]) -> tuple[int, ...]:
        return tuple([member for task in tasks for member in self.members[task]])


def form(scene: Scene, graph: Graph) -> Batches:
    """Put together what can go in one request; phases and estimates are known.

    Drafts that wait for one another in a circle are left alone: the schedule says so.
    """
    taking = {name for name, traits in scene.traits.items() if traits.batches}
    if not taking or not any(draft.device in taking for draft in graph.drafts):
        return Batches(len(graph.drafts))
    due = _due(graph)
    alike: dict[tuple[object, ...], list[int]] = defaultdict(list)
    most: dict[tuple[object, ...], int] = {}
    for index, draft in enumerate(graph.drafts):
        batch = scene.traits[draft.device].batch(draft.kind) if draft.device in taking else None
        # Settings of a device have effects of their own; labels of its sources have none.
        plain = draft.kind is not StepKind.SET or draft.source is not None
        if batch is None or draft.kind not in _MAY or not plain or index not in due:
            continue
        key = (draft.device, draft.at, draft.phase, batch, due[index])
        alike[key].append(index)
        most[key] = max(batch.most, 1)
    groups = [group for key, own in alike.items() for group in _dealt(graph, own, most[key])]
    return Batches(len(graph.drafts), [group for group in groups if len(group) > 1])


def _dealt(graph: Graph, own: Sequence[int], most: int) -> list[tuple[int, ...]]:
    """Deal out drafts that may go together: like with like, and of one source one at a time."""
    groups: list[list[int]] = []
    held: list[set[object]] = []
    for index in sorted(own, key=lambda each: graph.drafts[each].kind):
        subject = graph.drafts[index].source or graph.drafts[index].destination
        for group, subjects in zip(groups, held, strict=True):
            if len(group) < most and subject not in subjects:
                group.append(index)
                subjects.add(subject)
                break
        else:
            groups.append([index])
            held.append({subject})
    return [tuple(sorted(group)) for group in groups]


def _due(graph: Graph) -> dict[int, int]:
    """When each draft is due, in milliseconds, were no device ever busy with another; see above."""
    later = graph.successors()
    waits = [len(draft.after) for draft in graph.drafts]
    # No step takes no time: what comes after another is due later, whatever is known of it.
    length = [max(1, round(draft.seconds * 1000)) for draft in graph.drafts]
    order = [index for index, count in enumerate(waits) if not count]
    due: dict[int, int] = dict.fromkeys(order, 0)
    for index in order:
        end = due[index] + length[index]
        for then in later[index]:
            due[then] = max(due.get(then, 0), end)
            waits[then] -= 1
            if not waits[then]:
                order.append(then)
    if len(order) < len(waits):
        return {}
    for index in reversed(order):
        if later[index] and not _within_a_silence(graph, index):
            due[index] = min(due[then] for then in later[index]) - length[index]
    return due


def _within_a_silence(graph: Graph, index: int) -> bool:
    return any(graph.drafts[first].kind is StepKind.DISABLE for first in graph.drafts[index].after)
