from dataclasses import replace

import pytest

from orchestrator.facility.plan import ListensTo, Ref
from orchestrator.facility.step import Hearing, Sequence, StepKind
from orchestrator.facility.traits import Hears
from orchestrator.facility.wanted import Unit
from orchestrator.planning.proof.hearing import Hearings
from orchestrator.planning.scene import Scene
from tests.planning import hand
from tests.planning.scenes import Box, address, group, scene

K = StepKind


def _found(where: Scene, sequence: Sequence) -> list[tuple[str, str]]:
    return [
        (hazard.where[0], hazard.where[1])
        for hazard in Hearings(hand.case(where, sequence)).found()
    ]


def test_a_listener_that_follows_hears_nothing_wrong() -> None:
    """In the safe ring c/in stays with a/s, by number and by group."""
    for by, hears in ((Hears.NUMBER, 311), (Hears.GROUP, group(311))):
        boxes = hand.ring()
        boxes["c"] = Box(33, hears={"in": hears}, by=by)
        where, sequence = hand.safe(boxes)
        assert _found(where, sequence) == []


def test_a_listener_pointed_too_early_hears_who_is_still_there() -> None:
    """A repoint to 312 that does not wait for b/s, enabled there, is named with the repoint."""
    where, sequence = hand.safe(hand.ring())
    repoint = hand.step(sequence, K.REPOINT, "c/in")
    wrong = hand.changed(sequence, replace(repoint, after=()))
    assert _found(where, wrong) == [(repoint.id, "c/in")]


def test_a_listener_left_behind_hears_who_comes() -> None:
    """Without its repoint c/in hears b/s, which comes to 311."""
    where, sequence = hand.safe(hand.ring())
    wrong = hand.dropped(sequence, hand.step(sequence, K.REPOINT, "c/in"))
    assert _found(where, wrong) == [(hand.step(sequence, K.ENABLE, "b/s").id, "c/in")]


def test_a_source_that_stays_off_is_not_heard() -> None:
    """The rule counts enabled sources only: b/s, off for good, may come to 311."""
    boxes = hand.ring()
    boxes["b"].sources["s"] = (312, False)
    where, sequence = hand.safe(boxes)
    assert _found(where, hand.dropped(sequence, hand.step(sequence, K.REPOINT, "c/in"))) == []


def test_what_the_playbook_says_is_meant() -> None:
    """c/in goes from a/s to b/s because the playbook says so; nobody else may be heard."""
    boxes = {
        "a": Box(31, {"s": (311, True)}),
        "b": Box(32, {"s": (321, True)}),
        "c": Box(33, hears={"in": 311}, listens={"in": ListensTo(source=Ref("b", "s"))}),
    }
    where, sequence = hand.safe(boxes)
    assert _found(where, sequence) == []
    assert [name for _, name in _found(replace(where, asked={}), sequence)] == ["c/in"]


def test_a_number_means_whoever_holds_it_when_all_is_done() -> None:
    """c/in is asked onto 312: a/s, which ends there, may be heard; b/s, which leaves, may not."""
    boxes = hand.chain()
    boxes["c"] = Box(33, hears={"in": None}, listens={"in": ListensTo(number=312)})
    where, sequence = hand.safe(boxes)
    assert _found(where, sequence) == []
    repoint = hand.step(sequence, K.REPOINT, "c/in")
    assert _found(where, hand.changed(sequence, replace(repoint, after=()))) == [
        (repoint.id, "c/in")
    ]


def test_a_unit_on_the_bench_hears_nothing_of_the_facility() -> None:
    """A joiner pointed at 311 hears a/s from its readdress on, and that is not meant."""
    boxes = {
        "a": Box(31, {"s": (311, True)}),
        "new": Box(50, hears={"in": 311}, at="127.0.2.50", to=address(50), unit=Unit.FRESH),
    }
    where, sequence = hand.safe(boxes)
    assert _found(where, sequence) == []
    wrong = hand.dropped(sequence, hand.step(sequence, K.REPOINT, "new/in"))
    assert [name for _, name in _found(where, wrong)] == ["new/in"]


def test_a_listener_already_wrong_after_its_repoint_elsewhere_is_named_once() -> None:
    """One pair of listener and source is one finding, though they meet on number and group."""
    where, sequence = hand.safe(hand.ring())
    repoint = hand.step(sequence, K.REPOINT, "c/in")
    wrong = hand.changed(sequence, replace(repoint, wanted=Hearing(number=311)))
    assert len(_found(where, wrong)) == 1


@pytest.mark.parametrize("hears", [501, group(501)])
def test_a_unit_brings_what_it_holds_to_who_points_there(hears: int | str) -> None:
    """The joiner keeps 501 as found; c/in, which nobody writes, points there and heard nobody."""
    new = Box(50, {"s": (501, True)}, at="127.0.2.50", to=address(50), wants={"s": (501, True)})
    new.unit = Unit.REUSED
    _, sequence = hand.safe({"new": new})
    where = scene({"new": new, "c": Box(33, hears={"in": hears})})
    assert _found(where, sequence) == [(hand.step(sequence, K.ENABLE, "new/s").id, "c/in")]
