"""What is not taken back, one rule at a time."""

from orchestrator.facility.plan import ListensTo, Ref
from orchestrator.facility.wanted import Auto, Unit
from orchestrator.running.mended import stays
from orchestrator.running.undo import take_back
from tests.planning.scenes import Box, scene
from tests.running.runs import run

TWICE = {
    "a": Box(31, {"s": (308, True)}),
    "b": Box(32, {"s": (308, True)}, wants={"s": (311, None)}),
    "c": Box(33, {"s": (311, True)}, wants={"s": (312, None)}),
}


def test_who_is_in_the_way_stays_too() -> None:
    """B holds what c held, and keeps it; so c keeps what it has, and it is told why."""
    record, events, now = run(scene(TWICE))
    found = take_back(record, events, now)
    assert [words.partition(";")[0] for words in found.stays] == [
        "b/s keeps its new number",
        "c/s keeps its new number",
    ]
    assert "311, is held by b/s, which stays as it is" in found.stays[1]
    assert found.asked["c"].sources["s"].number is None


def test_nobody_stays_on_a_transit_number() -> None:
    """Half-way: what was a duplicate goes on to where it was to go, if that is vacant."""
    boxes = {
        "a": Box(31, {"s": (308, True), "t": (309, True)}, wants={"t": (308, None)}),
        "b": Box(32, {"s": (308, True)}, wants={"s": (309, None)}),
    }
    boxes["a"].wants["s"] = (310, None)
    record, events, now = run(scene(boxes))
    lent = [step for step in record.sequence.steps if getattr(step.wanted, "number", 0) == 2990]
    for count in range(1, len(record.sequence.steps)):
        record, events, now = run(scene(boxes), count)
        asked = take_back(record, events, now).asked
        for device, wish in asked.items():
            for name, source in wish.sources.items():
                state = now.state(device)
                assert state is not None
                on_transit = state.sources[name].number == 2990
                assert not on_transit or source.number is not None, (count, lent)


def test_what_comes_back_from_a_bench_gets_a_number_of_its_own() -> None:
    """It went with a number that another holds: it does not bring that back."""
    boxes = {
        "a": Box(31, {"s": (308, True)}),
        "b": Box(32, {"s": (308, True)}, exact={"main": ("127.0.2.60", 24, None)}, unit=Unit.KNOWN),
    }
    record, events, now = run(scene(boxes))
    asked = take_back(record, events, now).asked["b"].sources["s"]
    assert (asked.number, asked.enabled) == (Auto.AUTO, True)


def test_a_destination_that_heard_a_duplicate_stays_where_the_run_pointed_it() -> None:
    """Which of the two it meant was not known before, and is known now."""
    boxes = {
        "a": Box(31, {"s": (308, True)}),
        "b": Box(32, {"s": (308, True)}, wants={"s": (311, None)}),
        "c": Box(33, {}, {"in": 308}),
    }
    boxes["c"].listens["in"] = ListensTo(source=Ref("b", "s"))
    record, events, now = run(scene(boxes))
    found = take_back(record, events, now)
    assert found.asked["c"].destinations["in"].listens_to == ListensTo(source=Ref("b", "s"))
    assert any(words.startswith("c/in keeps listening to b/s") for words in found.stays)


def test_nothing_was_mended() -> None:
    """Then nothing stays."""
    record, _, now = run(scene({"a": Box(31, {"s": (311, True)}, wants={"s": (312, None)})}))
    assert stays(record, {}, now) == {}
