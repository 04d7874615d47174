"""Which steps of a run may start, as things stand.

The rules are those of the order (``run``). What it takes to find out does not grow with the run as
long as nothing has failed.
"""

from collections.abc import Iterable, Iterator, Mapping
from collections.abc import Set as AbstractSet

from orchestrator.facility.step import Sequence, Step, StepKind, batches_of
from orchestrator.running.events import Failed
from orchestrator.running.fold import Folding, Standing
from orchestrator.running.ripe import Ripe
from orchestrator.running.steps.taking import writes
from orchestrator.running.steps.together import Together
from orchestrator.running.stuck import Stuck
from orchestrator.running.terms import Terms


class Startable:
    """The steps of ``sequence`` that may start; ``state`` is what the stored events come to.

    ``rooms`` gives the room of every device. ``hands`` are the steps in hand, by device, and
    ``held`` their ids. ``through`` are devices that are through with what they have in hand but for
    the storing of its proof: they are not spoken to. ``lost`` are steps that a device went back
    on, not stored yet.
    """

    def __init__(
        self, sequence: Sequence, state: Folding, width: int, terms: Terms, rooms: Mapping[str, str]
    ) -> None:
        self.steps = {step.id: step for step in sequence.steps}
        self.on: dict[str, list[str]] = {}  # the ids of each device's steps
        for step in sequence.steps:
            self.on.setdefault(step.device, []).append(step.id)
        self.hands: dict[str, Together] = {}
        self.held: set[str] = set()
        self.through: set[str] = set()
        self.lost: dict[str, Failed] = {}
        self._state = state
        self._width = width
        self._terms = terms
        self._rooms = rooms
        self._in_order = sorted(sequence.steps, key=_place)
        self._one_phase = all(step.phase == 0 for step in sequence.steps)
        self._by_hand = any(step.kind is StepKind.BY_HAND for step in sequence.steps)
        self._batches = batches_of(sequence.steps)
        self._ripe: Ripe | None = None  # None: to be worked out anew

    def take(self, steps: Iterable[Step]) -> None:
        """Take note that steps are in hand."""
        names = [step.id for step in steps]
        self.held.update(names)
        if self._ripe is not None:
            self._ripe.take(names)

    def prove(self, names: Iterable[str]) -> None:
        """Take note that steps are proved, and that this is stored."""
        if self._ripe is not None:
            self._ripe.prove(names)

    def proved(self, step: str) -> bool:
        """Whether a step is proved, and that is stored."""
        return self._state.standings.get(step) is Standing.PROVED

    def lacking(self, step: Step) -> list[str]:
        """The steps that ``step`` comes after and that are not proved, or not any more."""
        standings, lost = self._state.standings, self.lost
        return [
            name
            for name in step.after
            if standings.get(name) is not Standing.PROVED or name in lost
        ]

    def phase(self) -> int:
        """The earliest phase with a step that is not proved."""
        if self._one_phase:
            return 0
        phases = (step.phase for step in self.steps.values() if not self.proved(step.id))
        return min(phases, default=0)

    def stuck(self) -> Stuck:
        """What the failures hold back."""
        return Stuck(
            steps=self.steps,
            failures=tuple(self._state.failures.values()),
            lost=tuple(self.lost.values()),
            policy=self._terms.after_failure,
            rooms=self._rooms,
        )

    def now(self) -> list[tuple[Step, ...]]:
        """What may start now: of one device each, one step or a batch."""
        full = not self._by_hand and self._spoken_to() >= self._width
        return [] if full else list(self._now())

    def _now(self) -> Iterator[tuple[Step, ...]]:
        phase, waiting = self.phase(), self._may_wait()
        blocked: set[str] = set()
        hopeless: AbstractSet[str] = frozenset()
        if self._state.failures or self.lost:
            stuck = self.stuck()
            blocked |= stuck.devices()
            hopeless = stuck.hopeless(step for step in waiting if step.id not in self.held)
        # Most often nothing is in doubt: what is intended is in hand.
        settled = self._state.intended.keys() <= self.held
        doubtful = {} if settled else self._doubtful()
        room = self._width - self._spoken_to()

        def may(step: Step) -> bool:
            if step.phase != phase or step.device in blocked:
                return False
            first = doubtful.get(step.device)
            return (first is None or step.id in first) and self._open(step, hopeless)

        for step in waiting:
            if step.device in self.hands:
                continue
            if room <= 0 and not self._by_hand:
                return  # none of the others may start, and they may be thousands
            by_hand = step.kind is StepKind.BY_HAND
            if (room <= 0 and not by_hand) or not may(step):
                continue
            others = self._batches.get((step.device, step.batch), ()) if step.batch else ()
            batch = (step, *(one for one in others if one is not step and may(one)))
            blocked.add(step.device)
            room -= not by_hand
            yield batch

    def _spoken_to(self) -> int:
        """How many devices are spoken to: nobody speaks to one that a person sees to."""
        if not self._by_hand:
            return len(self.hands) - len(self.through)
        return sum(
            together.hands[0].step.kind is not StepKind.BY_HAND and device not in self.through
            for device, together in self.hands.items()
        )

    def after(self, proving: tuple[Step, ...]) -> tuple[Step, ...]:
        """What may start on a device as soon as ``proving``, all it has in hand, is proved.

        Nothing, if a step of another device comes first then, or while something has failed.
        """
        done = {step.id for step in proving}
        left = [name for name in self.on[proving[0].device] if name not in done]
        ripe = self._may_wait() if left else ()
        # What may have landed before a resume is for ``now`` to judge.
        begun = self._state.intended.keys()
        if self._by_hand or self._ripe is None or not begun.isdisjoint(left):
            return ()
        phase = proving[0].phase

        def may(step: Step) -> bool:
            return step.phase == phase and self._open(step, frozenset(), done)

        free = [step for name in left if may(step := self.steps[name])]
        first = min(free, key=_place, default=None)
        if first is None:
            return ()
        for step in ripe:
            if step.order > first.order:
                break
            if step.device not in self.hands and may(step) and _place(step) < _place(first):
                return ()
        if not first.batch:
            return (first,)
        others = self._batches[first.device, first.batch]
        return (first, *[one for one in others if one is not first and may(one)])

    def _may_wait(self) -> Iterable[Step]:
        """In order, every step that may start, and others; all that is left, after a failure."""
        if self._state.failures or self.lost:
            self._ripe = None
            return [step for step in self._in_order if not self.proved(step.id)]
        if self._ripe is None:
            proved = {step.id for step in self._in_order if self.proved(step.id)}
            self._ripe = Ripe(self._in_order, proved, self.held)
        return self._ripe

    def _open(
        self, step: Step, hopeless: AbstractSet[str], done: AbstractSet[str] = frozenset()
    ) -> bool:
        """Whether nothing in the order holds ``step`` back, once ``done`` is proved, too."""
        standing = self._state.standings.get(step.id)
        if step.id in self.held or standing is Standing.PROVED or standing is Standing.FAILED:
            return False
        if any(name not in done for name in self.lacking(step)):
            return False
        # What was begun before a resume is settled first, whatever it stood behind.
        return standing is Standing.INTENDED or all(
            name in done or self.proved(name) or name in hopeless for name in step.behind
        )

    def _doubtful(self) -> dict[str, set[str]]:
        """By device, the steps whose write may have landed before a resume."""
        doubtful: dict[str, set[str]] = {}
        for name in self._state.intended:
            step = self.steps[name]
            begun = name not in self.held and writes(step)
            # Where what it comes after is to be done again, that comes first.
            if begun and all(self.proved(earlier) for earlier in step.after):
                doubtful.setdefault(step.device, set()).add(name)
        return doubtful


def _place(step: Step) -> tuple[int, str]:
    return step.order, step.id
