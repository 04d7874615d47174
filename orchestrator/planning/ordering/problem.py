"""The steps of a change as a scheduling problem."""

from collections.abc import Iterable, Sequence

from orchestrator.facility.step import StepKind
from orchestrator.planning.ordering.drafts import Draft
from orchestrator.planning.scheduling.tasks import Silent, Tasks


def tasks_of(drafts: Sequence[Draft], silences: Iterable[Silent], width: int) -> Tasks:
    """The scheduling problem of ``drafts``, whose index is the task's number."""
    later: list[list[int]] = [[] for _ in drafts]
    for index, draft in enumerate(drafts):
        for before in draft.after:
            later[before].append(index)
    numbers: dict[str, int] = {}
    return Tasks(
        length=tuple(round(draft.seconds * 1000) for draft in drafts),
        device=tuple(numbers.setdefault(draft.device, len(numbers)) for draft in drafts),
        phase=tuple(draft.phase for draft in drafts),
        by_hand=tuple(draft.kind is StepKind.BY_HAND for draft in drafts),
        before=tuple(tuple(draft.after) for draft in drafts),
        later=tuple(map(tuple, later)),
        silences=tuple(silences),
        width=max(width, 1),
    )
