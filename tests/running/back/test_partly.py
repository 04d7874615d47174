"""A room taken back: its part of the run, and what would be left half-way without it."""

from dataclasses import replace

import pytest

from orchestrator.facility.found import Found
from orchestrator.facility.plan import ListensTo, Ref
from orchestrator.facility.step import StepKind
from orchestrator.facility.wanted import Unit
from orchestrator.planning.dry_run import dry_run
from orchestrator.running.back.partly import part_of
from orchestrator.running.back.undo import take_back, written_steps
from tests.planning.scenes import Box, scene
from tests.running.runs import after, planned, run

TWO_ROOMS = {
    "a": Box(31, {"s": (311, True)}, wants={"s": (312, None)}, room="north"),
    "b": Box(32, {"s": (312, True)}, wants={"s": (313, None)}, room="south"),
    "e": Box(34, {"s": (341, True)}, wants={"s": (342, None)}, room="south"),
    "d": Box(71, {}, {"own": 311, "in": 312, "out": 341}, room="rack"),
}


@pytest.mark.parametrize(
    ("room", "numbers"),
    [
        ("a", {"a": 311, "b": 313, "e": 342}),  # nobody needs what a gives back
        ("b", {"a": 311, "b": 312, "e": 342}),  # a holds what b has to get back
        ("e", {"a": 312, "b": 313, "e": 341}),
    ],
)
def test_the_rooms_part_and_whoever_is_in_the_way(room: str, numbers: dict[str, int]) -> None:
    """Nothing else is touched; listeners follow; it is proved."""
    before = scene(TWO_ROOMS)
    record, events, now = run(before)
    back = take_back(record, events, now, devices=frozenset({room}))
    way = dry_run(replace(before, found=now, asked=back.asked, phases=()))
    assert way.proved, way.hazards
    end = after(now, way.sequence.steps)
    found = {
        name: state.sources["s"].number
        for name in numbers
        if (state := end.state(name)) is not None
    }
    assert found == numbers
    listener = end.state("d")
    assert listener is not None
    assert listener.destinations["in"].hears == numbers["b"]
    assert listener.destinations["out"].hears == numbers["e"]


def test_what_was_begun_elsewhere_and_waits_is_taken_back_too() -> None:
    """Stopped anywhere: after it nothing is silent that was not, whatever the room."""
    before = scene(TWO_ROOMS)
    whole, _, _ = run(before)
    for count in range(1, len(whole.sequence.steps)):
        record, events, now = run(before, count)
        back = take_back(record, events, now, devices=frozenset({"a"}))
        way = dry_run(replace(before, found=now, asked=back.asked, phases=()))
        assert way.proved or not way.sequence.steps, (count, way.hazards)
        end = after(now, way.sequence.steps)
        for name in ("a", "b", "e"):
            state = end.state(name)
            assert state is not None
            assert state.sources["s"].enabled, (count, name)
        listener = end.state("d")
        assert listener is not None
        heard = {state.sources["s"].number for n in ("a", "b", "e") if (state := end.state(n))}
        assert {one.hears for one in listener.destinations.values()} == heard, count
        first = end.state("a")
        assert first is not None
        assert first.sources["s"].number == 311


def test_nothing_was_written_there() -> None:
    """A room that the run had not come to has no part."""
    record, events, _ = run(scene(TWO_ROOMS), 1)
    assert part_of(record, events, {}, {"a"}) == {}


LEAVING = {
    "a": Box(
        31,
        {"s": (311, True), "t": (313, True)},
        exact={"main": ("127.0.2.60", 24, None)},
        room="north",
    ),
    "b": Box(32, {"s": (312, True)}, {"in": 313}, wants={"s": (311, None)}, room="south"),
}


def test_who_has_come_to_the_number_of_a_device_that_comes_back() -> None:
    """It brings along what it held, so whoever holds that by now gives it back as well."""
    before = scene(LEAVING)
    record, events, now = run(before)
    back = take_back(record, events, now, devices=frozenset({"a"}))
    assert back.asked["b"].sources["s"].number == 312
    way = dry_run(replace(before, found=now, asked=back.asked, phases=()))
    assert way.proved, way.hazards


def test_whom_it_heard_is_on_a_bench_by_now() -> None:
    """A destination of the room stays where it points: nobody is heard on a bench."""
    before = scene(LEAVING)
    record, events, now = run(before)
    back = take_back(record, events, now, devices=frozenset({"b"}), away=frozenset({"a"}))
    listens = back.asked["b"].destinations["in"].listens_to
    assert listens is not None
    assert (listens.source, listens.number) == (None, 313)
    way = dry_run(replace(before, found=now, asked=back.asked, phases=()))
    assert way.proved, way.hazards


def test_a_pointer_is_not_put_back_where_somebody_has_come() -> None:
    """Before the run nobody was there: it would hear whom it never heard; and that is told."""
    heard = ListensTo(source=Ref("b", "t"))
    before = scene(
        {
            "a": Box(31, {"s": (311, True)}, wants={"s": (319, None)}, room="north"),
            "b": Box(32, {"t": (312, True)}, {"in": 319}, listens={"in": heard}, room="south"),
        }
    )
    record, events, now = run(before)
    back = take_back(record, events, now, devices=frozenset({"b"}))
    assert any("b/in keeps listening to b/t" in stays for stays in back.stays)


def test_who_has_come_to_where_a_device_pointed_that_comes_back() -> None:
    """It would hear somebody new as soon as it is back, so that number is given back as well."""
    before = scene(
        {
            "a": Box(31, {"s": (311, True)}, wants={"s": (319, None)}, room="north"),
            "b": Box(32, {}, {"in": 319}, exact={"main": ("127.0.2.60", 24, None)}, room="south"),
        }
    )
    record, events, now = run(before)
    back = take_back(record, events, now, devices=frozenset({"b"}))
    assert back.asked["a"].sources["s"].number == 311


def test_who_was_heard_is_on_a_bench_and_another_stays_where_it_was() -> None:
    """One of a mended duplicate has its number by now; the destination never heard that one."""
    before = scene(
        {
            "a": Box(
                31, {"s": (316, True)}, exact={"main": ("127.0.2.60", 24, None)}, room="north"
            ),
            "b": Box(
                32,
                {"s": (314, True), "t": (314, True)},
                {"in": 316},
                wants={"s": (316, None)},
                listens={"in": ListensTo(number=310)},
                room="south",
            ),
        }
    )
    record, events, now = run(before)
    back = take_back(record, events, now, devices=frozenset({"b"}), away=frozenset({"a"}))
    assert back.asked["b"].destinations["in"].listens_to == ListensTo(number=310)
    assert any("316, is held by b/s, which stays" in stays for stays in back.stays)
    way = dry_run(replace(before, found=now, asked=back.asked, phases=()))
    assert way.proved, way.hazards


JOINING = {
    "a": Box(31, {"s": (311, True)}, {"in": 311}, wants={"s": (312, None)}, room="north"),
    "fresh": Box(
        50,
        {"s": (301, True)},
        {"in": 311},
        at="127.0.2.50",
        to="127.44.3.50",
        wants={"s": (501, True)},
        room="south",
        unit=Unit.FRESH,
    ),
}


def test_a_pointer_of_the_bench_means_somebody_else_here() -> None:
    """Where its device stays on the network that it has joined, it stays with what it got."""
    before = scene(JOINING)
    record, events, now = run(before)
    back = take_back(record, events, now, devices=frozenset({"a"}))
    assert back.asked.keys() == {"a"}


def test_a_device_of_another_network_goes_back_whole() -> None:
    """What it held there may be somebody's here: it is taken there first, or keeps all."""
    boxes = {**JOINING, "a": Box(31, {"s": (501, True)}, wants={"s": (312, None)}, room="north")}
    before = scene(boxes)
    record, events, now = run(before)
    back = take_back(record, events, now, devices=frozenset({"a"}))
    assert back.asked["fresh"].exact == {"main": ("127.0.2.50", 24, None)}
    assert back.asked["fresh"].sources["s"].number == 301
    way = dry_run(replace(before, found=now, asked=back.asked, phases=()))
    assert way.proved, way.hazards


def test_who_has_joined_with_the_number_that_it_had() -> None:
    """No step gave it that number, but it is in the way of whoever had it here."""
    joins = Box(
        50,
        {"s": (311, True)},
        at="127.0.2.50",
        to="127.44.3.50",
        room="south",
    )
    leaves = Box(31, {"s": (311, True)}, wants={"s": (312, None)}, room="north")
    before = scene({"a": leaves, "joins": joins})
    record, events, now = run(before)
    back = take_back(record, events, now, devices=frozenset({"a"}))
    assert back.asked["joins"].exact == {"main": ("127.0.2.50", 24, None)}
    way = dry_run(replace(before, found=now, asked=back.asked, phases=()))
    assert way.proved, way.hazards


def test_who_followed_when_a_part_was_taken_back_goes_home_with_the_rest() -> None:
    """The run did not come to point it; the part taken back did: the way home is that part's.

    Where another hand has pointed it elsewhere since, that stays.
    """
    before = scene(
        {
            "a": Box(
                31,
                {"s": (315, True), "t": (311, True), "u": (312, True)},
                wants={"s": (312, None), "t": (321, None), "u": (313, None)},
                room="north",
            ),
            "b": Box(
                32,
                {"s": (313, True)},
                {"in": 311},
                wants={"s": (311, None)},
                listens={"in": ListensTo(source=Ref("a", "s"))},
                room="south",
            ),
        }
    )
    subjects = [(step.subject, step.kind) for step in planned(before).sequence.steps]
    record, events, now = run(before, subjects.index(("b/s", StepKind.RENUMBER)) + 1)
    assert "b/in" not in [step.subject for step in written_steps(record, events)]
    back = take_back(record, events, now, devices=frozenset({"b"}))
    part, done, then = run(replace(before, found=now, asked=back.asked, phases=()))
    listener = then.state("b")
    assert listener is not None
    assert listener.destinations["in"].hears == 321
    rest = take_back(record, events, then, parts=[(part, done)])
    assert after(then, planned(replace(before, found=then, asked=rest.asked)).sequence.steps) == (
        before.found
    )
    meddled = {"in": replace(listener.destinations["in"], hears=999)}
    entry = then.devices["b"]
    assert isinstance(entry, Found)
    other = replace(entry, state=replace(listener, destinations=meddled))
    seen = replace(then, devices={**then.devices, "b": other})
    asked = take_back(record, events, seen, parts=[(part, done)]).asked["b"]
    assert asked.destinations["in"].listens_to == ListensTo(number=999)


def test_who_got_a_number_of_its_own_with_a_part_gets_its_old_one_with_the_rest() -> None:
    """Of a duplicate's two holders, the other one is left out of the way once all is taken back."""
    before = scene(
        {
            "a": Box(
                31, {"s": (309, True)}, exact={"main": ("127.44.3.90", 24, None)}, room="north"
            ),
            "b": Box(
                32,
                {"s": (309, False)},
                {"in": 309},
                exact={"main": ("127.0.2.60", 24, None)},
                room="south",
            ),
        }
    )
    record, events, now = run(before)
    away = frozenset({"b"})
    back = take_back(record, events, now, devices=frozenset({"a"}), away=away)
    part, done, then = run(replace(before, found=now, asked=back.asked, phases=()))
    own = then.state("a")
    assert own is not None
    assert own.sources["s"].number not in {None, 309}
    rest = take_back(record, events, then, parts=[(part, done)], away=away)
    assert rest.asked["a"].sources["s"].number == 309
    end = after(then, planned(replace(before, found=then, asked=rest.asked)).sequence.steps)
    numbers = {name: state.sources["s"].number for name in "ab" if (state := end.state(name))}
    assert numbers["a"] == 309
    assert numbers["b"] != 309
