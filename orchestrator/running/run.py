"""A run as a state machine: told what came of each operation, it says what to do next.

The rules of the order, one test each:

- A step starts when all steps that it comes after are proved, and each that it stands behind is
  proved, has failed or can't start any more.
- A phase starts when all earlier phases are proved and its go/no-go point is open (``gate``).
- A device has one step in hand at a time, or a batch of them that go in one request; and at most
  so many devices are spoken to at once.
- Among steps that may start, the lowest place in the schedule comes first; but what may have
  landed before a resume is settled before anything else is done to that device.
- Where a step fails, nothing that depends on it starts, and nothing more on its device if that
  is lost, is another, or may still be changing; nor in its room, or anywhere, where the terms of
  the run say so. All else that may start is finished; then the run is paused.
- Where a step finds that its device went back on what the run had set and the step rests on,
  nothing that depends on that starts, and at a resume it is done again.
- Every event is stored before anything that follows from it is done.
"""

from collections.abc import Iterable, Iterator, Mapping
from collections.abc import Set as AbstractSet

from orchestrator.facility.found import Identity
from orchestrator.facility.step import Sequence, Step, StepKind, batches_of
from orchestrator.running.events import (
    Agreed,
    Answered,
    Asked,
    Event,
    Failed,
    Failure,
    Finished,
    Paused,
    Proved,
    Resumed,
)
from orchestrator.running.fold import Folding, Standing, State, fold
from orchestrator.running.gate import Facts, Gate, Point, Words, question
from orchestrator.running.operations import Operation, Outcome, Store, Stored
from orchestrator.running.pace import phase_lengths
from orchestrator.running.ripe import Ripe
from orchestrator.running.steps.hand import Hand
from orchestrator.running.steps.life import OutOfTurn
from orchestrator.running.steps.patience import Patience
from orchestrator.running.steps.taking import gone_back, taken, writes
from orchestrator.running.steps.together import Together
from orchestrator.running.stuck import Stuck
from orchestrator.running.terms import Terms
from orchestrator.running.whole import check, devices_of
from orchestrator.running.window import limits


class Run:
    """One run of a sequence: no I/O, no clock, no chance.

    ``expects`` says who each device must prove to be. ``events`` is what the ledger holds: with
    any, the run is resumed, and stores that first (unless a resume is the last thing stored).
    ``width`` replaces the sequence's own. ``patience`` is by device. ``terms`` say what to do
    after a failure, and between which times; ``rooms`` gives each device's room for that.
    ``audits``: everything is read and audited before each phase but the first. ``questions``
    words the questions of the go/no-go points.

    Raises:
        ValueError: the sequence is not whole (a step that is named but not there, or twice), a
            device has no identity to expect, or the events are not this sequence's.
    """

    def __init__(
        self,
        sequence: Sequence,
        expects: Mapping[str, Identity],
        events: Iterable[Event] = (),
        *,
        width: int | None = None,
        patience: Mapping[str, Patience] | None = None,
        terms: Terms | None = None,
        rooms: Mapping[str, str] | None = None,
        audits: bool = False,
        questions: Words | None = None,
    ) -> None:
        stored = tuple(events)
        check(sequence, expects, stored)
        self.sequence = sequence
        self._steps = {step.id: step for step in sequence.steps}
        self._one_phase = all(step.phase == 0 for step in sequence.steps)
        self._by_hand = any(step.kind is StepKind.BY_HAND for step in sequence.steps)
        self._on: dict[str, list[str]] = {}  # the ids of each device's steps
        for step in sequence.steps:
            self._on.setdefault(step.device, []).append(step.id)
        self._expects = expects
        self._width = sequence.width if width is None else width
        self._patience = patience or {}
        self._terms = terms or Terms()
        self._rooms = {name: (rooms or {}).get(name, name) for name in devices_of(sequence)}
        self._audits = audits
        self._questions = questions or self._plain_question
        window = self._terms.window
        self._lengths = phase_lengths(sequence, self._patience) if window is not None else ()
        self._gate: Gate | None = None
        self._opened: set[int] = set()
        self._state = Folding(fold(stored))
        self._in_order = sorted(sequence.steps, key=lambda step: (step.order, step.id))
        self._ripe: Ripe | None = None  # None: to be worked out anew
        self._batches = batches_of(sequence.steps)
        self._hands: dict[str, Together] = {}  # by device
        self._held: set[str] = set()  # the ids of the steps in hand
        self._turned: set[str] = set()  # devices whose next operation was not handed out yet
        self._own: Operation | None = None  # what the run itself, not a step, wants done
        self._out: dict[Operation, str | None] = {}  # handed out, by device; None: the run's own
        self._lost: dict[str, Failed] = {}  # what devices went back on; stored with the pause
        self._pausing: str | None = None
        self._stale = True  # whether a step may start that could not when last asked
        begun = any(not isinstance(event, Asked | Answered | Agreed) for event in stored)
        if begun and not self.finished and stored[-1] != Resumed():
            self._own = Store((Resumed(),))

    @property
    def state(self) -> State:
        """What the stored events come to."""
        return self._state.state

    @property
    def finished(self) -> bool:
        """Whether every step is proved, and that is stored."""
        return isinstance(self._state.ended, Finished)

    @property
    def paused(self) -> str | None:
        """Why the run stopped for now; None while it goes on or once it is finished."""
        ended = self._state.ended
        return ended.why if isinstance(ended, Paused) and self._own is None else None

    @property
    def in_hand(self) -> tuple[Step, ...]:
        """The steps in hand, in schedule order."""
        steps = (step for together in self._hands.values() for step in together.steps)
        return tuple(sorted(steps, key=lambda step: step.order))

    def pause(self, why: str) -> None:
        """Start no new step; what is in hand finishes, then the run is paused, because of ``why``.

        The first reason counts. A run that is over stays as it is.
        """
        self._pausing = self._pausing or why

    def ready(self) -> tuple[Operation, ...]:
        """What is to be done now and was not handed out yet; empty: over, or waiting."""
        self._proceed()
        wanted: list[tuple[Operation, str | None]] = []
        if own := self._own_operation():
            wanted.append((own, None))
        turned, self._turned = self._turned, set()
        devices = turned if len(turned) == 1 else [on for on in self._hands if on in turned]
        wanted += [(self._hands[on].operation(), on) for on in devices if on in self._hands]
        fresh = [(operation, on) for operation, on in wanted if operation not in self._out]
        self._out.update(fresh)
        return tuple(operation for operation, _ in fresh)

    def settle(self, operation: Operation, outcome: Outcome) -> None:
        """Tell what came of an operation that was handed out.

        Raises:
            OutOfTurn: nobody asked for that; nothing was changed.
        """
        if operation not in self._out:
            raise OutOfTurn(f"{type(operation).__name__} was not handed out, or is settled")
        device = self._out[operation]
        if device is None:
            self._settle_own(operation, outcome)
        else:
            self._settle_steps(device, operation, outcome)
        del self._out[operation]

    def _settle_steps(self, device: str, operation: Operation, outcome: Outcome) -> None:
        hands = self._hands[device].told(outcome)
        self._take(operation)
        for hand in hands.over:
            self._held.discard(hand.step.id)
            for one in hand.lost or gone_back(hand, self._steps):
                self._lost[one.id] = Failed(one.id, Failure.NOT_DONE, hand.said, unsure=True)
            self._stale = True
        if (left := hands.left) is not None:
            self._hands[device] = left
            self._turned.add(device)
        else:
            del self._hands[device]

    def _own_operation(self) -> Operation | None:
        if self._own is None and self._gate is not None:
            return self._gate.operation()
        return self._own

    def _settle_own(self, operation: Operation, outcome: Outcome) -> None:
        if self._gate is not None and operation != self._own:
            self._gate = self._gate.told(outcome)
            if self._gate.point is Point.OPEN:
                self._opened.add(self._gate.phase)
                self._gate = None
        elif isinstance(operation, Store) and outcome == Stored():
            self._own = None
        else:
            raise OutOfTurn(f"{type(operation).__name__} was answered {outcome}")
        self._stale = True
        self._take(operation)

    def _take(self, operation: Operation) -> None:
        if isinstance(operation, Store):
            self._state.take(operation.events)
            if self._ripe is not None:
                self._ripe.prove(e.step for e in operation.events if isinstance(e, Proved))

    def _proceed(self) -> None:
        if self._own is not None or self._state.ended is not None or not self._stale:
            return
        self._stale = False
        if self._pausing is not None and not self._answered_now():
            self._gate = None
        if self._gate is not None and not self._gate.over:
            return
        if self._pausing is None:
            for steps in self._startable():
                device = steps[0].device
                self._hands[device] = Together(tuple(self._taken(step, steps) for step in steps))
                self._held.update(step.id for step in steps)
                self._turned.add(device)
        if not self._hands:
            self._last_word()

    def _taken(self, step: Step, batch: tuple[Step, ...]) -> Hand:
        device = step.device
        return taken(
            step,
            self._on[device],
            self._steps,
            self._state,
            expects=self._expects.get(device),
            patience=self._patience.get(device, Patience()),
            batch=batch,
        )

    def _answered_now(self) -> bool:
        """Whether the answer at a go/no-go point still has to be stored."""
        return self._gate is not None and self._gate.point in (Point.ACCEPTING, Point.ANSWERING)

    def _last_word(self) -> None:
        """What the run does when no step is in hand and none can start: ask, or end."""
        if all(self._proved(step) for step in self._steps):
            self._own = Store((Finished(),))
            return
        phase = self._phase()
        if self._gate is None and self._pausing is None and self._shut(phase):
            self._gate = self._gate_before(phase)
            return
        paused = Paused("; ".join(self._reasons()))
        self._gate = None
        self._own = Store((*self._lost.values(), paused))

    def _shut(self, phase: int) -> bool:
        """Whether a go/no-go point stands before ``phase``, and is not open yet."""
        if phase in self._opened:
            return False
        if phase > 0 and not self._state.answers.get(question(phase)):
            return True
        return self._terms.window is not None and not self._begun(phase)

    def _begun(self, phase: int) -> bool:
        return any(self._steps[name].phase == phase for name in self._state.standings)

    def _gate_before(self, phase: int) -> Gate:
        window = self._terms.window
        return Gate(
            phase=phase,
            words=self._questions,
            looks=self._audits,
            soak_s=self._terms.soak_s,
            limits=limits(window, self._lengths, phase)
            if window is not None and not self._begun(phase)
            else None,
            answered=bool(self._state.answers.get(question(phase))),
        ).begun()

    def _reasons(self) -> Iterator[str]:
        if self._pausing is not None:
            yield self._pausing
        for failed in self._state.failures.values():
            yield f"{failed.step}: {failed.said or failed.why.replace('_', ' ')}"
        if self._state.failures:
            yield from self._stuck().words()
        if self._gate is not None:
            yield self._gate.why
        elif self._pausing is None and not self._state.failures:
            yield "the steps that are left wait for each other"

    def _plain_question(self, facts: Facts) -> tuple[str, ...]:
        phase = facts.phase
        rooms = self.sequence.phases[phase].rooms if phase < len(self.sequence.phases) else ()
        asks = f"Go on with phase {phase + 1}{': ' if rooms else ''}{', '.join(rooms)}?"
        return (*facts.findings, asks)

    def _proved(self, step: str) -> bool:
        return self._state.standing(step) is Standing.PROVED

    def _phase(self) -> int:
        """The earliest phase with a step that is not proved."""
        if self._one_phase:
            return 0
        phases = (step.phase for step in self._steps.values() if not self._proved(step.id))
        return min(phases, default=0)

    def _startable(self) -> Iterator[tuple[Step, ...]]:
        """What may start now: of one device each, one step or a batch."""
        phase = self._phase()
        if self._shut(phase):
            return
        stuck = self._stuck()
        blocked = {*stuck.devices(), *self._hands}
        spoken_to = {
            device
            for device, hands in self._hands.items()
            if hands.steps[0].kind is not StepKind.BY_HAND
        }
        doubtful = self._doubtful()
        waiting = self._may_wait()
        hopeless = stuck.hopeless(step for step in waiting if step.id not in self._held)

        def may(step: Step) -> bool:
            if step.phase != phase or step.device in blocked or not self._open(step, hopeless):
                return False
            return not doubtful.get(step.device, {step.id}).isdisjoint({step.id})

        for step in waiting:
            if not self._by_hand and len(spoken_to) >= self._width:
                return  # none of the others may start, and they may be thousands
            if not may(step):
                continue
            by_hand = step.kind is StepKind.BY_HAND
            if not by_hand and len(spoken_to) >= self._width:
                continue
            others = self._batches.get((step.device, step.batch), ()) if step.batch else ()
            batch = (step, *(one for one in others if one is not step and may(one)))
            blocked.add(step.device)
            if not by_hand:
                spoken_to.add(step.device)
            yield batch

    def _may_wait(self) -> Iterable[Step]:
        """In order, every step that may start, and others; all that is left, after a failure."""
        if self._state.failures or self._lost:
            self._ripe = None
            return [step for step in self._in_order if not self._proved(step.id)]
        if self._ripe is None:
            proved = {step.id for step in self._in_order if self._proved(step.id)}
            self._ripe = Ripe(self._in_order, proved)
        return self._ripe

    def _open(self, step: Step, hopeless: AbstractSet[str]) -> bool:
        standing = self._state.standing(step.id)
        if step.id in self._held or standing in (Standing.FAILED, Standing.PROVED):
            return False
        if not all(self._proved(name) and name not in self._lost for name in step.after):
            return False
        # What was begun before a resume is settled first, whatever it stood behind.
        return standing is Standing.INTENDED or all(
            self._proved(name) or name in hopeless for name in step.behind
        )

    def _stuck(self) -> Stuck:
        return Stuck(
            steps=self._steps,
            failures=tuple(self._state.failures.values()),
            lost=tuple(self._lost.values()),
            policy=self._terms.after_failure,
            rooms=self._rooms,
        )

    def _doubtful(self) -> dict[str, set[str]]:
        """By device, the steps whose write may have landed before a resume."""
        doubtful: dict[str, set[str]] = {}
        for name in self._state.intended:
            step = self._steps[name]
            begun = name not in self._held and writes(step)
            # Where what it comes after is to be done again, that comes first.
            if begun and all(self._proved(earlier) for earlier in step.after):
                doubtful.setdefault(step.device, set()).add(name)
        return doubtful
