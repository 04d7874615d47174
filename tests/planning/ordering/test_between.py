from orchestrator.facility.plan import ListensTo, Ref
from orchestrator.facility.step import Origin, StepKind
from orchestrator.facility.traits import Saves
from orchestrator.facility.wanted import Unit
from tests.planning import hand
from tests.planning.scenes import Box, address

K = StepKind


def test_who_takes_waits_for_the_renumber_of_the_holder() -> None:
    """And says so in words."""
    where, sequence = hand.safe(hand.chain())
    taker = hand.step(sequence, K.RENUMBER, "a/s")
    assert hand.step(sequence, K.RENUMBER, "b/s").id in taker.after
    assert "waits until b/s has let go of 312" in taker.why
    assert hand.verdict(where, sequence) == []


def test_who_takes_waits_for_the_save_that_frees() -> None:
    """Where the holder boots with what is saved, it is the save that frees (H9)."""
    _, sequence = hand.safe(hand.chain(Saves.ON_SAVE))
    assert hand.step(sequence, K.SAVE, "b").id in hand.step(sequence, K.RENUMBER, "a/s").after


def test_one_save_frees_what_is_freed_together() -> None:
    """Two sources of b let go, each for another device: one save serves both takers."""
    boxes = {
        "a": Box(31, {"s": (311, True)}, wants={"s": (321, None)}),
        "b": Box(
            32,
            {"s": (321, True), "t": (322, True)},
            wants={"s": (325, None), "t": (326, None)},
            saves=Saves.ON_SAVE,
        ),
        "c": Box(33, {"s": (331, True)}, wants={"s": (322, None)}),
    }
    _, sequence = hand.safe(boxes)
    freeing = {
        name
        for taker in ("a/s", "c/s")
        for name in hand.step(sequence, K.RENUMBER, taker).after
        if next(s for s in sequence.steps if s.id == name).kind is K.SAVE
    }
    assert len(freeing) == 1


def test_a_device_that_frees_for_itself_needs_no_save_between() -> None:
    """It boots all at once; one save at the end does."""
    boxes = {
        "a": Box(
            31,
            {"s": (311, True), "t": (312, True)},
            wants={"s": (312, None), "t": (313, None)},
            saves=Saves.ON_SAVE,
        )
    }
    _, sequence = hand.safe(boxes)
    assert [s.kind for s in sequence.steps].count(K.SAVE) == 1


def test_who_takes_an_address_waits_for_the_confirm() -> None:
    """Not only for the readdress."""
    _, sequence = hand.safe(hand.readdress())
    assert hand.step(sequence, K.CONFIRM, "b").id in hand.step(sequence, K.READDRESS, "a").after


def test_a_listener_is_pointed_while_its_source_is_off() -> None:
    """After the source's disable, before its enable, in the source's phase."""
    boxes = hand.chain()
    boxes["c"].room = "south"
    where, sequence = hand.safe(boxes)
    repoint = hand.step(sequence, K.REPOINT, "c/in")
    before = hand.case(where, sequence).order.before
    assert before(hand.step(sequence, K.DISABLE, "a/s"), repoint)
    assert before(repoint, hand.step(sequence, K.ENABLE, "a/s"))
    assert repoint.phase == hand.step(sequence, K.ENABLE, "a/s").phase


def test_a_listener_leaves_before_another_comes_up() -> None:
    """b/s comes to 311, which c/in listened to for a/s: c/in has left first (H8)."""
    _, sequence = hand.safe(hand.ring())
    assert hand.step(sequence, K.REPOINT, "c/in").id in hand.step(sequence, K.ENABLE, "b/s").after


def test_a_listener_comes_after_who_must_not_be_heard_has_left() -> None:
    """c/in comes to 312 only when b/s has let go of it (H8)."""
    _, sequence = hand.safe(hand.ring())
    repoint = hand.step(sequence, K.REPOINT, "c/in")
    assert hand.step(sequence, K.RENUMBER, "b/s").id in repoint.after


def test_a_listener_asked_for_comes_when_its_source_is_there() -> None:
    """c/in is to listen to the joiner: it is pointed after the joiner has joined."""
    boxes = {
        "a": Box(31, {"s": (311, True)}),
        "c": Box(33, hears={"in": 311}, listens={"in": ListensTo(source=Ref("new", "s"))}),
        "new": Box(
            50,
            {"s": (1, True)},
            at="127.0.2.50",
            to=address(50),
            unit=Unit.FRESH,
            wants={"s": (501, True)},
        ),
    }
    where, sequence = hand.safe(boxes)
    repoint = hand.step(sequence, K.REPOINT, "c/in")
    confirm = hand.step(sequence, K.CONFIRM, "new")
    assert hand.case(where, sequence).order.before(confirm, repoint)
    assert "new/s is there" in repoint.why


def test_a_joining_listener_waits_for_who_it_must_not_hear() -> None:
    """The joiner points at 311 for b/s, which comes there; a/s, there now, has left first."""
    boxes = {
        "a": Box(31, {"s": (311, True)}, wants={"s": (315, None)}),
        "b": Box(32, {"s": (321, True)}, wants={"s": (311, None)}),
        "new": Box(
            50,
            hears={"in": None},
            at="127.0.2.50",
            to=address(50),
            unit=Unit.FRESH,
            listens={"in": ListensTo(source=Ref("b", "s"))},
        ),
    }
    where, sequence = hand.safe(boxes)
    join = hand.step(sequence, K.READDRESS, "new")
    gone = hand.step(sequence, K.RENUMBER, "a/s")
    assert hand.case(where, sequence).order.before(gone, join)


def test_who_asks_its_source_is_pointed_when_that_can_tell() -> None:
    """After the source's own renumber, before its enable; it is told whom to ask, and where."""
    boxes = {
        "a": Box(31, {"s": (311, True)}, wants={"s": (315, None)}),
        "ear": Box(33, hears={"in": 311}, asks_source=True, holds_sender=True),
    }
    where, sequence = hand.safe(boxes)
    pointed = hand.step(sequence, K.REPOINT, "ear/in")
    assert hand.step(sequence, K.RENUMBER, "a/s").id in pointed.after
    assert pointed.id in hand.step(sequence, K.ENABLE, "a/s").after
    assert pointed.origin == Origin("a", "s", address(31))
    assert hand.verdict(where, sequence) == []
    boxes["ear"].asks_source = False
    _, sequence = hand.safe(boxes)
    pointed = hand.step(sequence, K.REPOINT, "ear/in")
    assert hand.step(sequence, K.RENUMBER, "a/s").id not in pointed.after
    assert pointed.origin is None


def test_who_asks_a_source_that_moves_asks_it_where_it_is_then() -> None:
    """At the new address, after the confirm."""
    boxes = {
        "a": Box(31, {"s": (311, True)}, wants={"s": (315, None)}, to=address(41)),
        "ear": Box(33, hears={"in": 311}, asks_source=True, holds_sender=True),
    }
    _, sequence = hand.safe(boxes)
    pointed = hand.step(sequence, K.REPOINT, "ear/in")
    assert hand.step(sequence, K.CONFIRM, "a").id in pointed.after
    assert pointed.origin == Origin("a", "s", address(41))


def test_who_asks_on_a_bench_waits_for_nobody() -> None:
    """It is pointed before it joins, and asks where the source was found."""
    boxes = {
        "a": Box(31, {"s": (311, True)}, wants={"s": (315, None)}),
        "ear": Box(
            50,
            at="127.0.2.50",
            to=address(50),
            hears={"in": None},
            listens={"in": ListensTo(source=Ref("a", "s"))},
            unit=Unit.FRESH,
            asks_source=True,
            holds_sender=True,
        ),
    }
    _, sequence = hand.safe(boxes)
    pointed = hand.step(sequence, K.REPOINT, "ear/in")
    assert hand.step(sequence, K.RENUMBER, "a/s").id not in pointed.after
    assert pointed.origin == Origin("a", "s", address(31))
