"""How long steps take, when each starts, and how long sources are silent.

The schedule is made as a run makes it: a device is spoken to by one step at a time, at most
``width`` devices at once, a phase after a phase. Silence runs from the start of a source's
disable to the end of its enable.
"""

import heapq
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from orchestrator.facility.found import Found
from orchestrator.facility.step import StepKind
from orchestrator.planning.ordering.drafts import Draft, Graph
from orchestrator.planning.scene import Scene

REQUESTS: Mapping[StepKind, int] = {
    StepKind.READDRESS: 3,
    StepKind.CONFIRM: 2,
    StepKind.BY_HAND: 0,
}
REQUESTS_OF_A_WRITE = 5
"""Identity and value before, the write, identity and value after."""


def estimate(scene: Scene, draft: Draft) -> float:
    """Seconds that a step takes: its requests at the device's measured pace, and its traits."""
    entry = scene.found.devices[draft.device]
    response = _steady(entry.response_s) if isinstance(entry, Found) else 0.0
    traits = scene.traits[draft.device]
    seconds = response * REQUESTS.get(draft.kind, REQUESTS_OF_A_WRITE)
    if draft.kind is StepKind.CONFIRM:
        seconds += traits.settle_s
    if draft.kind is StepKind.SAVE:
        seconds += traits.save_s
    return seconds


def _steady(response_s: float) -> float:
    """A measured pace rounded up to 1, 2 or 5 times a power of ten, and to 5 ms at least.

    Two surveys never measure quite the same; the same facility should give the same sequence.
    """
    power = 10.0 ** math.floor(math.log10(max(response_s, 0.005)) + 1e-9)
    return next(step * power for step in (1, 2, 5, 10) if step * power >= response_s - 1e-9)


def make_disables_late(graph: Graph) -> None:
    """Let a source go silent as late as its own steps, and those it waits for, allow.

    Its disable may overlap the write that it waits for: it comes after what that write itself
    comes after. Orders that would close a circle are left out: all agree with one total order,
    and none makes a disable wait for a later phase.
    """
    position = _late_order(graph)
    successors = graph.successors()
    for index, draft in enumerate(graph.drafts):
        if draft.kind is not StepKind.DISABLE:
            continue
        for write in successors[index]:
            for awaited in graph.drafts[write].after:
                other = graph.drafts[awaited]
                if other.device == draft.device and other.kind is not StepKind.REPOINT:
                    continue
                for before in graph.drafts[awaited].after:
                    earlier = graph.drafts[before].phase <= draft.phase
                    if earlier and position[before] < position[index]:
                        graph.order(before, index)


def _late_order(graph: Graph) -> list[int]:
    """A total order that agrees with the graph and has each disable as late as it can."""
    open_after = [len(after) for after in graph.successors()]
    ready = [
        (draft.kind is not StepKind.DISABLE, -index)
        for index, draft in enumerate(graph.drafts)
        if not open_after[index]
    ]
    heapq.heapify(ready)
    position = [-1] * len(graph.drafts)
    place = len(graph.drafts)
    while ready:
        _, negative = heapq.heappop(ready)
        index = -negative
        place -= 1
        position[index] = place
        for before in graph.drafts[index].after:
            open_after[before] -= 1
            if not open_after[before]:
                late = graph.drafts[before].kind is not StepKind.DISABLE
                heapq.heappush(ready, (late, -before))
    if place:
        raise ValueError("the steps wait for one another in a circle")
    return position


@dataclass(frozen=True, slots=True)
class Schedule:
    """When each draft starts and ends, in seconds from the start of the run."""

    start: tuple[float, ...]
    end: tuple[float, ...]

    @property
    def seconds(self) -> float:
        """The length of the whole."""
        return max(self.end, default=0.0)


def schedule(graph: Graph, width: int) -> Schedule:
    """Make the schedule that a run would follow."""
    return _Scheduler(graph, width).work()


class _Scheduler:
    """List scheduling: of the steps that are ready, those that end a silence go first."""

    def __init__(self, graph: Graph, width: int) -> None:
        self.graph = graph
        self.width = width
        count = len(graph.drafts)
        self.start = [0.0] * count
        self.end = [0.0] * count
        self.successors = graph.successors()
        self.open = [len(draft.after) for draft in graph.drafts]
        self.left_in_phase: dict[int, int] = {}
        for draft in graph.drafts:
            self.left_in_phase[draft.phase] = self.left_in_phase.get(draft.phase, 0) + 1
        self.ready: list[tuple[int, int, int]] = []
        self.held: dict[str, list[tuple[int, int, int]]] = {}
        self.busy: set[str] = set()
        self.running: list[tuple[float, int]] = []

    def work(self) -> Schedule:
        now = 0.0
        self._open_phase()
        while self.ready or self.running:
            self._start_what_can(now)
            if not self.running:
                break
            now, index = heapq.heappop(self.running)
            self._finish(index)
        if any(self.left_in_phase.values()):
            raise ValueError("the steps wait for one another in a circle")
        return Schedule(tuple(self.start), tuple(self.end))

    def _rank(self, index: int) -> tuple[int, int, int]:
        kind = self.graph.drafts[index].kind
        urgency = {StepKind.ENABLE: 0, StepKind.CONFIRM: 0, StepKind.DISABLE: 2}.get(kind, 1)
        return (self.graph.drafts[index].phase, urgency, index)

    def _open_phase(self) -> None:
        """Make ready what waits for nothing in the earliest phase that is not done."""
        self.phase = min((p for p, left in self.left_in_phase.items() if left), default=-1)
        for index, draft in enumerate(self.graph.drafts):
            if draft.phase == self.phase and not self.open[index]:
                heapq.heappush(self.ready, self._rank(index))

    def _start_what_can(self, now: float) -> None:
        while self.ready and len(self.busy) < self.width:
            entry = heapq.heappop(self.ready)
            index = entry[2]
            draft = self.graph.drafts[index]
            if draft.device in self.busy:
                heapq.heappush(self.held.setdefault(draft.device, []), entry)
                continue
            self.busy.add(draft.device)
            self.start[index] = now
            self.end[index] = now + draft.seconds
            heapq.heappush(self.running, (self.end[index], index))

    def _finish(self, index: int) -> None:
        draft = self.graph.drafts[index]
        self.busy.discard(draft.device)
        for entry in self.held.pop(draft.device, ()):
            heapq.heappush(self.ready, entry)
        self.left_in_phase[draft.phase] -= 1
        for later in self.successors[index]:
            self.open[later] -= 1
            if not self.open[later] and self.graph.drafts[later].phase == self.phase:
                heapq.heappush(self.ready, self._rank(later))
        if not self.left_in_phase[draft.phase]:
            self._open_phase()


def longest_chain(drafts: Sequence[Draft]) -> float:
    """The longest chain of steps that wait for one another, in seconds: no run is shorter."""
    memo: dict[int, float] = {}
    for root in range(len(drafts)):
        stack = [root]
        while stack:
            node = stack[-1]
            if node in memo:
                stack.pop()
                continue
            missing = [before for before in drafts[node].after if before not in memo]
            if missing:
                stack.extend(missing)
                continue
            memo[node] = drafts[node].seconds + max(
                (memo[before] for before in drafts[node].after), default=0.0
            )
            stack.pop()
    return max(memo.values(), default=0.0)
