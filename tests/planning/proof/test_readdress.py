from dataclasses import replace

from orchestrator.facility.step import AddressValue, Assigned, Sequence, Step, StepKind
from orchestrator.facility.traits import Saves
from orchestrator.planning.proof.readdress import Readdresses
from orchestrator.planning.scene import Scene
from tests.planning import hand
from tests.planning.scenes import Box, address, group

K = StepKind


def _found(where: Scene, sequence: Sequence) -> set[tuple[str, str]]:
    return hand.said(list(Readdresses(hand.case(where, sequence)).found()))


def test_readdresses_in_order_are_fine() -> None:
    """A chain of addresses, an exchange through transit, and a join with and without a save."""
    for boxes in (
        hand.readdress(),
        hand.exchange(),
        hand.join(Saves.ON_SAVE),
        hand.join(Saves.AT_ONCE),
    ):
        assert _found(*hand.safe(boxes)) == set()


def test_h4_a_source_left_enabled() -> None:
    """Without its disable the source is enabled when the device moves."""
    where, sequence = hand.safe(hand.readdress())
    move = hand.step(sequence, K.READDRESS, "b")
    wrong = hand.dropped(sequence, hand.step(sequence, K.DISABLE, "b/s"))
    assert _found(where, wrong) == {("H4", move.id)}


def test_h4_a_switch_in_no_order_with_the_readdress() -> None:
    """An enable that may fall into the readdress is named."""
    where, sequence = hand.safe(hand.readdress())
    move = hand.step(sequence, K.READDRESS, "b")
    enable = hand.step(sequence, K.ENABLE, "b/s")
    off = hand.step(sequence, K.DISABLE, "b/s")
    wrong = hand.changed(sequence, replace(enable, after=(off.id,)))
    assert ("H4", move.id) in _found(where, wrong)


def test_h4_a_label_after_the_readdress() -> None:
    """A set that touches a source comes before the readdress."""
    where, sequence = hand.safe(hand.readdress())
    move = hand.step(sequence, K.READDRESS, "a")
    label = hand.step(sequence, K.SET, "a/s")
    confirm = hand.step(sequence, K.CONFIRM, "a")
    wrong = hand.waiting(hand.before(sequence, move, label), label, confirm)
    assert _found(where, wrong) == {("H4", move.id)}


def test_h4_a_renumber_after_the_readdress() -> None:
    """A renumber follows the readdress only on a bench."""
    boxes = hand.readdress()
    boxes["a"].wants["s"] = (318, None)
    where, sequence = hand.safe(boxes)
    renumber = hand.step(sequence, K.RENUMBER, "a/s")
    move, confirm = (hand.step(sequence, kind, "a") for kind in (K.READDRESS, K.CONFIRM))
    wrong = hand.waiting(hand.before(sequence, move, renumber), renumber, confirm)
    assert _found(where, wrong) == {("H4", move.id)}


def test_h4_a_renumber_follows_a_leave_for_the_bench() -> None:
    """What stands on a bench holds nothing of the facility, so it may be numbered there."""
    boxes = {
        "a": Box(
            31,
            {"s": (311, False)},
            exact={"main": ("127.0.2.31", 24, None)},
            wants={"s": (9, None)},
        )
    }
    where, sequence = hand.safe(boxes)
    move = hand.step(sequence, K.READDRESS, "a")
    renumber = hand.step(sequence, K.RENUMBER, "a/s")
    assert move.order < renumber.order
    assert _found(where, sequence) == set()


def test_h4_nothing_is_enabled_at_a_transit_address() -> None:
    """An enable between the way out and the way home is named."""
    where, sequence = hand.safe(hand.exchange())
    out = next(
        s
        for s in sequence.steps
        if isinstance(s.wanted, AddressValue) and s.wanted.address == "127.44.3.230"
    )
    confirm = hand.step(sequence, K.CONFIRM, out.device)
    enable = hand.step(sequence, K.ENABLE, f"{out.device}/s")
    wrong = hand.changed(sequence, replace(enable, after=(confirm.id,)))
    hazards = list(Readdresses(hand.case(where, wrong)).found())
    assert ("H4", enable.id) in hand.said(hazards)
    assert any("transit address" in hazard.what for hazard in hazards)


def test_h5_a_readdress_without_confirm() -> None:
    """A readdress that nobody confirms is named."""
    where, sequence = hand.safe(hand.readdress())
    wrong = hand.dropped(sequence, hand.step(sequence, K.CONFIRM, "a"))
    assert _found(where, wrong) == {("H5", hand.step(sequence, K.READDRESS, "a").id)}


def test_h5_a_confirm_somewhere_else_is_none() -> None:
    """A confirm at another address than the readdress's does not count."""
    where, sequence = hand.safe(hand.readdress())
    confirm = hand.step(sequence, K.CONFIRM, "a")
    other = AddressValue("main", address(99), 24, None)
    wrong = hand.changed(sequence, replace(confirm, wanted=other))
    assert ("H5", hand.step(sequence, K.READDRESS, "a").id) in _found(where, wrong)


def test_h5_a_confirm_before_the_readdress_is_none() -> None:
    """A confirm that does not wait for the readdress does not count."""
    where, sequence = hand.safe(hand.readdress())
    confirm = hand.step(sequence, K.CONFIRM, "a")
    wrong = hand.changed(sequence, replace(confirm, after=()))
    assert ("H5", hand.step(sequence, K.READDRESS, "a").id) in _found(where, wrong)


def test_h9_a_joining_unit_saves_before_it_joins() -> None:
    """Without the save a power cycle would bring the bench's numbers into the facility."""
    where, sequence = hand.safe(hand.join())
    move = hand.step(sequence, K.READDRESS, "new")
    save = hand.step(sequence, K.SAVE, "new")
    assert save.order < move.order
    assert _found(where, hand.dropped(sequence, save)) == {("H9", move.id)}


def test_h9_a_unit_that_saves_at_once_needs_no_save() -> None:
    """No save is planned, and none is asked for."""
    where, sequence = hand.safe(hand.join(Saves.AT_ONCE))
    assert not [step for step in sequence.steps if step.kind is K.SAVE]
    assert _found(where, sequence) == set()


def test_a_second_readdress_is_no_offence_of_its_own() -> None:
    """Out of transit a readdress follows a readdress; each is confirmed by its own confirm."""
    where, sequence = hand.safe(hand.exchange())
    moved = [s.device for s in sequence.steps if s.kind is K.READDRESS]
    twice = next(name for name in moved if moved.count(name) == 2)
    confirms = [s for s in sequence.steps if s.kind is K.CONFIRM and s.device == twice]
    assert len(confirms) == 2
    wrong = hand.dropped(sequence, confirms[0])
    assert {rule for rule, _ in _found(where, wrong)} == {"H5"}


def test_a_renumber_put_behind_by_hand() -> None:
    """A renumber added after the confirm, by another hand, is named with the readdress."""
    where, sequence = hand.safe(hand.readdress())
    confirm = hand.step(sequence, K.CONFIRM, "b")
    extra = Step(
        id="s99",
        kind=K.RENUMBER,
        device="b",
        at=confirm.at,
        as_found=Assigned(321, (group(321),)),
        wanted=Assigned(329, (group(329),)),
        source="s",
        after=(confirm.id,),
    )
    wrong = replace(sequence, steps=(*sequence.steps, extra))
    assert _found(where, wrong) == {("H4", hand.step(sequence, K.READDRESS, "b").id)}
