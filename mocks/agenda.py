"""What is to happen in the simulated world later, in the order in which it falls due."""

import heapq
from collections.abc import Callable
from itertools import count

Act = Callable[[float], object]


class Agenda:
    """Acts with the time at which each is due. It holds no clock and waits for nothing."""

    def __init__(self) -> None:
        self._heap: list[tuple[float, int, Act]] = []
        self._order = count()
        self._running = False

    def add(self, due: float, act: Act) -> None:
        """Put an act down; it will be called with the time at which it was due."""
        heapq.heappush(self._heap, (due, next(self._order), act))

    def next_due(self) -> float | None:
        """When the next act is due; ``None``: nothing is."""
        return self._heap[0][0] if self._heap else None

    def run(self, now: float) -> None:
        """Do all that is due, the earliest first; what an act adds is done too, if it is due.

        Called from within an act it does nothing: the outer call goes on in order.
        """
        if self._running:
            return
        self._running = True
        try:
            while self._heap and self._heap[0][0] <= now:
                due, _, act = heapq.heappop(self._heap)
                act(due)
        finally:
            self._running = False
