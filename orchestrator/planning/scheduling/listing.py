"""A first order of tasks: list scheduling, as a run would go, with disables held back.

A disable of a silence waits until what else its device's write waits for is under way. Of the
tasks that are ready, those that end a silence go first, then those of a source that is silent
already, and disables last.
"""

import heapq
from collections.abc import Sequence

from orchestrator.planning.scheduling.tasks import Tasks


def listed(tasks: Tasks, late: Sequence[int]) -> tuple[list[int], list[int]]:
    """The order of starts, and the starts, given an order ``late`` that agrees with the tasks.

    At most as many tasks run at once as the width allows, by hand or not.
    """
    listing = _List(tasks, late)
    return listing.work(), listing.start


class _List:
    def __init__(self, tasks: Tasks, late: Sequence[int]) -> None:
        self.tasks = tasks
        self.later: list[list[int]] = [list(later) for later in tasks.later]
        self.open = [len(before) for before in tasks.before]
        offs = {off for off, _, _ in tasks.silences}
        self.urgency = [2 if task in offs else 1 for task in range(len(late))]
        for _, on, _ in tasks.silences:
            self.urgency[on] = 0
        place = [0] * len(late)
        for number, task in enumerate(late):
            place[task] = number
        self._hold_back(offs, place)
        self.start = [0] * len(late)
        self.ready: list[tuple[int, int]] = []
        self.aside: dict[int, list[tuple[int, int]]] = {}

    def _hold_back(self, offs: set[int], place: list[int]) -> None:
        """Let disables wait for what comes before the writes that theirs wait for."""
        device, before = self.tasks.device, self.tasks.before
        for off in offs:
            waits = {
                earlier
                for write in self.tasks.later[off]
                for awaited in before[write]
                if device[awaited] != device[off]
                for earlier in before[awaited]
                if place[earlier] < place[off]
            }
            for earlier in waits.difference(before[off]):
                self.later[earlier].append(off)
                self.open[off] += 1

    def work(self) -> list[int]:
        order: list[int] = []
        busy: set[int] = set()
        running: list[tuple[int, int]] = []
        for task, count in enumerate(self.open):
            if not count:
                heapq.heappush(self.ready, (self.urgency[task], task))
        now = 0
        while self.ready or running:
            while self.ready and len(busy) < self.tasks.width:
                entry = heapq.heappop(self.ready)
                device = self.tasks.device[entry[1]]
                if device in busy:
                    self.aside.setdefault(device, []).append(entry)
                    continue
                busy.add(device)
                order.append(entry[1])
                self.start[entry[1]] = now
                heapq.heappush(running, (now + self.tasks.length[entry[1]], entry[1]))
            now = self._end(running, busy)
        return order

    def _end(self, running: list[tuple[int, int]], busy: set[int]) -> int:
        now = running[0][0]
        while running and running[0][0] == now:
            _, task = heapq.heappop(running)
            device = self.tasks.device[task]
            busy.discard(device)
            for entry in self.aside.pop(device, ()):
                heapq.heappush(self.ready, entry)
            for then in self.later[task]:
                self.open[then] -= 1
                if not self.open[then]:
                    heapq.heappush(self.ready, (self.urgency[then], then))
        return now
