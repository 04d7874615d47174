"""The steps in hand on one device: one, or several that go to it in one request.

Each step lives its own life (``hand``). What several of them want done at the same time is done
once for all: one look before the write, one write, one read-back. Where they part (one is refused,
another has to wait) each goes on by itself; the device is still asked one thing at a time. A
request that is refused as a whole is sent again in its parts, one step after another: so one
bad value holds up nothing else.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

from orchestrator.facility.quick import quick
from orchestrator.facility.step import Step
from orchestrator.running.events import Failure
from orchestrator.running.operations import (
    Apart,
    Ask,
    Elapsed,
    Operation,
    Outcome,
    Probe,
    Read,
    Refused,
    Store,
    Wait,
    Write,
)
from orchestrator.running.steps.hand import Hand
from orchestrator.running.steps.life import Happening, OutOfTurn, Stage
from orchestrator.running.steps.reading import told

_TURN: Mapping[type[Operation], int] = {Write: 0, Probe: 1, Ask: 2, Store: 3, Read: 4, Wait: 5}
"""What is done first: a write is sent right after the look at what it overwrites."""

_UNSENT = (Stage.LOOKING, Stage.BUSY_WAIT)

_OF_ONE = (Failure.REJECTED, Failure.OTHER_HAND)
"""Refusals that may be meant for one step of several."""


@quick
@dataclass(frozen=True, slots=True)
class Together:
    """The steps in hand on one device.

    ``apart``: a request for several of them was refused as a whole; they go one after another.
    """

    hands: tuple[Hand, ...]
    apart: bool = False

    @property
    def steps(self) -> tuple[Step, ...]:
        """The steps, as they were begun."""
        return tuple([hand.step for hand in self.hands])

    @property
    def over(self) -> tuple[Hand, ...]:
        """Those that are proved or failed, and that is stored."""
        return tuple([hand for hand in self.hands if hand.over])

    @property
    def left(self) -> "Together | None":
        """The others; None if there is none."""
        hands = tuple([hand for hand in self.hands if not hand.over])
        if len(hands) == len(self.hands):
            return self
        return Together(hands, self.apart) if hands else None

    @property
    def proving(self) -> bool:
        """Whether all that is left to do is to store that they are proved."""
        first = self.hands[0].stage is Stage.PROVING and not self.apart
        return first and all(hand.stage is Stage.PROVING for hand in self.hands)

    @property
    def intending(self) -> bool:
        """Whether an intent is about to be stored."""
        return any(hand.stage is Stage.INTENDING for hand in self.hands)

    def on_firm_ground(self, lacking: Callable[[Step], Sequence[str]]) -> "Together":
        """Those about to be written fail where they lack steps that have to be done before."""
        for hand in self.hands:
            if hand.stage is Stage.SENDING and lacking(hand.step):
                hands = tuple([_on_firm_ground(one, lacking) for one in self.hands])
                return Together(hands, self.apart)
        return self

    def operation(self) -> Operation:
        """What is to be done next.

        Raises:
            OutOfTurn: nothing: all is over.
        """
        if len(self.hands) == 1:
            return self.hands[0].operation()
        return _one([hand.operation() for hand in self._turn()])

    def told(self, outcome: Outcome) -> "Together":
        """The steps after ``outcome`` of that operation.

        Raises:
            OutOfTurn: the operation can't come to that; nothing was changed.
        """
        if len(self.hands) == 1 and not isinstance(outcome, Apart):
            return Together((told(self.hands[0], outcome),), self.apart)
        turn = self._turn()
        of_one = isinstance(outcome, Refused) and outcome.why in _OF_ONE
        if of_one and len(turn) > 1:
            after = {hand.step.id: hand.next(Happening.ALONE, outcome, "") for hand in turn}
        else:
            after = {hand.step.id: told(hand, _own(outcome, hand)) for hand in turn}
        hands = tuple(after.get(hand.step.id, hand) for hand in self.hands)
        return Together(hands, self.apart or (of_one and len(turn) > 1))

    def _turn(self) -> tuple[Hand, ...]:
        """The steps whose turn it is: they want the same done at the same address."""
        left = [hand for hand in self.hands if not hand.over]
        if not left:
            raise OutOfTurn("every step on the device is over")
        if self.apart:
            return (left[0],)
        # What was sent is settled before anything else is looked at, and sent.
        sent = [hand for hand in left if hand.stage not in _UNSENT] or left
        first = min(sent, key=lambda hand: _TURN[hand.asks])
        return tuple([hand for hand in sent if hand is first or _alike(first, hand)])


def _on_firm_ground(hand: Hand, lacking: Callable[[Step], Sequence[str]]) -> Hand:
    if hand.stage is not Stage.SENDING or not (lacks := lacking(hand.step)):
        return hand
    said = f"not sent: {' and '.join(lacks)} turned out not to be done"
    return hand.next(Happening.UNDERMINED, Elapsed(), said)


def _own(outcome: Outcome, hand: Hand) -> Outcome:
    if not isinstance(outcome, Apart):
        return outcome
    if hand.step.id not in outcome.of:
        raise OutOfTurn(f"nothing is said of step {hand.step.id}")
    return outcome.of[hand.step.id]


def _alike(one: Hand, other: Hand) -> bool:
    if one.asks is not other.asks or one.asks in (Probe, Ask):
        return False
    return one.asks not in (Write, Read) or one.where == other.where


def _one(operations: list[Operation]) -> Operation:
    """One operation that does what all of ``operations``, which are alike, would."""
    first = operations[0]
    match first:
        case Store():
            stores = [each for each in operations if isinstance(each, Store)]
            return Store(tuple(event for store in stores for event in store.events))
        case Write():
            writes = [each for each in operations if isinstance(each, Write)]
            return replace(first, more=tuple(each.step for each in writes[1:]))
        case Read():
            reads = [each for each in operations if isinstance(each, Read)]
            besides = dict.fromkeys(step for each in reads[1:] for step in (each.step, *each.rests))
            return replace(first, rests=(*first.rests, *besides))
        case Wait():
            seconds = max(each.seconds for each in operations if isinstance(each, Wait))
            return replace(first, seconds=seconds)
        case _:
            return first
