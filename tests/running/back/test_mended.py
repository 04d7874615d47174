"""What is not taken back, one rule at a time."""

from dataclasses import replace

import pytest

from orchestrator.facility.found import AsFound, Found
from orchestrator.facility.plan import ListensTo, Ref
from orchestrator.facility.wanted import Auto, Unit
from orchestrator.planning.result import DryRun
from orchestrator.running.back.mended import stays
from orchestrator.running.back.undo import take_back
from tests.planning.scenes import NUMBERING, Box, scene
from tests.running.runs import after, planned, run

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


def test_its_number_of_its_own_is_nobody_elses() -> None:
    """The first of its block is held by c, the second c gets back: it takes neither."""
    boxes = {
        "a": Box(31, {"s": (308, True)}),
        "b": Box(32, {"s": (308, True)}, to="127.44.3.40", wants={"s": (331, None)}),
        "c": Box(33, {"s": (322, True), "t": (301, True)}, wants={"s": (321, None)}),
    }
    before = scene(boxes)
    record, events, now = run(before)
    back = take_back(record, events, now)
    assert back.asked["b"].sources["s"].number is Auto.AUTO
    way = planned(replace(before, found=now, asked=back.asked, phases=()))
    assert number_after(now, way, "b") == 323


@pytest.mark.parametrize("hears", [321, NUMBERING.group(321)])
def test_its_number_of_its_own_is_none_that_somebody_points_at(hears: int | str) -> None:
    """H8: what points at nobody would hear it; the next of its block is vacant, too."""
    boxes = {
        "a": Box(31, {"s": (308, True)}),
        "b": Box(32, {"s": (308, True)}, to="127.44.3.40", wants={"s": (331, None)}),
        "d": Box(34, {"s": (341, True)}, {"in": hears}, wants={"s": (342, None)}),
    }
    before = scene(boxes)
    record, events, now = run(before)
    back = take_back(record, events, now)
    assert back.asked["b"].sources["s"].number is Auto.AUTO
    way = planned(replace(before, found=now, asked=back.asked, phases=()))
    assert number_after(now, way, "b") == 322


def test_of_a_duplicate_the_one_goes_back_for_whom_fewest_others_stay() -> None:
    """B back on 308 lets c go back to 311; with a back there, b would hold that."""
    boxes = {
        "a": Box(31, {"s": (308, True)}, wants={"s": (309, None)}),
        "b": Box(32, {"s": (308, True)}, wants={"s": (311, None)}),
        "c": Box(33, {"s": (311, True)}, wants={"s": (312, None)}),
    }
    before = scene(boxes)
    record, events, now = run(before)
    back = take_back(record, events, now)
    assert [words.partition(";")[0] for words in back.stays] == ["a/s keeps its new number"]
    way = planned(replace(before, found=now, asked=back.asked, phases=()))
    held = {name: number_after(now, way, name) for name in boxes}
    assert held == {"a": 309, "b": 308, "c": 311}


def number_after(now: AsFound, way: DryRun, device: str) -> int | None:
    """The number of the source s of a device once ``way`` is done."""
    entry = after(now, way.sequence.steps).devices[device]
    assert isinstance(entry, Found)
    return entry.state.sources["s"].number


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


@pytest.mark.parametrize(("heard", "number"), [(True, 314), (False, None)])
def test_a_mend_that_a_power_cycle_undid(*, heard: bool, number: int | None) -> None:
    """Who was pointed along would hear nobody: it is made again. Else all is as it was before."""
    listens = {"in": ListensTo(source=Ref("a", "s"))}
    boxes = {
        "a": Box(31, {"s": (313, True), "t": (313, True)}, wants={"s": (314, None)}),
        "b": Box(32, hears={"in": 313}, listens=listens) if heard else Box(32),
    }
    before = scene(boxes)
    record, events, now = run(before)
    back_again = replace(now, devices={**now.devices, "a": before.found.devices["a"]})
    back = take_back(record, events, back_again)
    assert back.asked["a"].sources["s"].number == number
    made = replace(before, found=back_again, asked=back.asked, phases=())
    end = after(back_again, planned(made).sequence.steps)
    assert end == (now if heard else before.found)
