"""A step in hand: the table of its life, and the counts that the table does not hold.

A hand is a frozen value: being told something gives the next hand, or is refused.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from orchestrator.facility.found import DeviceState, Identity
from orchestrator.facility.quick import changed, quick
from orchestrator.facility.step import AddressValue, Step, StepKind
from orchestrator.running.events import Answered, Event, Failed, Failure, Intended, Proved, Sent
from orchestrator.running.operations import (
    Accepted,
    Ask,
    Nobody,
    Operation,
    Outcome,
    Probe,
    Read,
    ReadFailed,
    Refused,
    Reply,
    Saw,
    Store,
    Stored,
    Stranger,
    Unsure,
    Wait,
    Write,
)
from orchestrator.running.steps.life import Goes, Happening, OutOfTurn, Stage, goes
from orchestrator.running.steps.patience import BUSY_WAITS, LONGEST_WAIT_S, Patience

SENDS = 3
"""How often one value is sent at most while its outcome stays unknown. Our own choice."""

AT_NEW = (Stage.LOOKING_NEW, Stage.SEEKING_NEW, Stage.CONFIRMING)
"""The stages in which the device is read at its new address."""

_READS = (Stage.LOOKING, Stage.CHECKING, Stage.SEEKING, Stage.LAST_LOOK, *AT_NEW)
_WAITS = (Stage.BUSY_WAIT, Stage.CHECK_WAIT, Stage.SEEK_WAIT, Stage.CONFIRM_WAIT)

ASKS: Mapping[Stage, type[Operation]] = {
    **dict.fromkeys(_READS, Read),
    **dict.fromkeys(_WAITS, Wait),
    **dict.fromkeys((Stage.INTENDING, Stage.DOUBTING, Stage.PROVING, Stage.FAILING), Store),
    Stage.PROBING: Probe,
    Stage.SENDING: Write,
    Stage.ASKING: Ask,
}
"""What kind of operation is done in each stage; none once the step is over."""

_BEFORE_A_WRITE = (Stage.LOOKING, Stage.SEEKING)


@quick
@dataclass(frozen=True, slots=True, kw_only=True)
class Hand:
    """One step in hand.

    ``left`` is the address that the device was readdressed from, ``readdress`` that readdress's
    id: of a confirm the one that it confirms. ``gone_to`` is where the device stands now, if it was
    readdressed since the step was first done: it is looked at there, and not written any more,
    and looked for where it stood before if it is not there. ``holds`` are the steps
    that it rests on, ``kept`` the state that a first save is to keep, ``besides`` what else was
    set on the device, ``onward`` what may have been set further on, ``mates`` what goes in one
    request with it, ``lost`` those that have to be done again, ``later`` what was done since that
    makes it needless. ``earlier``: an earlier attempt may have written; ``doubt``: and what it sent
    may land yet. ``vacant``: the address that it moves onto was just seen to be. ``sends``,
    ``waits`` and ``busy`` count what was sent, and waited for, so far. ``told`` is the last reason
    told for a trouble, ``said`` its words.
    ``notes`` are stored with the next event. ``why`` and ``unsure`` say how it failed, once it has.
    """

    step: Step
    expects: Identity | None
    patience: Patience = field(default_factory=Patience)
    left: str | None = None
    readdress: str | None = None
    gone_to: str | None = None
    holds: tuple[Step, ...] = ()
    kept: DeviceState | None = None
    besides: tuple[Step, ...] = ()
    onward: tuple[Step, ...] = ()
    mates: tuple[Step, ...] = ()
    lost: tuple[Step, ...] = ()
    later: tuple[Step, ...] = ()
    earlier: bool = False
    doubt: bool = False
    vacant: bool = False
    stage: Stage = Stage.INTENDING
    sends: int = 0
    waits: int = 0
    busy: int = 0
    retry_after_s: float = 0.0
    told: Failure = Failure.UNREACHABLE
    said: str = ""
    notes: tuple[Event, ...] = ()
    why: Failure = Failure.UNKNOWN
    unsure: bool = False

    @property
    def new(self) -> str:
        """Where the device is spoken to once a readdress of it is done."""
        if self.step.kind is StepKind.CONFIRM and self.left == self.step.at:
            return target(self.step)
        return new_address(self.step)

    @property
    def moves(self) -> bool:
        """Whether the step takes the device away from the address at which it is spoken to."""
        return self.step.kind is StepKind.READDRESS and self.new != self.step.at

    @property
    def over(self) -> bool:
        """Whether the step is proved or failed, and that is stored."""
        return self.stage in (Stage.PROVED, Stage.FAILED)

    @property
    def settling(self) -> tuple[float, ...]:
        """The waits that the present stage allows for, in seconds."""
        if self.step.kind in (StepKind.READDRESS, StepKind.CONFIRM):
            return self.patience.arrive()
        return self.patience.late() + self.patience.settle()

    @property
    def checks(self) -> bool:
        """Whether what it rests on is looked at: before a write, and all that a save keeps."""
        return self.stage in _BEFORE_A_WRITE or self.step.kind is StepKind.SAVE

    def operation(self) -> Operation:
        """What is to be done in the present stage.

        Raises:
            OutOfTurn: nothing: the step is over.
        """
        step = self.step
        if self.stage in _READS:
            return Read(step, self.where, self.holds if self.checks else ())
        if self.stage in _WAITS:
            return Wait(step, self._seconds())
        match self.stage:
            case Stage.PROBING:
                return Probe(step, target(step))
            case Stage.SENDING:
                return Write(step, self.where)
            case Stage.ASKING:
                return Ask(f"by-hand:{step.id}", by_hand_text(step))
            case _:
                return Store(self.notes + self._events())

    @property
    def asks(self) -> type[Operation]:
        """What kind of operation is done in the present stage, which is not the last one."""
        return ASKS[self.stage]

    @property
    def where(self) -> str:
        """The address at which it is spoken to in the present stage."""
        if self.stage is Stage.SENDING:
            return self.step.at
        if self.stage is Stage.LAST_LOOK:
            return self.left or self.new
        return self.new if self.stage in AT_NEW else self.gone_to or self.step.at

    def _seconds(self) -> float:
        waits = BUSY_WAITS if self.stage is Stage.BUSY_WAIT else self.settling
        count = self.busy if self.stage is Stage.BUSY_WAIT else self.waits
        return max(waits[min(count, len(waits) - 1)], min(self.retry_after_s, LONGEST_WAIT_S))

    def _events(self) -> tuple[Event, ...]:
        step = self.step
        match self.stage:
            case Stage.INTENDING:
                return (Intended(step.id),)
            case Stage.DOUBTING:
                return (Sent(step.id, known=False, said=self.said),)
            case Stage.PROVING:
                return (Proved(step.id, already=self._already()),)
            case Stage.FAILING:
                return self._failures()
            case _:
                raise OutOfTurn(f"step {step.id} is over")

    def _failures(self) -> tuple[Event, ...]:
        step = self.step
        failed = Failed(step.id, self.why, self.said, self.unsure)
        if self.readdress is None or self.why is not Failure.NOT_DONE:
            return (failed,)
        return (Failed(self.readdress, Failure.NOT_DONE, self.said, unsure=True), failed)

    def _already(self) -> bool:
        writes = self.step.kind not in (StepKind.CONFIRM, StepKind.BY_HAND)
        return writes and self.sends == 0 and not self.earlier

    def next(self, happening: Happening, outcome: Outcome, said: str) -> "Hand":
        """The hand after ``happening``; ``said`` is what to tell a person if the step fails.

        Raises:
            OutOfTurn: the table has no such row.
        """
        then = goes(self.stage, happening)
        changes: dict[str, Any] = {"stage": then.stage}
        if not isinstance(outcome, Saw | Stored):  # most outcomes are, and tell of no trouble
            changes |= _noted(self, outcome)
            changes |= _counted(self, outcome)
            if said_of_it := _words_of(outcome):
                changes["said"] = said_of_it
        elif self.stage is Stage.DOUBTING:
            changes["notes"] = ()  # they are stored now
        if happening in (Happening.RESENDABLE, Happening.MOVABLE):
            changes["doubt"] = False
        elif happening is Happening.VACANT:
            changes["vacant"] = True
        hand = changed(self, changes)  # once: a run of many devices does it all the time
        return _failed(hand, then, said) if then.stage is Stage.FAILING else hand


def _noted(hand: Hand, outcome: Outcome) -> dict[str, Any]:
    """What was told of a trouble, and what is to be stored with the next event."""
    match outcome:
        case Stranger():
            return {"told": Failure.WRONG_DEVICE}
        case Nobody() if hand.stage is Stage.LOOKING:
            return {"told": Failure.UNREACHABLE}
        case ReadFailed() | Refused():
            return {"told": outcome.why, "retry_after_s": outcome.retry_after_s or 0.0}
        case Reply(go=go, by=by):
            return {"notes": (Answered(f"by-hand:{hand.step.id}", go, by),)}
        case Accepted():
            return {"notes": (*hand.notes, Sent(hand.step.id, known=True))}
        case _:
            return {}


def _counted(hand: Hand, outcome: Outcome) -> dict[str, Any]:
    """What was sent and waited for, counted."""
    if isinstance(outcome, Accepted | Unsure):
        return {"sends": hand.sends + 1, "waits": 0}
    if hand.stage is Stage.BUSY_WAIT:
        return {"busy": hand.busy + 1, "retry_after_s": 0.0, "vacant": False}
    if hand.stage in _WAITS:
        return {"waits": hand.waits + 1, "retry_after_s": 0.0}
    return {}


def _failed(hand: Hand, then: Goes, said: str) -> Hand:
    unsure = then.unsure or hand.doubt or hand.sends > 0 or bool(hand.lost)
    return replace(hand, why=then.why or hand.told, unsure=unsure, said=said or hand.said)


def _words_of(outcome: Outcome) -> str:
    match outcome:
        case Nobody() | Stranger() | ReadFailed() | Refused() | Unsure():
            return outcome.said
        case _:
            return ""


def target(step: Step) -> str:
    """The address that a readdress moves onto; a step that wants none stays where it is."""
    return step.wanted.address if isinstance(step.wanted, AddressValue) else step.at


def new_address(step: Step) -> str:
    """Where a readdressed device is spoken to.

    Its wanted address, if it is spoken to at the address that it leaves; a readdress of another
    interface changes nothing in that.
    """
    if isinstance(step.as_found, AddressValue) and step.as_found.address == step.at:
        return target(step)
    return step.at


def by_hand_text(step: Step) -> tuple[str, ...]:
    """What a person is asked to do, and to say go to once it is done."""
    what = f"{step.subject}: {step.setting}" if step.setting else step.subject
    change = "" if step.wanted is None else f", from {step.as_found} to {step.wanted}"
    return (f"By hand: {what}{change}.", *step.why, "Go once it is done.")
