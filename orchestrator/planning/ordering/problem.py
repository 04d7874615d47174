"""The steps of a change as a scheduling problem."""

from collections.abc import Iterable, Sequence

from orchestrator.facility.step import StepKind
from orchestrator.planning.ordering.batches import Batches
from orchestrator.planning.ordering.drafts import Draft
from orchestrator.planning.scheduling.tasks import Silent, Tasks, numbers


def tasks_of(
    drafts: Sequence[Draft],
    silences: Iterable[Silent],
    width: int,
    batches: Batches | None = None,
) -> Tasks:
    """The scheduling problem of ``drafts``, whose index is the task's number.

    With ``batches`` each batch is one task, which takes as long as the longest of its steps: one
    look, one write, one look back.
    """
    alone = _alone(drafts, silences, width)
    if batches is None or not batches.groups:
        return alone
    task_of = batches.task_of

    def joined(edges: Sequence[Sequence[int]]) -> tuple[tuple[int, ...], ...]:
        return tuple(
            tuple(dict.fromkeys(task_of[other] for member in group for other in edges[member]))
            for group in batches.members
        )

    firsts = [group[0] for group in batches.members]
    return Tasks(
        length=lengths_of(drafts, batches),
        device=tuple(alone.device[first] for first in firsts),
        phase=tuple(alone.phase[first] for first in firsts),
        by_hand=tuple(alone.by_hand[first] for first in firsts),
        before=joined(alone.before),
        later=joined(alone.later),
        silences=tuple((task_of[off], task_of[on], cost) for off, on, cost in alone.silences),
        width=alone.width,
    )


def _alone(drafts: Sequence[Draft], silences: Iterable[Silent], width: int) -> Tasks:
    later: list[list[int]] = [[] for _ in drafts]
    for index, draft in zip(numbers(len(drafts)), drafts, strict=True):
        for before in draft.after:
            later[before].append(index)
    devices: dict[str, int] = {}
    by_hand = StepKind.BY_HAND
    return Tasks(
        length=lengths_of(drafts),
        device=tuple([devices.setdefault(draft.device, len(devices)) for draft in drafts]),
        phase=tuple([draft.phase for draft in drafts]),
        by_hand=tuple([draft.kind is by_hand for draft in drafts]),
        before=tuple([tuple(draft.after) for draft in drafts]),
        later=tuple(map(tuple, later)),
        silences=tuple(silences),
        width=max(width, 1),
    )


def lengths_of(drafts: Sequence[Draft], batches: Batches | None = None) -> tuple[int, ...]:
    """How long each task takes, in milliseconds: a batch as long as the longest of its steps.

    One at least: what starts when another one does can then not come after that.
    """
    seconds = [draft.seconds for draft in drafts]
    rounded = {each: round(each * 1000) or 1 for each in set(seconds)}
    alone = [rounded[each] for each in seconds]
    if batches is None or not batches.groups:
        return tuple(alone)
    return tuple([max(alone[each] for each in group) for group in batches.members])
