"""Several steps of one device in hand: done at once where they agree, else each by itself."""

from collections.abc import Iterable

import pytest

from orchestrator.facility.found import SourceState
from orchestrator.facility.step import Step, StepKind
from orchestrator.running.events import Failure
from orchestrator.running.operations import (
    Accepted,
    Apart,
    Elapsed,
    Nobody,
    Outcome,
    Read,
    Refused,
    Saw,
    Store,
    Stored,
    Unsure,
    Wait,
    Write,
)
from orchestrator.running.steps.hand import Hand
from orchestrator.running.steps.life import OutOfTurn, Stage
from orchestrator.running.steps.patience import Patience
from orchestrator.running.steps.together import Together
from tests.running.dialogue import brief
from tests.running.made_up import AT, EXPECTS, source, state_of, step

NAMES = ("one", "two", "three")
AT_NORTH = AT["north"]


def off(name: str, **more: object) -> Step:
    """The disable of a source of north."""
    on, off = True, False
    return step(f"north.{name}", StepKind.DISABLE, on, off, source=name, **more)


def together(*names: str, at: dict[str, str] | None = None) -> Together:
    """Disables in hand together."""
    given = at or {}
    return Together(
        tuple(
            Hand(
                step=off(name, at=given.get(name, AT_NORTH)),
                expects=EXPECTS["north"],
                patience=Patience(late_s=2.0),
            )
            for name in names
        )
    )


def seen(*on: str) -> Saw:
    """North, with these sources on and the others off."""
    sources: dict[str, SourceState] = {
        name: source(311 + place, enabled=name in on) for place, name in enumerate(NAMES)
    }
    return Saw(state_of("north", sources=sources))


def after(one: Together, outcomes: Iterable[Outcome]) -> Together:
    """What comes of ``one`` after ``outcomes``; what is over is let go."""
    for outcome in outcomes:
        one = one.told(outcome)
        one = one.left or one
    return one


LOOKED = (Stored(), seen(*NAMES))


def test_what_all_want_is_done_once() -> None:
    """One intent stored, one look, one write, one look back, one storing of what came of it."""
    one, asked = together(*NAMES), []
    for outcome in (*LOOKED, Accepted(), seen(), Stored()):
        asked.append(brief(one.operation()))
        one = one.told(outcome)
    assert asked == [
        "store intended north.one + intended north.two + intended north.three",
        f"read north.one at {AT_NORTH}",
        f"write north.one + north.two + north.three at {AT_NORTH}",
        f"read north.one at {AT_NORTH}",
        "store " + " + ".join(f"sent north.{name} known + proved north.{name}" for name in NAMES),
    ]
    assert one.left is None
    with pytest.raises(OutOfTurn):
        one.operation()


def test_one_look_covers_what_each_is_about() -> None:
    """The others are read along with the first."""
    read = after(together("one", "two"), [Stored()]).operation()
    assert isinstance(read, Read)
    assert [each.id for each in read.rests] == ["north.two"]


def test_what_is_as_wanted_already_is_not_written_again() -> None:
    """The write is of the others alone, and goes first: it follows its look at once."""
    one = after(together(*NAMES), [Stored(), seen("one", "three")])
    write = one.operation()
    assert isinstance(write, Write)
    assert [each.id for each in write.steps] == ["north.one", "north.three"]
    one = one.told(Accepted())
    assert brief(one.operation()) == "store proved north.two already"


def test_each_has_its_own_outcome() -> None:
    """One is done, one is refused, of one nobody knows: what was sent is settled first."""
    one = after(together(*NAMES), LOOKED)
    one = one.told(
        Apart(
            {
                "north.one": Accepted(),
                "north.two": Refused(Failure.REJECTED, "no"),
                "north.three": Unsure("no answer"),
            }
        )
    )
    store = one.operation()
    assert isinstance(store, Store)
    assert [event.kind for event in store.events] == ["failed", "sent"]
    one = after(one, [Stored()])
    assert [hand.step.id for hand in one.hands] == ["north.one", "north.three"]
    one = one.told(seen("two"))
    assert [hand.stage for hand in one.hands] == [Stage.PROVING, Stage.PROVING]


def test_one_that_is_busy_waits_until_what_was_sent_is_settled() -> None:
    """Nothing more is written to a device while something may land there yet."""
    one = after(together("one", "two"), LOOKED)
    one = one.told(
        Apart({"north.one": Unsure("no answer"), "north.two": Refused(Failure.BUSY, "locked")})
    )
    asked = []
    for outcome in (Stored(), seen("one", "two"), Elapsed(), seen("two"), Stored()):
        asked.append(brief(one.operation()))
        one = one.told(outcome)
        one = one.left or one
    assert asked[0] == "store sent north.one unknown"
    assert not any(text.startswith("write") for text in asked)
    assert brief(one.operation()) == "wait north.two 1"
    one = after(one, [Elapsed(), seen("two")])
    assert brief(one.operation()) == f"write north.two at {AT_NORTH}"


def test_a_request_refused_as_a_whole_is_sent_in_its_parts() -> None:
    """Each with a look of its own right before it; a bad value holds up nothing else."""
    one = after(together("one", "two"), [*LOOKED, Refused(Failure.REJECTED, "no")])
    asked = []
    for outcome in (
        seen(*NAMES), Accepted(), seen("two"), Stored(),
        seen("two"), Refused(Failure.REJECTED, "no"), Stored(),
    ):  # fmt: skip
        asked.append(brief(one.operation()))
        one = one.told(outcome)
        one = one.left or one
    assert [text.split(" at ")[0] for text in asked if not text.startswith("store")] == [
        "read north.one", "write north.one", "read north.one", "read north.two", "write north.two",
    ]  # fmt: skip
    assert [(hand.stage, hand.said) for hand in one.hands] == [(Stage.FAILED, "no")]


def test_a_refusal_that_is_not_about_a_step_is_everybodys() -> None:
    """A busy device makes all of them wait; a sign-in that is refused fails all of them."""
    one = after(together("one", "two"), LOOKED)
    waiting = one.told(Refused(Failure.BUSY, "locked", 3.0)).operation()
    assert waiting == Wait(off("one"), 3.0)
    store = one.told(Refused(Failure.REFUSED, "who are you?")).operation()
    assert isinstance(store, Store)
    assert [event.kind for event in store.events] == ["failed", "failed"]


def test_nobody_there_is_everybodys_trouble() -> None:
    """One look that nobody answers fails all that looked."""
    one = after(together("one", "two"), [Stored(), Nobody("no answer"), Stored()])
    assert [hand.stage for hand in one.hands] == [Stage.FAILED, Stage.FAILED]


def test_what_is_spoken_to_at_two_addresses_is_asked_at_each() -> None:
    """One of them was begun before the device was moved."""
    one = after(together("one", "two", at={"two": "10.44.3.99"}), [Stored()])
    read = one.operation()
    assert isinstance(read, Read)
    assert (read.at, read.rests) == (AT_NORTH, ())


def test_an_answer_that_leaves_one_out_is_out_of_turn() -> None:
    """Nothing is taken for done that was not said."""
    one = after(together("one", "two"), LOOKED)
    with pytest.raises(OutOfTurn):
        one.told(Apart({"north.one": Accepted()}))


def test_one_alone_may_be_answered_apart() -> None:
    """A way that answers for each part does so for one, too."""
    one = after(together("one"), LOOKED).told(Apart({"north.one": Accepted()}))
    assert isinstance(one.operation(), Read)


def test_what_lost_its_ground_is_not_sent() -> None:
    """A step that it comes after turned out not to be done: it fails before it is written."""
    one = after(together("one", "two"), LOOKED)
    assert one.on_firm_ground(lambda _: []) is one
    shaken = one.on_firm_ground(lambda made: ["s2"] if made.source == "one" else [])
    assert [hand.stage for hand in shaken.hands] == [Stage.FAILING, Stage.SENDING]
    assert brief(shaken.operation()) == f"write north.two at {AT_NORTH}"
    failed = shaken.hands[0]
    assert (failed.why, failed.unsure) == (Failure.NOT_DONE, False)
    assert failed.said == "not sent: s2 turned out not to be done"


def test_what_lost_its_ground_is_not_sent_again() -> None:
    """What was sent before may have landed, and is said to be in doubt."""
    lost = after(together("one"), (*LOOKED, Unsure("no answer"), Stored()))
    while lost.hands[0].stage is not Stage.SENDING:
        waits = isinstance(lost.operation(), Wait)
        lost = lost.told(Elapsed() if waits else seen(*NAMES))
    failed = lost.on_firm_ground(lambda _: ["s2"]).hands[0]
    assert (failed.stage, failed.unsure) == (Stage.FAILING, True)
