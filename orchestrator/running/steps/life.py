"""The life of a step, as one table: (stage, happening) -> stage.

In each stage one operation is open, or none. What comes of it is a *happening*; what is not in
the table is refused, and the step stays as it was. What the rules behind the rows are:

- An intent is stored before anything is written, and what a look found out counts only once it
  is (``ahead``). Each write has a read right before it: a value that is neither as found nor
  wanted is another hand's, and is not overwritten.
- A device not found at its old address is looked for at its new one before it is called lost.
- Nothing is moved onto an address at which anything answers; to see that takes time, in which the
  device may lose its power, so it is read once more.
- A write whose outcome is unknown is settled by reading. Reading the old value is no proof until
  the time has passed within which the request can still land, so that never more than one request
  of a step is on its way; reading the wanted value then proves that it has landed.
- Nothing is sent, or sent again, once a step that it comes after has turned out not to be done.
- A readdress is proved by the device's yes; its confirm reads it back at the new address.
"""

from collections.abc import Mapping
from enum import StrEnum
from typing import NamedTuple

from orchestrator.running.events import Failure


class OutOfTurn(ValueError):
    """Told something that nobody asked for. Nothing was changed."""


class Stage(StrEnum):
    """Where a step is in its life, by what is being done."""

    INTENDING = "store the intent"
    LOOKING = "read before the write"
    LOOKING_NEW = "read at the new address before the write"
    PROBING = "see whether the new address is vacant"
    SENDING = "write"
    BUSY_WAIT = "wait for a busy device"
    CHECKING = "read back"
    CHECK_WAIT = "wait, then read back"
    DOUBTING = "store that the outcome is unknown"
    SEEKING = "read what became of it"
    SEEKING_NEW = "read what became of it, at the new address"
    SEEK_WAIT = "wait, then read what became of it"
    CONFIRMING = "read at the new address"
    CONFIRM_WAIT = "wait, then read at the new address"
    LAST_LOOK = "read at the old address"
    ASKING = "ask a person"
    PROVING = "store that it is proved"
    FAILING = "store that it failed"
    PROVED = "proved"
    FAILED = "failed"


class Happening(StrEnum):
    """What can come of what is being done. *Still*: and the time for it is used up."""

    INTENDED = "intent stored"
    INTENDED_IN_DOUBT = "intent stored; an earlier write may have landed"
    INTENDED_CONFIRM = "intent stored, of a confirm"
    INTENDED_BY_HAND = "intent stored, of a step by hand"
    STORED = "stored"
    AS_FOUND = "as found"
    AS_FOUND_STILL = "still as found"
    MOVABLE = "as found, and about to be moved"
    RESENDABLE = "still as found, and the same may be sent again"
    WANTED = "as wanted"
    OTHER = "neither as found nor as wanted"
    NOBODY = "nobody answers"
    NOBODY_STILL = "still nobody answers"
    NOBODY_THERE = "still nobody answers, where the run had moved it"
    LOST = "nobody answers, here or elsewhere"
    ELSEWHERE = "not at its old address"
    BACK = "still at its old address"
    STRANGER = "another device answers"
    UNREADABLE = "can't be read"
    UNREADABLE_STILL = "still can't be read"
    VACANT = "nothing answers there"
    OCCUPIED = "something answers there"
    ACCEPTED = "accepted"
    MOVED = "accepted, of a readdress"
    REFUSED = "refused"
    BUSY = "busy"
    ALONE = "refused together with others"
    UNSURE = "outcome unknown"
    UNDERMINED = "what it comes after is not done any more"
    ELAPSED = "time has passed"
    GO = "go"
    NO_GO = "no-go"


class Goes(NamedTuple):
    """Where a step goes. ``why``: the failure, None if it is the one that was told."""

    stage: Stage
    why: Failure | None = None
    unsure: bool = False


def _fails(why: Failure | None = None, *, unsure: bool = False) -> Goes:
    return Goes(Stage.FAILING, why, unsure)


_LOOKING = {
    (Stage.INTENDING, Happening.INTENDED): Goes(Stage.LOOKING),
    (Stage.INTENDING, Happening.INTENDED_IN_DOUBT): Goes(Stage.SEEKING),
    (Stage.INTENDING, Happening.INTENDED_CONFIRM): Goes(Stage.CONFIRMING),
    (Stage.INTENDING, Happening.INTENDED_BY_HAND): Goes(Stage.ASKING),
    # before the write
    (Stage.LOOKING, Happening.AS_FOUND): Goes(Stage.SENDING),
    (Stage.LOOKING, Happening.MOVABLE): Goes(Stage.PROBING),
    (Stage.LOOKING, Happening.WANTED): Goes(Stage.PROVING),
    (Stage.LOOKING, Happening.OTHER): _fails(Failure.OTHER_HAND),
    (Stage.LOOKING, Happening.ELSEWHERE): Goes(Stage.LOOKING_NEW),
    (Stage.LOOKING, Happening.NOBODY): _fails(Failure.UNREACHABLE),
    (Stage.LOOKING, Happening.STRANGER): _fails(Failure.WRONG_DEVICE),
    (Stage.LOOKING, Happening.BUSY): Goes(Stage.BUSY_WAIT),
    (Stage.LOOKING, Happening.UNREADABLE): _fails(),
    (Stage.LOOKING_NEW, Happening.WANTED): Goes(Stage.PROVING),
    (Stage.LOOKING_NEW, Happening.NOBODY): _fails(),
    (Stage.LOOKING_NEW, Happening.STRANGER): _fails(Failure.WRONG_DEVICE),
    (Stage.LOOKING_NEW, Happening.BUSY): Goes(Stage.BUSY_WAIT),
    (Stage.LOOKING_NEW, Happening.UNREADABLE): _fails(),
    (Stage.PROBING, Happening.VACANT): Goes(Stage.LOOKING),
    (Stage.PROBING, Happening.OCCUPIED): _fails(Failure.OCCUPIED),
    (Stage.BUSY_WAIT, Happening.ELAPSED): Goes(Stage.LOOKING),
}

_WRITING = {
    (Stage.SENDING, Happening.ACCEPTED): Goes(Stage.CHECKING),
    (Stage.SENDING, Happening.MOVED): Goes(Stage.PROVING),
    (Stage.SENDING, Happening.BUSY): Goes(Stage.BUSY_WAIT),
    (Stage.SENDING, Happening.ALONE): Goes(Stage.LOOKING),
    (Stage.SENDING, Happening.UNDERMINED): _fails(Failure.NOT_DONE),
    (Stage.SENDING, Happening.REFUSED): _fails(),
    (Stage.SENDING, Happening.UNSURE): Goes(Stage.DOUBTING),
    # accepted: read back
    (Stage.CHECKING, Happening.WANTED): Goes(Stage.PROVING),
    (Stage.CHECKING, Happening.AS_FOUND): Goes(Stage.CHECK_WAIT),
    (Stage.CHECKING, Happening.AS_FOUND_STILL): _fails(Failure.NOT_DONE, unsure=True),
    (Stage.CHECKING, Happening.OTHER): _fails(Failure.OTHER_HAND, unsure=True),
    (Stage.CHECKING, Happening.NOBODY): Goes(Stage.CHECK_WAIT),
    (Stage.CHECKING, Happening.NOBODY_STILL): _fails(Failure.UNREACHABLE, unsure=True),
    (Stage.CHECKING, Happening.STRANGER): _fails(Failure.WRONG_DEVICE, unsure=True),
    (Stage.CHECKING, Happening.UNREADABLE): Goes(Stage.CHECK_WAIT),
    (Stage.CHECKING, Happening.UNREADABLE_STILL): _fails(unsure=True),
    (Stage.CHECK_WAIT, Happening.ELAPSED): Goes(Stage.CHECKING),
}

_DOUBT = {
    (Stage.DOUBTING, Happening.STORED): Goes(Stage.SEEKING),
    (Stage.SEEKING, Happening.WANTED): Goes(Stage.PROVING),
    (Stage.SEEKING, Happening.AS_FOUND): Goes(Stage.SEEK_WAIT),
    (Stage.SEEKING, Happening.AS_FOUND_STILL): _fails(Failure.UNKNOWN, unsure=True),
    (Stage.SEEKING, Happening.RESENDABLE): Goes(Stage.SENDING),
    (Stage.SEEKING, Happening.MOVABLE): Goes(Stage.PROBING),
    (Stage.SEEKING, Happening.OTHER): _fails(Failure.OTHER_HAND, unsure=True),
    (Stage.SEEKING, Happening.ELSEWHERE): Goes(Stage.SEEKING_NEW),
    (Stage.SEEKING, Happening.NOBODY): Goes(Stage.SEEK_WAIT),
    (Stage.SEEKING, Happening.NOBODY_STILL): _fails(Failure.UNKNOWN, unsure=True),
    (Stage.SEEKING, Happening.NOBODY_THERE): Goes(Stage.LAST_LOOK),
    (Stage.SEEKING, Happening.STRANGER): _fails(Failure.WRONG_DEVICE, unsure=True),
    (Stage.SEEKING, Happening.UNREADABLE): Goes(Stage.SEEK_WAIT),
    (Stage.SEEKING, Happening.UNREADABLE_STILL): _fails(Failure.UNKNOWN, unsure=True),
    (Stage.SEEKING_NEW, Happening.WANTED): Goes(Stage.PROVING),
    (Stage.SEEKING_NEW, Happening.NOBODY): Goes(Stage.SEEK_WAIT),
    (Stage.SEEKING_NEW, Happening.NOBODY_STILL): _fails(Failure.UNKNOWN, unsure=True),
    (Stage.SEEKING_NEW, Happening.STRANGER): _fails(Failure.WRONG_DEVICE, unsure=True),
    (Stage.SEEKING_NEW, Happening.UNREADABLE): Goes(Stage.SEEK_WAIT),
    (Stage.SEEKING_NEW, Happening.UNREADABLE_STILL): _fails(Failure.UNKNOWN, unsure=True),
    (Stage.SEEK_WAIT, Happening.ELAPSED): Goes(Stage.SEEKING),
}

_ENDING = {
    (Stage.CONFIRMING, Happening.WANTED): Goes(Stage.PROVING),
    (Stage.CONFIRMING, Happening.AS_FOUND): Goes(Stage.CONFIRM_WAIT),
    (Stage.CONFIRMING, Happening.AS_FOUND_STILL): _fails(Failure.NOT_DONE),
    (Stage.CONFIRMING, Happening.OTHER): _fails(Failure.OTHER_HAND),
    (Stage.CONFIRMING, Happening.NOBODY): Goes(Stage.CONFIRM_WAIT),
    (Stage.CONFIRMING, Happening.NOBODY_STILL): Goes(Stage.LAST_LOOK),
    (Stage.CONFIRMING, Happening.LOST): _fails(Failure.UNREACHABLE),
    (Stage.CONFIRMING, Happening.STRANGER): _fails(Failure.WRONG_DEVICE),
    (Stage.CONFIRMING, Happening.UNREADABLE): Goes(Stage.CONFIRM_WAIT),
    (Stage.CONFIRMING, Happening.UNREADABLE_STILL): _fails(),
    (Stage.CONFIRM_WAIT, Happening.ELAPSED): Goes(Stage.CONFIRMING),
    (Stage.LAST_LOOK, Happening.BACK): _fails(Failure.NOT_DONE),
    (Stage.LAST_LOOK, Happening.LOST): _fails(Failure.UNREACHABLE),
    (Stage.ASKING, Happening.GO): Goes(Stage.PROVING),
    (Stage.ASKING, Happening.NO_GO): _fails(Failure.NOT_DONE),
    (Stage.PROVING, Happening.STORED): Goes(Stage.PROVED),
    (Stage.FAILING, Happening.STORED): Goes(Stage.FAILED),
}

LIFE: Mapping[tuple[Stage, Happening], Goes] = {**_LOOKING, **_WRITING, **_DOUBT, **_ENDING}
"""The whole life of a step."""


def goes(stage: Stage, happening: Happening) -> Goes:
    """Where a step in ``stage`` goes when ``happening``.

    Raises:
        OutOfTurn: that can't happen there.
    """
    try:
        return LIFE[stage, happening]
    except KeyError:
        raise OutOfTurn(f"a step at '{stage}' was told '{happening}'") from None


def table_text() -> str:
    """The table as Markdown, for the documentation."""
    lines = ["| being done | what came of it | then |", "| --- | --- | --- |"]
    for (stage, happening), then in LIFE.items():
        what = str(then.stage)
        if then.stage is Stage.FAILING:
            why = "the reason told" if then.why is None else then.why.replace("_", " ")
            what += f": {why}" + (", may have landed" if then.unsure else "")
        lines.append(f"| {stage} | {happening} | {what} |")
    return "\n".join(lines) + "\n"
