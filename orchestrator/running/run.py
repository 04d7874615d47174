"""A run as a state machine: told what came of each operation, it says what to do next.

The rules of the order, one test each:

- A step starts when all steps that it comes after are proved, and each that it stands behind is
  proved, has failed or can't start any more.
- A phase starts when all earlier phases are proved and its go/no-go point is open (``gate``).
- A device has one step in hand at a time, or a batch of them that go in one request; and at most
  so many devices are spoken to at once; one of which only the proof is still to be stored is not.
  Where a step is about to be proved, its proof and the
  intent of what comes next on the device are stored as one: all of it is on disk, or nothing.
- Among steps that may start, the lowest place in the schedule comes first; but what may have
  landed before a resume is settled before anything else is done to that device.
- Where a step fails, nothing that depends on it starts, and nothing more on its device if that
  is lost, is another, or may still be changing; nor in its room, or anywhere, where the terms of
  the run say so. All else that may start is finished; then the run is paused.
- Where a step finds that its device went back on what the run had set and the step rests on,
  nothing that depends on that starts, and at a resume it is done again.
- Every event is stored before anything that follows from it is done. The look before a write
  follows from nothing: it goes along with the storing of the intent, and the write waits for both.
"""

from collections.abc import Collection, Iterable, Iterator, Mapping

from orchestrator.facility.found import DeviceState, Identity
from orchestrator.facility.step import Sequence, Step
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
from orchestrator.running.fold import Folding, State, fold
from orchestrator.running.gate import Facts, Gate, Point, Words, question
from orchestrator.running.operations import Operation, Outcome, Store, Stored
from orchestrator.running.pace import phase_lengths
from orchestrator.running.startable import Startable
from orchestrator.running.steps.ahead import Ahead, ahead_of
from orchestrator.running.steps.hand import Hand
from orchestrator.running.steps.kept import keeps
from orchestrator.running.steps.life import OutOfTurn
from orchestrator.running.steps.patience import Patience
from orchestrator.running.steps.taking import gone_back, taken
from orchestrator.running.steps.together import Together
from orchestrator.running.terms import Terms
from orchestrator.running.whole import check, devices_of
from orchestrator.running.window import limits


class Run:
    """One run of a sequence: no I/O, no clock, no chance.

    ``expects`` says who each device must prove to be. ``events`` is what the ledger holds: with
    any, the run is resumed, and stores that first (unless a resume is the last thing stored).
    ``width`` replaces the sequence's own. ``patience`` is by device. ``found`` are the states of
    the devices as the sequence was planned: what a first save is to keep. ``terms`` say what to
    do after a failure, and between which times; ``rooms`` gives each device's room for that.
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
        found: Mapping[str, DeviceState] | None = None,
        terms: Terms | None = None,
        rooms: Mapping[str, str] | None = None,
        audits: bool = False,
        questions: Words | None = None,
    ) -> None:
        stored = tuple(events)
        check(sequence, expects, stored)
        self.sequence = sequence
        self._expects = expects
        self._patience = patience or {}
        self._found = found or {}
        self._terms = terms or Terms()
        self._audits = audits
        self._questions = questions or self._plain_question
        window = self._terms.window
        self._lengths = phase_lengths(sequence, self._patience) if window is not None else ()
        self._gate: Gate | None = None
        self._opened: set[int] = set()
        self._state = Folding(fold(stored))
        self._startable = Startable(
            sequence,
            self._state,
            sequence.width if width is None else width,
            self._terms,
            {name: (rooms or {}).get(name, name) for name in devices_of(sequence)},
        )
        self._steps, self._hands = self._startable.steps, self._startable.hands
        self._held, self._lost = self._startable.held, self._startable.lost
        self._ahead: dict[
            str, Ahead
        ] = {}  # by device, what goes along with the storing of its intents
        self._turned: set[str] = set()  # devices whose next operation was not handed out yet
        self._own: Operation | None = None  # what the run itself, not a step, wants done
        # What was handed out, by the very value; with its device, or None: the run's own.
        self._out: dict[int, tuple[Operation, str | None]] = {}
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

    def pause(self, why: str) -> None:
        """Start no new step; what is in hand finishes, then the run is paused, because of ``why``.

        The first reason counts. A run that is over stays as it is.
        """
        self._pausing = self._pausing or why

    def ready(self) -> tuple[Operation, ...]:
        """What is to be done now and was not handed out yet; empty: over, or waiting."""
        self._proceed()
        turned, self._turned = self._turned, set()
        devices = turned if len(turned) == 1 else [on for on in self._hands if on in turned]
        fresh: list[Operation] = []
        for device in devices:
            if (together := self._hands.get(device)) is not None:
                for operation in self._next_of(device, together):
                    self._out[id(operation)] = (operation, device)
                    fresh.append(operation)
        own = self._own_operation()
        if own is not None and own not in [one for one, on in self._out.values() if on is None]:
            self._out[id(own)] = (own, None)
            fresh.insert(0, own)
        return tuple(fresh)

    def _next_of(self, device: str, together: Together) -> tuple[Operation, ...]:
        operation = together.operation()
        ahead = ahead_of(together, operation)
        if ahead is None:
            return (operation,)
        self._ahead[device] = ahead
        return (operation, ahead.look)

    def settle(self, operation: Operation, outcome: Outcome) -> None:
        """Tell what came of an operation, the very one that was handed out.

        Raises:
            OutOfTurn: nobody asked for that; nothing was changed.
        """
        handed, device = self._out.get(id(operation), (None, None))
        if handed is not operation:
            raise OutOfTurn(f"{type(operation).__name__} was not handed out, or is settled")
        if device is None:
            self._settle_own(operation, outcome)
        else:
            self._settle_steps(device, operation, outcome)
        del self._out[id(operation)]

    def _settle_steps(self, device: str, operation: Operation, outcome: Outcome) -> None:
        ahead = self._ahead.get(device)
        if isinstance(operation, Store):
            self._settle_stored(device, operation, outcome, ahead)
        elif ahead is not None:
            ahead.see(outcome)  # nothing follows from it before the intent is on disk
        else:
            self._go_on(device, self._hands[device].told(outcome))

    def _go_on(self, device: str, together: Together) -> None:
        """Have ``together`` be in hand now, none of it over: what it wants next is handed out."""
        together = together.on_firm_ground(self._startable.lacking)
        self._hands[device] = self._with_the_next(device, together)
        self._turned.add(device)

    def _settle_stored(
        self, device: str, store: Store, outcome: Outcome, ahead: Ahead | None
    ) -> None:
        if ahead is None or not isinstance(outcome, Stored):
            together = self._hands[device].told(outcome)
        else:
            together = ahead.after  # which was worked out before
        assert isinstance(outcome, Stored)  # or that was refused
        self._take(store)  # and only so may a step be over
        for hand in together.over:
            self._held.discard(hand.step.id)
            for one in hand.lost or gone_back(hand, self._steps):
                self._lost[one.id] = Failed(one.id, Failure.NOT_DONE, hand.said, unsure=True)
            self._stale = True
        if (left := together.left) is None:
            del self._hands[device]
            self._startable.through.discard(device)
            return
        self._hands[device] = left
        if ahead is None:
            self._turned.add(device)
            return
        del self._ahead[device]
        if (then := ahead.once(outcome)) is not None:
            self._go_on(device, then)

    def _with_the_next(self, device: str, together: Together) -> Together:
        """Steps in hand; where they are about to be proved, with those that follow on the device.

        So a proof and the intent of what comes next are stored as one, and wait for the disk once.
        Where nothing follows, the device's turn goes to another one.
        """
        if self._pausing is not None or not together.proving:
            return together
        done = {hand.step.id for hand in together.hands}
        following = self._startable.after(together.steps)
        if not following:
            self._startable.through.add(device)
            self._stale = True
            return together
        return Together((*together.hands, *self._in_hand(following, done)))

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
        elif isinstance(operation, Store) and isinstance(outcome, Stored):
            self._own = None
        else:
            raise OutOfTurn(f"{type(operation).__name__} was answered {outcome}")
        self._stale = True
        self._take(operation)

    def _take(self, operation: Operation) -> None:
        if isinstance(operation, Store):
            self._state.take(operation.events)
            self._startable.prove(e.step for e in operation.events if isinstance(e, Proved))

    def _proceed(self) -> None:
        if self._own is not None or self._state.ended is not None or not self._stale:
            return
        self._stale = False
        if self._pausing is not None and not self._answered_now():
            self._gate = None
        if self._gate is not None and not self._gate.over:
            return
        if self._pausing is None:
            for steps in () if self._shut() else self._startable.now():
                device = steps[0].device
                self._hands[device] = Together(self._in_hand(steps))
                self._turned.add(device)
        if not self._hands:
            self._last_word()

    def _in_hand(self, steps: tuple[Step, ...], done: Collection[str] = ()) -> tuple[Hand, ...]:
        """Take in hand what goes to its device in one request, once ``done`` is proved, too."""
        self._startable.take(steps)
        return tuple(self._taken(step, steps, done) for step in steps)

    def _taken(self, step: Step, batch: tuple[Step, ...], done: Collection[str]) -> Hand:
        device = step.device
        return taken(
            step,
            self._startable.on[device],
            self._steps,
            self._state,
            expects=self._expects.get(device),
            patience=self._patience.get(device, Patience()),
            batch=batch,
            done=done,
            kept=keeps(step, self._steps, self._found),
        )

    def _answered_now(self) -> bool:
        """Whether the answer at a go/no-go point still has to be stored."""
        return self._gate is not None and self._gate.point in (Point.ACCEPTING, Point.ANSWERING)

    def _last_word(self) -> None:
        """What the run does when no step is in hand and none can start: ask, or end."""
        if all(self._startable.proved(step) for step in self._steps):
            self._own = Store((Finished(),))
            return
        if self._gate is None and self._pausing is None and self._shut():
            self._gate = self._gate_before(self._startable.phase())
            return
        paused = Paused("; ".join(self._reasons()))
        self._gate = None
        self._own = Store((*self._lost.values(), paused))

    def _shut(self) -> bool:
        """Whether a go/no-go point stands before the phase that comes now, and is not open yet."""
        phase = self._startable.phase()
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
            yield from self._startable.stuck().words()
        if self._gate is not None:
            yield self._gate.why
        elif self._pausing is None and not self._state.failures:
            yield "the steps that are left wait for each other"

    def _plain_question(self, facts: Facts) -> tuple[str, ...]:
        phase = facts.phase
        rooms = self.sequence.phases[phase].rooms if phase < len(self.sequence.phases) else ()
        asks = f"Go on with phase {phase + 1}{': ' if rooms else ''}{', '.join(rooms)}?"
        return (*facts.findings, asks)
