from dataclasses import replace

from orchestrator.facility.numbering import NumberRange
from orchestrator.facility.step import Assigned, Sequence, StepKind
from orchestrator.facility.traits import Saves
from orchestrator.planning.proof.things import Things
from orchestrator.planning.scene import Scene
from tests.planning import hand
from tests.planning.scenes import MEDIA, NUMBERING, Box, address, group

K = StepKind


def _found(where: Scene, sequence: Sequence) -> list[tuple[str, ...]]:
    return sorted(
        (hazard.rule, *hazard.where) for hazard in Things(hand.case(where, sequence)).found()
    )


def test_nothing_is_held_twice_in_safe_sequences() -> None:
    """Chain, ring, readdress, exchange and join: nothing to say."""
    for boxes in (hand.chain(), hand.ring(), hand.readdress(), hand.exchange(), hand.join()):
        assert _found(*hand.safe(boxes)) == []


def test_a_bystander_keeps_its_number() -> None:
    """a/s takes 312 from b/s, which the (wrong) sequence never renumbers."""
    where, sequence = hand.safe(hand.chain())
    wrong = replace(sequence, steps=tuple(s for s in sequence.steps if s.device == "a"))
    wrong = hand.alone(wrong, "a")
    taker = hand.step(wrong, K.RENUMBER, "a/s")
    assert set(_found(where, wrong)) == {("H1", taker.id, "b/s")}


def test_two_takers_of_one_vacant_number() -> None:
    """320 is nobody's, but two renumbers take it."""
    where, sequence = hand.safe(hand.chain())
    renumber = hand.step(sequence, K.RENUMBER, "a/s")
    wrong = hand.changed(sequence, replace(renumber, wanted=Assigned(320, (group(320),))))
    assert ("H1", renumber.id, "b/s") in _found(where, wrong)


def test_a_group_alone_can_be_held_twice() -> None:
    """a/s keeps to its number, but streams to the group that b/s has."""
    where, sequence = hand.safe(hand.chain())
    renumber = hand.step(sequence, K.RENUMBER, "a/s")
    odd = hand.changed(sequence, replace(renumber, wanted=Assigned(312, (group(320),))))
    hazards = list(Things(hand.case(where, odd)).found())
    assert [h.rule for h in hazards] == ["H1"]
    assert f"group {group(320)} on media" in hazards[0].what


def test_a_duplicate_that_was_there_is_not_our_doing() -> None:
    """a/s and b/s hold 311; a/s leaves. Who comes to 311 has to wait for both to be gone."""
    boxes = {
        "a": Box(31, {"s": (311, True)}, wants={"s": (315, None)}),
        "b": Box(32, {"s": (311, True)}),
        "c": Box(33, {"s": (331, True)}),
    }
    where, sequence = hand.safe(boxes)
    assert _found(where, sequence) == []
    boxes["b"].wants["s"] = (325, None)
    boxes["c"].wants["s"] = (311, None)
    where, sequence = hand.safe(boxes)
    assert _found(where, sequence) == []
    taker = hand.step(sequence, K.RENUMBER, "c/s")
    for name in ("a/s", "b/s"):
        wrong = hand.alone(sequence, "c")
        kept = [s for s in ("a/s", "b/s") if s != name]
        wrong = hand.waiting(wrong, taker, *[hand.step(sequence, K.RENUMBER, s) for s in kept])
        assert set(_found(where, wrong)) == {("H1", taker.id, name)}


def test_going_back_to_a_duplicate_is_spreading_it() -> None:
    """Who has let go of a number with two holders may not come back while the other is there."""
    boxes = {
        "a": Box(31, {"s": (311, False)}, wants={"s": (315, None)}),
        "b": Box(32, {"s": (311, True)}),
    }
    where, sequence = hand.safe(boxes)
    away = hand.step(sequence, K.RENUMBER, "a/s")
    back = replace(away, id="back", after=(away.id,), as_found=away.wanted, wanted=away.as_found)
    wrong = replace(sequence, steps=(*sequence.steps, back))
    assert set(_found(where, wrong)) == {("H1", "back", "b/s")}


def test_h9_a_save_before_the_renumber_saves_nothing() -> None:
    """The save has to come after the renumber that lets go, and before the taker."""
    where, sequence = hand.safe(hand.chain(Saves.ON_SAVE))
    save = hand.step(sequence, K.SAVE, "b")
    freeing = hand.step(sequence, K.RENUMBER, "b/s")
    taker = hand.step(sequence, K.RENUMBER, "a/s")
    wrong = hand.before(hand.waiting(sequence, taker, freeing), save, freeing)
    assert set(_found(where, wrong)) == {("H9", taker.id, "b/s")}
    (what, _) = [hazard.what for hazard in Things(hand.case(where, wrong)).found()]
    assert what.endswith("before b/s has surely let go of it and saved it")


def test_h9_an_address_is_saved_too_before_another_takes_it() -> None:
    """Device b boots at its old address until it has saved its new one."""
    boxes = hand.readdress()
    boxes["b"].saves = Saves.ON_SAVE
    where, sequence = hand.safe(boxes)
    taker = hand.step(sequence, K.READDRESS, "a")
    confirm = hand.step(sequence, K.CONFIRM, "b")
    wrong = hand.waiting(hand.alone(sequence, "a"), taker, confirm)
    assert _found(where, wrong) == [("H9", taker.id, "b")]


def test_within_one_device_no_save_is_needed() -> None:
    """A unit boots all at once: its own sources may pass a number on without a save."""
    boxes = {
        "a": Box(
            31,
            {"s": (311, True), "t": (312, True)},
            wants={"s": (312, None), "t": (313, None)},
            saves=Saves.ON_SAVE,
        )
    }
    where, sequence = hand.safe(boxes)
    assert _found(where, sequence) == []
    saves = [s for s in sequence.steps if s.kind is K.SAVE]
    assert len(saves) == 1
    assert saves[0].order == len(sequence.steps)
    s, t = (hand.step(sequence, K.RENUMBER, f"a/{name}") for name in "st")
    assert {rule for rule, *_ in _found(where, hand.apart(sequence, t, s))} == {"H1"}


def test_an_absent_device_never_lets_go() -> None:
    """A readdress onto the address of a device that did not answer is named."""
    where, sequence = hand.safe({**hand.readdress(), "gone": Box(61, absent=True)})
    gone = hand.with_device(
        where,
        "gone",
        interfaces=(replace(where.plan.devices["gone"].interfaces[0], address=address(40)),),
    )
    assert _found(gone, sequence) == [("H2", hand.step(sequence, K.READDRESS, "b").id, "gone")]


def test_an_address_left_without_confirm_is_never_free() -> None:
    """Nothing proves that b has moved, so a may not take its address."""
    where, sequence = hand.safe(hand.readdress())
    wrong = hand.dropped(sequence, hand.step(sequence, K.CONFIRM, "b"))
    (hazard,) = Things(hand.case(where, wrong)).found()
    assert (hazard.rule, hazard.where) == ("H2", (hand.step(wrong, K.READDRESS, "a").id, "b"))
    assert hazard.what.endswith("let go of it")


def test_a_number_lent_many_times_is_held_in_turn() -> None:
    """Six rings borrow one transit number one after another; any two out of turn are told."""
    boxes = {}
    for ring in range(6):
        one, other = 311 + 2 * ring, 312 + 2 * ring
        sources = {"x": (one, True), "y": (other, True)}
        wants = {"x": (other, None), "y": (one, None)}
        boxes[f"d{ring}"] = Box(31 + ring, sources=dict(sources), wants=dict(wants))
    media = replace(MEDIA, numbering=replace(NUMBERING, transit=NumberRange(2990, 2990)))
    where, sequence = hand.safe(boxes, media=media)
    assert _found(where, sequence) == []
    loans = [s for s in sequence.steps if s.kind is K.RENUMBER and str(s.wanted) == "2990"]
    homes = {s.id for s in sequence.steps if s.kind is K.RENUMBER and str(s.as_found) == "2990"}
    assert len(loans) == len(homes) == 6
    for loan in loans[1:]:
        early = replace(loan, after=tuple(name for name in loan.after if name not in homes))
        assert ("H1", loan.id) in {one[:2] for one in _found(where, hand.changed(sequence, early))}
