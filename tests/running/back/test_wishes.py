"""What is asked of the others where something can't go back; the rest is tried with undo itself."""

from collections.abc import Sequence
from dataclasses import replace

from orchestrator.facility.found import AsFound
from orchestrator.facility.plan import ListensTo, Ref
from orchestrator.facility.wanted import Auto
from orchestrator.planning.scene import Scene
from orchestrator.running.back.mended import Stay
from orchestrator.running.back.undo import take_back
from orchestrator.running.back.wishes import Wisher
from orchestrator.running.events import Event
from orchestrator.running.record import RunRecord
from tests.planning.scenes import Box, scene
from tests.running.runs import planned, run

NOBODY = {
    "a": Box(31, {"s": (308, True)}),
    "b": Box(32, {"s": (308, True)}, wants={"s": (311, None)}),
    "c": Box(33, {"s": (311, False)}, wants={"s": (Auto.UNASSIGNED, None)}),
}


def taken_back(boxes: dict[str, Box]) -> tuple[Scene, RunRecord, Sequence[Event], AsFound]:
    """A run of ``boxes``, done."""
    before = scene(boxes)
    return before, *run(before)


def test_a_destination_stays_where_the_run_pointed_it_if_whom_it_heard_has_no_number() -> None:
    """Mended, b keeps what c held, so c stays without a number, and nobody can listen to that."""
    boxes = {**NOBODY, "d": Box(34, hears={"in": 311}, listens={"in": ListensTo(number=341)})}
    before, record, events, now = taken_back(boxes)
    back = take_back(record, events, now)
    assert back.asked["d"].destinations["in"].listens_to == ListensTo(number=341)
    assert any(
        text.startswith("d/in keeps listening to 341") and "c/s, which has no number" in text
        for text in back.stays
    )
    assert planned(replace(before, found=now, asked=back.asked, phases=())).proved


def test_a_destination_that_the_run_left_alone_is_left_alone_then_too() -> None:
    """It points at what c held, where b is now, as the run has left it."""
    boxes = {**NOBODY, "d": Box(34, hears={"in": 311, "on": 308})}
    boxes["d"].listens["on"] = ListensTo(number=341)
    boxes["b"] = replace(boxes["b"], sources={"s": (308, False)})
    before, record, events, now = taken_back(boxes)
    back = take_back(record, events, now)
    assert back.asked["d"].destinations["in"].listens_to == ListensTo(number=311)
    assert planned(replace(before, found=now, asked=back.asked, phases=())).proved


def test_whom_it_hears_by_now_is_not_asked_for_on_a_bench() -> None:
    """It was pointed at a unit from the bench, which goes back there: it stays by number."""
    boxes = {
        "a": Box(31, {"s": (308, True), "t": (308, True)}, wants={"t": (311, None)}),
        "d": Box(34, hears={"in": 308}, listens={"in": ListensTo(source=Ref("new", "s"))}),
        "new": Box(
            50, {"s": (1, True)}, at="127.0.2.50", to="127.44.3.50", wants={"s": (501, True)}
        ),
    }
    before, record, events, now = taken_back(boxes)
    back = take_back(record, events, now, frozenset({"new"}))
    assert back.asked["d"].destinations["in"].listens_to == ListensTo(number=501)
    assert planned(replace(before, found=now, asked=back.asked, phases=())).proved


def test_nobody_is_given_a_number_that_is_held_or_to_be_held() -> None:
    """By anybody, now or before; by who stays; by who can't be reached."""
    _, record, _, now = taken_back(NOBODY)
    kept = {"b/s": Stay(355, "b/s goes on")}
    wisher = Wisher(
        record, now, kept, frozenset(), lines={}, lost={}, holds={"gone": (344, "239.1.1.1")}
    )
    assert {308, 311, 355, 344, "239.1.1.1"} <= wisher.avoids
    assert not {301, 310, 341} & wisher.avoids
