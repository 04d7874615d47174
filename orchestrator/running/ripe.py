"""The steps that wait and may start as far as the order goes: what they come after is proved."""

from bisect import bisect_left, insort
from collections.abc import Container, Iterable, Iterator, Sequence

from orchestrator.facility.step import Step


class Ripe:
    """The ripe steps of ``steps``, which are in schedule order; those of ``proved`` are done.

    ``held`` are in hand, and wait no more. What it takes to keep it true does not grow with the
    number of steps. Nothing becomes unripe again: where a step that was proved no longer is,
    another one has to be made.
    """

    def __init__(
        self, steps: Sequence[Step], proved: Container[str], held: Container[str] = ()
    ) -> None:
        self._steps = steps
        self._place = {step.id: place for place, step in enumerate(steps)}
        self._later: dict[str, list[int]] = {}
        self._open = [0] * len(steps)
        self._ripe: list[int] = []
        for place, step in enumerate(steps):
            if step.id in proved:
                continue
            for name in dict.fromkeys(step.after):
                if name not in proved:
                    self._later.setdefault(name, []).append(place)
                    self._open[place] += 1
            if not self._open[place] and step.id not in held:
                self._ripe.append(place)

    def __iter__(self) -> Iterator[Step]:
        """In schedule order; nothing may be taken or proved until the caller is through."""
        return (self._steps[place] for place in self._ripe)

    def take(self, names: Iterable[str]) -> None:
        """The steps ``names`` are in hand now."""
        for name in names:
            self._remove(self._place[name])

    def _remove(self, place: int) -> None:
        at = bisect_left(self._ripe, place)
        if at < len(self._ripe) and self._ripe[at] == place:
            del self._ripe[at]

    def prove(self, names: Iterable[str]) -> None:
        """Take the steps ``names`` as proved; once more is as good as once."""
        for name in names:
            self._remove(self._place[name])
            for later in self._later.pop(name, ()):
                self._open[later] -= 1
                if not self._open[later]:
                    insort(self._ripe, later)
