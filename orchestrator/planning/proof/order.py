"""The order of a sequence, as the proof sees it: phases first, then ``after``."""

from collections.abc import Iterable, Mapping
from functools import cached_property

from orchestrator.facility.step import Sequence, Step


class BadOrder(ValueError):
    """The sequence is no order at all: a step that is not there, or steps in a circle."""

    def __init__(self, step: str, what: str) -> None:
        self.step = step
        super().__init__(what)


class Order:
    """Answers whether one step surely ends before another starts."""

    def __init__(self, sequence: Sequence) -> None:
        self.sequence = sequence
        self.line = sequence.steps
        self.place = _places(sequence.steps)
        if len(self.place) < len(self.line):
            if len(self.steps) < len(self.line):
                raise BadOrder("", "two steps have one id")
            if any(step.behind for step in sequence.steps):
                self._soft_orders_agree(sequence)
            self.line = self._sorted(sequence)
            self.place = {step.id: place for place, step in enumerate(self.line)}
        self._known: dict[tuple[str, str], bool] = {}

    @cached_property
    def steps(self) -> Mapping[str, Step]:
        """The steps by id."""
        return {step.id: step for step in self.sequence.steps}

    def _sorted(self, sequence: Sequence) -> tuple[Step, ...]:
        waiting: dict[str, int] = {}
        later: dict[str, list[str]] = {}
        for step in sequence.steps:
            waiting[step.id] = len(set(step.after))
            for before in set(step.after):
                if before not in self.steps:
                    raise BadOrder(step.id, f"it comes after {before}, which is not there")
                if self.steps[before].phase > step.phase:
                    raise BadOrder(step.id, f"it comes after {before}, of a later phase")
                later.setdefault(before, []).append(step.id)
        ready = [step.id for step in sequence.steps if not waiting[step.id]]
        done: list[Step] = []
        while ready:
            name = ready.pop()
            done.append(self.steps[name])
            for follower in later.get(name, ()):
                waiting[follower] -= 1
                if not waiting[follower]:
                    ready.append(follower)
        if len(done) != len(sequence.steps):
            stuck = next(name for name, count in waiting.items() if count)
            raise BadOrder(stuck, "it waits for itself, through others")
        return tuple(sorted(done, key=lambda step: step.phase))

    def _soft_orders_agree(self, sequence: Sequence) -> None:
        """``behind`` promises nothing, but with ``after`` it must let every step start some day."""
        later: dict[str, list[str]] = {}
        waiting: dict[str, int] = {}
        for step in sequence.steps:
            if any(self._phase(name) > step.phase for name in step.behind):
                raise BadOrder(step.id, "it stands behind a step of a later phase")
            firsts = {*step.after, *step.behind} & self.steps.keys()
            waiting[step.id] = len(firsts)
            for first in firsts:
                later.setdefault(first, []).append(step.id)
        ready = [name for name, count in waiting.items() if not count]
        while ready:
            for follower in later.get(ready.pop(), ()):
                waiting[follower] -= 1
                if not waiting[follower]:
                    ready.append(follower)
        if any(waiting.values()):
            stuck = next(name for name, count in waiting.items() if count)
            raise BadOrder(stuck, "it waits for itself, or stands behind itself, through others")

    def _phase(self, name: str) -> int:
        return self.steps[name].phase if name in self.steps else -1

    def before(self, first: Step, then: Step) -> bool:
        """Whether ``first`` is proved before ``then`` starts, whatever runs side by side."""
        if first.phase != then.phase:
            return first.phase < then.phase
        if first.id in then.after:
            return True
        if self.place[first.id] >= self.place[then.id]:
            return False
        key = (first.id, then.id)
        if key not in self._known:
            self._known[key] = self._reaches(first, then)
        return self._known[key]

    def _reaches(self, first: Step, then: Step) -> bool:
        """Look back from ``then``, the nearest first: most ways are two or three steps long."""
        floor = self.place[first.id]
        seen = {then.id}
        line = [then.id]
        for name in line:
            for before in self.line[self.place[name]].after:
                if before == first.id:
                    return True
                if before not in seen and self.place[before] > floor:
                    seen.add(before)
                    line.append(before)
        return False

    def in_order(self, steps: list[Step]) -> list[Step]:
        """``steps`` in an order that agrees with the sequence."""
        return sorted(steps, key=lambda step: self.place[step.id])


def _places(steps: Iterable[Step]) -> dict[str, int]:
    """The place of each step, up to the first that does not stand after all that it names."""
    places: dict[str, int] = {}
    known, phase = places.__contains__, 0
    for place, step in enumerate(steps):
        name = step.id
        if step.phase < phase or name in places:
            break
        if step.after and not all(map(known, step.after)):
            break
        if step.behind and not all(map(known, step.behind)):
            break
        phase = step.phase
        places[name] = place
    return places
