from collections.abc import Callable
from dataclasses import replace

import pytest

from orchestrator.facility.hazard import Grade
from orchestrator.facility.plan import Ref
from orchestrator.facility.step import Sequence, StepKind
from orchestrator.facility.traits import Saves
from tests.planning import hand
from tests.planning.scenes import Box

K = StepKind


@pytest.mark.parametrize(
    "boxes",
    [hand.chain, hand.ring, hand.readdress, hand.exchange, hand.join],
    ids=lambda f: f.__name__,
)
def test_a_safe_sequence_proves(boxes: Callable[[], dict[str, Box]]) -> None:
    """Chain, ring, readdress, exchange of addresses and join each prove, in one phase or two."""
    where, sequence = hand.safe(boxes())
    assert hand.verdict(where, sequence) == []
    assert hand.verdict(where, hand.one_phase(sequence)) == []


def test_h1_taking_a_number_before_it_is_free() -> None:
    """H1: a renumber that no longer waits for the number's holder is named."""
    where, sequence = hand.safe(hand.chain())
    taker = hand.step(sequence, K.RENUMBER, "a/s")
    wrong = hand.alone(sequence, "a")
    assert hand.said(hand.verdict(where, wrong)) == {("H1", taker.id)}


def test_h2_taking_an_address_before_it_is_free() -> None:
    """H2: a readdress that waits for the holder's readdress, but not its confirm, is named."""
    where, sequence = hand.safe(hand.readdress())
    taker = hand.step(sequence, K.READDRESS, "a")
    wrong = hand.apart(sequence, hand.step(sequence, K.CONFIRM, "b"), taker)
    left = hand.step(sequence, K.READDRESS, "b")
    wrong = hand.waiting(wrong, taker, left)
    assert hand.said(hand.verdict(where, wrong)) == {("H2", taker.id)}


def test_h3_renumbering_while_enabled() -> None:
    """H3: a renumber before its source's disable is named."""
    where, sequence = hand.safe(hand.chain())
    renumber = hand.step(sequence, K.RENUMBER, "b/s")
    wrong = hand.before(sequence, renumber, hand.step(sequence, K.DISABLE, "b/s"))
    assert ("H3", renumber.id) in hand.said(hand.verdict(where, wrong))


def test_h4_readdressing_while_enabled() -> None:
    """H4: a readdress before the device's disable is named."""
    where, sequence = hand.safe(hand.readdress())
    move = hand.step(sequence, K.READDRESS, "b")
    wrong = hand.before(sequence, move, hand.step(sequence, K.DISABLE, "b/s"))
    assert ("H4", move.id) in hand.said(hand.verdict(where, wrong))


def test_h5_enabling_before_the_confirm() -> None:
    """H5: an enable that does not wait for the confirm of the readdress is named."""
    where, sequence = hand.safe(hand.readdress())
    move, confirm = (hand.step(sequence, kind, "b") for kind in (K.READDRESS, K.CONFIRM))
    enable = hand.step(sequence, K.ENABLE, "b/s")
    wrong = hand.changed(sequence, replace(enable, after=(move.id,)))
    assert hand.said(hand.verdict(where, wrong)) == {("H5", move.id)}
    assert confirm.id in hand.verdict(where, wrong)[0].what


def test_h6_interrupting_what_is_on_air() -> None:
    """H6: switching off a source that feeds an on-air destination is named."""
    where, sequence = hand.safe(hand.ring())
    verdict = hand.verdict(hand.on_air(where, Ref("c", "in")), sequence)
    assert ("H6", hand.step(sequence, K.DISABLE, "a/s").id) in hand.said(verdict)
    assert {hazard.rule for hazard in verdict} == {"H6"}


def test_h7_writing_over_what_was_not_expected() -> None:
    """H7: a step that expects what will not be there is named."""
    where, sequence = hand.safe(hand.chain())
    renumber = hand.step(sequence, K.RENUMBER, "b/s")
    wrong = hand.changed(sequence, replace(renumber, as_found=renumber.wanted))
    assert hand.said(hand.verdict(where, wrong)) == {("H7", renumber.id)}


def test_h8_enabling_on_a_number_that_another_listens_to() -> None:
    """H8: b/s comes up on 311 while c/in, which heard a/s there, still points at 311."""
    where, sequence = hand.safe(hand.ring())
    enable = hand.step(sequence, K.ENABLE, "b/s")
    wrong = hand.apart(sequence, hand.step(sequence, K.REPOINT, "c/in"), enable)
    assert hand.said(hand.verdict(where, wrong)) == {("H8", enable.id)}


def test_h9_taking_what_a_power_cycle_would_bring_back() -> None:
    """H9: a renumber that waits for the holder's renumber, but not its save, is named."""
    where, sequence = hand.safe(hand.chain(Saves.ON_SAVE))
    taker = hand.step(sequence, K.RENUMBER, "a/s")
    freeing = hand.step(sequence, K.RENUMBER, "b/s")
    wrong = hand.waiting(hand.alone(sequence, "a"), taker, freeing)
    assert hand.said(hand.verdict(where, wrong)) == {("H9", taker.id)}


def test_every_finding_stops_and_no_sequence_is_nothing_to_say() -> None:
    """A broken rule always stops; an empty sequence breaks none."""
    where, sequence = hand.safe(hand.ring())
    renumbers = [s for s in sequence.steps if s.kind is K.RENUMBER]
    found = hand.verdict(where, replace(sequence, steps=tuple(renumbers)))
    assert found
    assert all(h.grade is Grade.STOPS and h.name.startswith("unsafe:") for h in found)
    assert len(found) == len(set(found))
    assert hand.verdict(where, Sequence(steps=())) == []


def test_a_sequence_that_is_no_order_is_refused_at_once() -> None:
    """Steps in a circle are one finding, which names a step of the circle."""
    where, sequence = hand.safe(hand.chain())
    first = hand.step(sequence, K.DISABLE, "b/s")
    last = hand.step(sequence, K.ENABLE, "b/s")
    found = hand.verdict(where, hand.changed(sequence, replace(first, after=(last.id,))))
    assert [hazard.rule for hazard in found] == ["order"]
