"""What came of an operation, as a happening in the life of its step, and in words."""

from collections.abc import Mapping
from dataclasses import replace

from orchestrator.facility.found import DeviceState
from orchestrator.facility.step import AddressValue, Step, StepKind, StepValue
from orchestrator.running.events import Failure
from orchestrator.running.operations import (
    ANSWERS,
    Accepted,
    Answers,
    Elapsed,
    Nobody,
    Outcome,
    ReadFailed,
    Refused,
    Reply,
    Saw,
    Stored,
    Stranger,
    Unsure,
    Vacant,
)
from orchestrator.running.steps.hand import ASKS, AT_NEW, SENDS, Hand, target
from orchestrator.running.steps.keeping import lost, overtaken
from orchestrator.running.steps.kept import strayed
from orchestrator.running.steps.life import Happening, OutOfTurn, Stage, goes
from orchestrator.running.steps.patience import BUSY_WAITS
from orchestrator.running.steps.value import Absent, Sight, is_meant, same, sight, value_of

_BEFORE = (Stage.LOOKING, Stage.LOOKING_NEW)
_AT_OLD = (Stage.LOOKING, Stage.SEEKING)


def told(hand: Hand, outcome: Outcome) -> Hand:
    """The hand after ``outcome`` of its operation.

    Raises:
        OutOfTurn: the operation can't come to that; ``hand`` stays as it is.
    """
    asked = ASKS.get(hand.stage)
    if asked is None:
        raise OutOfTurn(f"step {hand.step.id} is over")
    if not isinstance(outcome, ANSWERS[asked]):
        raise OutOfTurn(f"{asked.__name__} was answered {outcome}")
    if isinstance(outcome, Saw):
        outcome = _identified(hand, outcome)
        if isinstance(outcome, Saw) and (gone := _lost(hand, outcome.state)) != hand.lost:
            hand = replace(hand, lost=gone)
    happening = happening_of(hand, outcome)
    fails = goes(hand.stage, happening).stage is Stage.FAILING
    return hand.next(happening, outcome, _said(hand, happening, outcome) if fails else "")


def _lost(hand: Hand, state: DeviceState) -> tuple[Step, ...]:
    """What is lost of all that ``hand`` rests on; a number that is there already rests on nothing.

    Its source may be on again by now, put right by hand; it need not go off for a write that is
    not sent, nor for one that is needless.
    """
    step = hand.step
    if not hand.checks or not hand.holds:
        return ()
    there = step.kind is StepKind.RENUMBER and sight(step, state) is Sight.WANTED
    if there or _needless(hand, state):
        return ()
    return lost(step, hand.holds, state, hand.besides, (*hand.mates, *hand.onward))


def _identified(hand: Hand, saw: Saw) -> Outcome:
    found = saw.state.identity
    if hand.expects is None or is_meant(hand.expects, found):
        return saw
    return Stranger(f"expected {hand.expects}, but {found} answers")


_PLAIN: Mapping[type[Outcome], Happening] = {
    Unsure: Happening.UNSURE,
    Vacant: Happening.VACANT,
    Answers: Happening.OCCUPIED,
    Elapsed: Happening.ELAPSED,
}


def happening_of(hand: Hand, outcome: Outcome) -> Happening:
    """What ``outcome`` means to ``hand``."""
    match outcome:
        case Saw(state=state):
            return _seen(hand, state)
        case Nobody() | Stranger() | ReadFailed():
            return _not_seen(hand, outcome)
        case Stored() | Accepted():
            return _done(hand)
        case Refused(why=why):
            return Happening.BUSY if _may_wait(hand, why) else Happening.REFUSED
        case Reply(go=go):
            return Happening.GO if go else Happening.NO_GO
        case _:
            return _PLAIN[type(outcome)]


def _done(hand: Hand) -> Happening:
    kind = hand.step.kind
    if hand.stage is Stage.SENDING:
        return Happening.MOVED if kind is StepKind.READDRESS else Happening.ACCEPTED
    if hand.stage is not Stage.INTENDING:
        return Happening.STORED
    doubt = Happening.INTENDED_IN_DOUBT if hand.doubt else Happening.INTENDED
    return {
        StepKind.BY_HAND: Happening.INTENDED_BY_HAND,
        StepKind.CONFIRM: Happening.INTENDED_CONFIRM,
    }.get(kind, doubt)


def _may_wait(hand: Hand, why: Failure) -> bool:
    return why is Failure.BUSY and hand.busy < len(BUSY_WAITS)


def _patient(hand: Hand) -> bool:
    return hand.waits < len(hand.settling)


def _late(hand: Hand) -> bool:
    # Whether an accepted write ought to show by now, and a lost request can no longer land.
    if hand.step.kind in (StepKind.READDRESS, StepKind.CONFIRM):
        return not _patient(hand)
    return hand.waits >= len(hand.patience.late())


def _not_seen(hand: Hand, outcome: Nobody | Stranger | ReadFailed) -> Happening:
    if hand.stage is Stage.LAST_LOOK:
        return Happening.LOST
    if isinstance(outcome, ReadFailed):
        return _unreadable(hand, outcome)
    if hand.moves and hand.stage in _AT_OLD:
        return Happening.ELSEWHERE
    return Happening.STRANGER if isinstance(outcome, Stranger) else _nobody(hand)


def _unreadable(hand: Hand, failed: ReadFailed) -> Happening:
    if hand.stage in _BEFORE:
        return Happening.BUSY if _may_wait(hand, failed.why) else Happening.UNREADABLE
    return Happening.UNREADABLE if _patient(hand) else Happening.UNREADABLE_STILL


def _nobody(hand: Hand) -> Happening:
    if hand.stage in _BEFORE or _patient(hand):
        return Happening.NOBODY
    if hand.stage is Stage.SEEKING and hand.gone_to is not None and hand.left is not None:
        return Happening.NOBODY_THERE
    nowhere_else = hand.left in (None, hand.new)
    lost = hand.stage is Stage.CONFIRMING and nowhere_else
    return Happening.LOST if lost else Happening.NOBODY_STILL


def _seen(hand: Hand, state: DeviceState) -> Happening:  # noqa: PLR0911 - one return a sight
    if hand.stage is Stage.LAST_LOOK:
        return Happening.BACK
    if hand.moves and hand.stage in AT_NEW:
        return Happening.WANTED  # it has moved; its confirm judges the rest
    if hand.lost or _strayed(hand, state):
        return Happening.OTHER
    match _weighed(hand, sight(hand.step, state)):
        case Sight.WANTED:
            return Happening.WANTED
        case Sight.AS_FOUND | Sight.OTHER if _needless(hand, state):
            return _landed_by_now(hand)
        case Sight.AS_FOUND if hand.gone_to is None and not _switched_on(hand, state):
            return _as_found(hand)
        case _:
            return Happening.OTHER


def _strayed(hand: Hand, state: DeviceState) -> str:
    """What a first save was to keep and is not there any more, in words."""
    return "; ".join(strayed(hand.step.device, hand.kept, state)) if hand.kept is not None else ""


def _needless(hand: Hand, state: DeviceState) -> bool:
    """Whether a step that was done before need not be done again, and was not begun again yet."""
    return hand.stage in _AT_OLD and hand.sends == 0 and overtaken(hand.later, state)


def _landed_by_now(hand: Hand) -> Happening:
    """As wanted, once an earlier request can't land any more."""
    waits = hand.stage is Stage.SEEKING and hand.doubt and not _late(hand)
    return Happening.AS_FOUND if waits else Happening.WANTED


def _switched_on(hand: Hand, state: DeviceState) -> tuple[str, ...]:
    """The sources that are on and have to be off, were the write of ``hand`` to follow."""
    step = hand.step
    if hand.stage not in _AT_OLD or step.kind not in (StepKind.RENUMBER, StepKind.READDRESS):
        return ()
    return tuple(
        name
        for name, source in state.sources.items()
        if step.source in (None, name) and source.enabled
    )


def _as_found(hand: Hand) -> Happening:
    if hand.stage is Stage.LOOKING:
        return _sendable(hand, Happening.AS_FOUND)
    return _still(hand) if _late(hand) else Happening.AS_FOUND


def _weighed(hand: Hand, seen: Sight) -> Sight:
    """Make of ``seen`` one of wanted, as found or other."""
    save = hand.step.kind is StepKind.SAVE
    if hand.stage is Stage.LOOKING:
        if save:
            return Sight.AS_FOUND  # a save is sent whatever the device says of itself
        return Sight.OTHER if seen is Sight.PARTLY else seen
    if seen is not Sight.PARTLY:
        return seen
    return Sight.WANTED if save and hand.stage is Stage.CHECKING else Sight.AS_FOUND


def _sendable(hand: Hand, otherwise: Happening) -> Happening:
    step = hand.step
    if step.kind is not StepKind.READDRESS or not isinstance(step.as_found, AddressValue):
        return otherwise
    if hand.vacant:
        return otherwise
    return otherwise if step.as_found.address == target(step) else Happening.MOVABLE


def _still(hand: Hand) -> Happening:
    if hand.stage is not Stage.SEEKING:
        return Happening.AS_FOUND_STILL
    if hand.step.kind is StepKind.READDRESS:
        again = _sendable(hand, Happening.RESENDABLE)
        return again if hand.sends == 0 else Happening.AS_FOUND_STILL
    return Happening.RESENDABLE if hand.sends < SENDS else Happening.AS_FOUND_STILL


def _said(hand: Hand, happening: Happening, outcome: Outcome) -> str:
    """What to tell a person, should the step fail by this; empty: what was told says it."""
    match happening, outcome:
        case Happening.OTHER, Saw(state=state):
            said = _other_said(hand, state)
        case Happening.AS_FOUND_STILL, _:
            said = _still_said(hand)
        case Happening.OCCUPIED, Answers(said=what):
            said = f"{what or 'something'} answers at {target(hand.step)}; nothing was sent"
        case Happening.BACK, _ if hand.gone_to is not None:
            said = (
                f"{hand.step.device} answers at {hand.left} again, and not at {hand.gone_to}: it "
                "has gone back to what was saved, or another hand is at work; resume to go on there"
            )
        case Happening.BACK, _:
            said = f"{hand.step.device} still answers at {hand.left}, its old address"
        case ((Happening.NOBODY | Happening.NOBODY_STILL | Happening.LOST), _):
            said = _nobody_said(hand)
        case Happening.NO_GO, _:
            said = "not done, a person says"
        case _:
            said = ""
    return said


def _other_said(hand: Hand, state: DeviceState) -> str:
    step = hand.step
    if hand.lost:
        return _lost_said(hand, state)
    if gone := _strayed(hand, state):
        return (
            f"{gone}, which is not as it was found: it has gone back to what was saved, or another "
            "hand is at work; put that right by hand and resume, or take the run back"
        )
    if on := _switched_on(hand, state):
        sources = " and ".join(f"{step.device}/{name}" for name in on)
        what = "readdressed" if step.kind is StepKind.READDRESS else "renumbered"
        return (
            f"{sources} was switched on by another hand, or by a power cycle; nothing is {what} "
            "while it is on: switch it off by hand and resume"
        )
    if hand.gone_to is not None:
        return (
            f"{step.subject} is {_shown(value_of(step, state))}, not {_shown(step.wanted)} as this "
            f"run had set it before {step.device} was moved to {hand.gone_to}: put that right by "
            "hand there and resume, or take the run back"
        )
    expected = "" if step.as_found is None else f"{step.as_found} as expected nor "
    return (
        f"{step.subject} shows {value_of(step, state)}, neither {expected}{step.wanted} as wanted"
    )


def _lost_said(hand: Hand, state: DeviceState) -> str:
    gone = [one for one in hand.lost if not same(one.wanted, value_of(one, state))]
    shown = "; ".join(
        f"{one.subject} is {_shown(value_of(one, state))}, not {_shown(one.wanted)} as this run "
        "had set it"
        for one in gone
    )
    return f"{shown}: it has gone back to what was saved, or another hand is at work"


def _shown(value: StepValue | Absent) -> str:
    return ("on" if value else "off") if isinstance(value, bool) else str(value)


def _still_said(hand: Hand) -> str:
    settles = hand.step.kind in (StepKind.READDRESS, StepKind.CONFIRM)
    seconds = sum(hand.settling if settles else hand.patience.late())
    sent = f" ({hand.said})" if hand.said else ""
    found = "unsaved" if hand.step.kind is StepKind.SAVE else str(hand.step.as_found)
    return f"{hand.step.subject} still shows {found}, {seconds:g} s later{sent}"


def _nobody_said(hand: Hand) -> str:
    step, old, new = hand.step, hand.left or hand.step.at, hand.gone_to or hand.new
    if new == old:
        return f"{step.device} does not answer at {old}"
    if hand.stage is Stage.LOOKING_NEW and hand.told is Failure.WRONG_DEVICE:
        return f"{hand.said} at {old}, and nobody at {new}"
    return (
        f"{step.device} does not answer at {new}, nor at {old}: "
        f"move its cable to the network of {new}, then resume"
    )
