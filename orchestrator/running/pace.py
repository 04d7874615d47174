"""How long a phase takes if everything in it takes as long as it may.

The estimate of a step is what its requests are expected to take. Here each step takes twice that,
and all the patience that its device is given, and the phase is gone through as a run goes through
it: one step at a time on one device, so many devices at once, lowest place in the schedule first.
What goes in one request counts once.
"""

import heapq
from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import replace

from orchestrator.facility.step import Sequence, Step, StepKind, batches_of
from orchestrator.running.steps.patience import Patience

BY_HAND_S = 300.0
"""Seconds reckoned for what a person does by hand. Our own choice."""

_SLOW = 2.0


def longest(step: Step, patience: Patience) -> float:
    """Seconds that ``step`` takes at the most, short of a failure."""
    if step.kind is StepKind.BY_HAND:
        return BY_HAND_S
    if step.kind is StepKind.READDRESS:
        return _SLOW * step.estimate_s
    waits = patience.settle() if step.kind is StepKind.CONFIRM else patience.late()
    return _SLOW * step.estimate_s + sum(waits)


def phase_lengths(
    sequence: Sequence, patience: Mapping[str, Patience] | None = None
) -> tuple[float, ...]:
    """Seconds that each phase of ``sequence`` takes at the most, in order."""
    given = patience or {}
    count = max([len(sequence.phases), *(step.phase + 1 for step in sequence.steps)])
    by_phase: list[list[Step]] = [[] for _ in range(count)]
    for step in _at_once(sequence.steps):
        by_phase[step.phase].append(step)
    return tuple(
        _length(
            steps,
            {s.id: longest(s, given.get(s.device, Patience())) for s in steps},
            sequence.width,
        )
        for steps in by_phase
    )


def _at_once(steps: Collection[Step]) -> Iterable[Step]:
    """``steps``, with the first of each batch in the place of all of it."""
    batches = batches_of(steps)
    return _gathered(steps, batches) if batches else steps


def _gathered(
    steps: Collection[Step], batches: Mapping[tuple[str, int], list[Step]]
) -> Iterator[Step]:
    lead = {each.id: members[0].id for members in batches.values() for each in members}
    for step in steps:
        members = batches.get((step.device, step.batch), [step])
        if members[0] is step:
            after = {lead.get(n, n) for each in members for n in (*each.after, *each.behind)}
            longest_of = max(each.estimate_s for each in members)
            yield replace(step, after=tuple(after), behind=(), estimate_s=longest_of)


def _length(steps: list[Step], seconds: Mapping[str, float], width: int) -> float:
    names = {step.id for step in steps}
    waits = {step.id: sum(name in names for name in (*step.after, *step.behind)) for step in steps}
    later: dict[str, list[Step]] = {}
    for step in steps:
        for name in (*step.after, *step.behind):
            later.setdefault(name, []).append(step)
    ready = [(step.order, step.id, step) for step in steps if not waits[step.id]]
    heapq.heapify(ready)
    under_way: list[tuple[float, str, Step]] = []
    parked: dict[str, list[tuple[int, str, Step]]] = {}
    busy: set[str] = set()
    now = 0.0
    while ready or under_way:
        while ready and len(under_way) < width:
            place = heapq.heappop(ready)
            if place[2].device in busy:
                heapq.heappush(parked.setdefault(place[2].device, []), place)
                continue
            busy.add(place[2].device)
            heapq.heappush(under_way, (now + seconds[place[1]], place[1], place[2]))
        now, name, ended = heapq.heappop(under_way)
        busy.discard(ended.device)
        if parked.get(ended.device):
            heapq.heappush(ready, heapq.heappop(parked[ended.device]))
        for step in later.get(name, ()):
            waits[step.id] -= 1
            if not waits[step.id]:
                heapq.heappush(ready, (step.order, step.id, step))
    return now
