"""Rows of a step's life that chance seldom comes to, each with an outcome that leads there."""

from dataclasses import replace
from typing import NamedTuple

from orchestrator.facility.step import AddressValue, Step
from orchestrator.running.events import Failure
from orchestrator.running.operations import Nobody, Outcome, ReadFailed, Saw, Stranger
from orchestrator.running.steps.life import Happening, Stage
from tests.running.made_up import AT, BENCH, BY_ID, EXPECTS, FRESH, JOINED, NEW, state_of

MOVE, THERE = BY_ID["fresh.move"], BY_ID["fresh.there"]
BROKEN, BUSY = ReadFailed(Failure.BROKEN, "no sense"), ReadFailed(Failure.BUSY, "locked")
ALL = 99


class Seldom(NamedTuple):
    """In ``stage``, after ``waits`` waits, ``outcome`` is ``happening``, which leads ``to``."""

    step: Step
    stage: Stage
    waits: int
    outcome: Outcome
    happening: Happening
    to: Stage
    left: str | None = None
    gone_to: str | None = None


def _saw(address: AddressValue) -> Saw:
    return Saw(state_of(FRESH, address=address))


OLD = AT[FRESH]
ELSEWHERE = replace(JOINED, address="10.44.3.99")
OFF = BY_ID["north.off"]
EARLIER = BY_ID["fresh.off"]
GONE = Saw(replace(state_of(FRESH), identity=EXPECTS["north"]))
SELDOM = (
    Seldom(OFF, Stage.CHECKING, 0, GONE, Happening.OTHER, Stage.FAILING),
    Seldom(MOVE, Stage.LOOKING, 0, _saw(JOINED), Happening.WANTED, Stage.PROVING),
    Seldom(MOVE, Stage.LOOKING_NEW, 0, BUSY, Happening.BUSY, Stage.BUSY_WAIT),
    Seldom(MOVE, Stage.LOOKING_NEW, 0, BROKEN, Happening.UNREADABLE, Stage.FAILING),
    Seldom(MOVE, Stage.LOOKING_NEW, 0, Nobody(), Happening.NOBODY, Stage.FAILING),
    Seldom(MOVE, Stage.LOOKING_NEW, 0, Stranger("S-9"), Happening.STRANGER, Stage.FAILING),
    Seldom(MOVE, Stage.SEEKING_NEW, 0, Nobody(), Happening.NOBODY, Stage.SEEK_WAIT),
    Seldom(MOVE, Stage.SEEKING_NEW, ALL, Nobody(), Happening.NOBODY_STILL, Stage.FAILING),
    Seldom(MOVE, Stage.SEEKING_NEW, 0, Stranger("S-9"), Happening.STRANGER, Stage.FAILING),
    Seldom(MOVE, Stage.SEEKING_NEW, 0, BROKEN, Happening.UNREADABLE, Stage.SEEK_WAIT),
    Seldom(MOVE, Stage.SEEKING_NEW, ALL, BUSY, Happening.UNREADABLE_STILL, Stage.FAILING),
    Seldom(
        EARLIER, Stage.SEEKING, ALL, Nobody(), Happening.NOBODY_THERE, Stage.LAST_LOOK, OLD, NEW
    ),
    Seldom(THERE, Stage.CONFIRMING, 0, _saw(BENCH), Happening.AS_FOUND, Stage.CONFIRM_WAIT, OLD),
    Seldom(THERE, Stage.CONFIRMING, ALL, _saw(BENCH), Happening.AS_FOUND_STILL, Stage.FAILING, OLD),
    Seldom(THERE, Stage.CONFIRMING, 0, _saw(ELSEWHERE), Happening.OTHER, Stage.FAILING, OLD),
    Seldom(THERE, Stage.CONFIRMING, 0, BROKEN, Happening.UNREADABLE, Stage.CONFIRM_WAIT, OLD),
    Seldom(THERE, Stage.CONFIRMING, ALL, BROKEN, Happening.UNREADABLE_STILL, Stage.FAILING, OLD),
    Seldom(THERE, Stage.CONFIRMING, ALL, Nobody(), Happening.NOBODY_STILL, Stage.LAST_LOOK, OLD),
    Seldom(THERE, Stage.CONFIRMING, ALL, Nobody(), Happening.LOST, Stage.FAILING),
    Seldom(THERE, Stage.CONFIRMING, 0, Stranger("S-9"), Happening.STRANGER, Stage.FAILING, OLD),
    Seldom(THERE, Stage.LAST_LOOK, ALL, _saw(BENCH), Happening.BACK, Stage.FAILING, OLD),
    Seldom(THERE, Stage.LAST_LOOK, ALL, Stranger("S-9"), Happening.LOST, Stage.FAILING, OLD),
)
