"""Taking a run back: asked for, planned and done, everything is as it was before."""

import random
from dataclasses import replace

import pytest

from orchestrator.facility.found import AsFound, Found
from orchestrator.facility.plan import ListensTo, Ref
from orchestrator.facility.step import StepKind
from orchestrator.facility.traits import Saves
from orchestrator.facility.wanted import Auto, Unit
from orchestrator.planning.dry_run import dry_run
from orchestrator.planning.result import DryRun
from orchestrator.planning.scene import Scene
from orchestrator.running.back.undo import TakeBack, addresses, take_back, written_steps
from orchestrator.running.events import Event, Failed, Failure, Intended, Proved
from tests.planning.scenes import Box, random_boxes, scene
from tests.running.runs import after, planned, run


def swap() -> dict[str, Box]:
    """a/s and b/s exchange their numbers; c/in listens to a/s."""
    return {
        "a": Box(31, {"s": (311, True)}, wants={"s": (411, None)}, saves=Saves.ON_SAVE),
        "b": Box(41, {"s": (411, True)}, wants={"s": (311, None)}),
        "c": Box(71, {}, {"in": 311}),
    }


def taken_back(before: Scene, record_to: int | None = None) -> AsFound:
    """The survey after a run of ``before`` (its first steps) was taken back."""
    record, events, now = run(before, record_to)
    back = take_back(record, events, now)
    assert back.hazards == ()
    plan = planned(replace(before, found=now, asked=back.asked, phases=()))
    return after(now, plan.sequence.steps)


def test_a_finished_run() -> None:
    """Numbers, switches and pointers are those of the survey before it."""
    before = scene(swap())
    assert taken_back(before) == before.found


@pytest.mark.parametrize("count", range(1, 11))
def test_a_half_done_run(count: int) -> None:
    """So it is after any number of steps."""
    before = scene(swap())
    assert taken_back(before, count) == before.found


def taken_back_at_random(seed: int) -> bool:
    """Take a random run back, whole and half-way; False where there is no such run to make."""
    boxes = {name: box for name, box in random_boxes(seed).items() if box.unit is Unit.KNOWN}
    before = scene(boxes)
    plan = dry_run(before)
    if plan.stopped or plan.mended or not plan.sequence.steps:
        return False
    half = random.Random(seed).randrange(len(plan.sequence.steps))
    for count in (None, half):
        found = taken_back(before, count)
        for device, entry in before.found.devices.items():
            assert found.devices[device] == entry, (seed, count, device)
    return True


def test_random_runs() -> None:
    """So it is for random facilities, whole and half-way (a mended fault stays mended)."""
    assert sum(taken_back_at_random(seed) for seed in range(120)) > 60


def test_nothing_was_written() -> None:
    """A run that stopped before its first write asks for nothing."""
    record, _, now = run(scene(swap()), 0)
    assert take_back(record, (), now).asked == {}


def test_what_was_so_already_is_left_alone() -> None:
    """A step that was found done wrote nothing, so there is nothing of it to take back."""
    record, _, _ = run(scene(swap()))
    first = record.sequence.steps[0]
    assert written_steps(record, [Intended(first.id), Proved(first.id, already=True)]) == ()
    assert written_steps(record, [Intended(first.id), Proved(first.id)]) == (first,)


def test_what_may_have_landed_is_taken_back() -> None:
    """A write in doubt counts as written; one that was surely refused does not."""
    record, _, _ = run(scene(swap()))
    first = record.sequence.steps[0].id
    doubt: list[Event] = [Intended(first), Failed(first, Failure.UNKNOWN, "", unsure=True)]
    assert [step.id for step in written_steps(record, doubt)] == [first]
    refused: list[Event] = [Intended(first), Failed(first, Failure.REJECTED, "no")]
    assert written_steps(record, refused) == ()


def test_a_mended_fault_stays_mended_by_name() -> None:
    """The number that two held is not given back to the one that was moved off it."""
    boxes = {
        "a": Box(31, {"s": (311, True)}),
        "b": Box(41, {"s": (311, True)}, wants={"s": (411, None)}),
    }
    before = scene(boxes)
    record, events, now = run(before)
    back = take_back(record, events, now)
    (stays,) = back.stays
    assert stays.startswith("b/s keeps its new number; its old one, 311, was a duplicate")
    asked = back.asked["b"].sources["s"]
    assert (asked.number, asked.enabled) == (None, True)


def test_where_both_were_moved_one_goes_back() -> None:
    """Alone on its number it is no duplicate."""
    boxes = {
        "a": Box(31, {"s": (311, True)}, wants={"s": (312, None)}),
        "b": Box(41, {"s": (311, True)}, wants={"s": (411, None)}),
    }
    record, events, now = run(scene(boxes))
    back = take_back(record, events, now)
    assert len(back.stays) == 1
    numbers = [back.asked[name].sources["s"].number for name in ("a", "b")]
    assert sorted(numbers, key=str) == [311, None]


def test_another_hand_is_asked_about() -> None:
    """A value that is neither what the run wrote nor what was there before needs a name."""
    record, events, now = run(scene(swap()))
    entry = now.devices["a"]
    assert isinstance(entry, Found)
    source = replace(entry.state.sources["s"], number=399, groups=("239.194.1.143:5004",))
    state = replace(entry.state, sources={"s": source})
    meddled = replace(now, devices={**now.devices, "a": replace(entry, state=state)})
    (hazard,) = take_back(record, events, meddled).hazards
    assert hazard.name == "changed-since:a/s:renumber"
    assert hazard.blocks
    assert "399" in hazard.what


def test_a_device_may_be_at_either_end_of_its_move() -> None:
    """All addresses that it had are looked at."""
    boxes = {"a": Box(31, {"s": (311, True)}, to="127.44.3.99")}
    record, events, now = run(scene(boxes))
    assert addresses(record) == {"a": ("127.44.3.31", "127.44.3.99")}
    back = take_back(record, events, now)
    assert back.asked["a"].exact == {"main": ("127.44.3.31", 24, "127.44.3.254")}


def test_a_listener_goes_back_with_its_source() -> None:
    """What it heard is asked for by the source, so that it is pointed where that will be."""
    record, events, now = run(scene(swap()))
    asked = take_back(record, events, now).asked["c"].destinations["in"]
    assert asked.listens_to == ListensTo(source=Ref("a", "s"))


def test_a_unit_goes_back_to_the_bench() -> None:
    """Its factory numbers and address are asked for again, switches included."""
    boxes = {
        "new": Box(
            50,
            {"s": (1, True), "t": (2, True)},
            at="127.0.2.50",
            to="127.44.3.50",
            unit=Unit.FRESH,
            wants={"s": (501, True)},
        )
    }
    before = scene(boxes)
    assert taken_back(before) == before.found


def test_who_stood_on_the_bench_was_heard_by_nobody() -> None:
    """A factory number that is also a live one is no reason to ask for the unit on the bench."""
    boxes = {
        "a": Box(31, {"s": (311, True)}, wants={"s": (312, None)}),
        "c": Box(33, {}, {"in": 311}),
        "new": Box(
            50, {"s": (311, False)}, at="127.0.2.50", to="127.44.3.50", wants={"s": (501, True)}
        ),
    }
    record, events, now = run(scene(boxes))
    asked = take_back(record, events, now, frozenset({"new"})).asked["c"].destinations["in"]
    assert asked.listens_to == ListensTo(source=Ref("a", "s"))


def test_a_listener_follows_who_can_not_get_its_number_back() -> None:
    """The mended b/s keeps 321, so c/s stays on 331, and d, which heard it, hears it there."""
    boxes = {
        "a": Box(31, {"s": (311, True)}),
        "b": Box(32, {"s": (311, True)}, wants={"s": (321, None)}),
        "c": Box(33, {"s": (321, True)}, wants={"s": (331, None)}),
        "d": Box(34, hears={"in": 321}),
    }
    before = scene(boxes)
    record, events, now = run(before)
    back = take_back(record, events, now)
    assert back.asked["d"].destinations["in"].listens_to == ListensTo(source=Ref("c", "s"))
    done = after(now, planned_back(before, now, back).sequence.steps)
    entry = done.devices["d"]
    assert isinstance(entry, Found)
    assert entry.state.destinations["in"].hears == 331


def test_a_pointer_at_what_another_keeps_is_not_put_back() -> None:
    """It pointed at 321, where nobody was; the mended b/s keeps that, and d never heard it."""
    boxes = {
        "a": Box(31, {"s": (311, True)}),
        "b": Box(32, {"s": (311, True)}, wants={"s": (321, None)}),
        "d": Box(34, hears={"in": 321}, listens={"in": ListensTo(number=341)}),
    }
    before = scene(boxes)
    record, events, now = run(before)
    back = take_back(record, events, now)
    assert any("321, is held by b/s, which stays" in text for text in back.stays)
    assert back.asked["d"].destinations["in"].listens_to == ListensTo(number=341)
    assert planned_back(before, now, back).proved


def test_a_pointer_left_where_somebody_comes_back_goes_back_to_the_one_of_a_duplicate() -> None:
    """D heard a and b on 311, and was pointed at 321, just left by c; only b is on 311 then."""
    boxes = {
        "a": Box(31, {"s": (311, True)}, wants={"s": (341, None)}),
        "b": Box(32, {"s": (311, True)}),
        "c": Box(33, {"s": (321, True)}, wants={"s": (331, None)}),
        "d": Box(34, hears={"in": 311}, listens={"in": ListensTo(number=321)}),
    }
    before = scene(boxes)
    record, events, now = run(before)
    back = take_back(record, events, now)
    assert back.asked["d"].destinations["in"].listens_to == ListensTo(number=311)
    assert planned_back(before, now, back).proved


def test_a_pointer_with_no_good_way_back_is_pointed_at_nothing() -> None:
    """It heard nobody on 321, which the mended b keeps, nor on 331, to which c comes back."""
    boxes = {
        "a": Box(31, {"s": (311, True)}),
        "b": Box(32, {"s": (311, True)}, wants={"s": (321, None)}),
        "c": Box(33, {"s": (331, True)}, wants={"s": (351, None)}),
        "d": Box(34, hears={"in": 321}, listens={"in": ListensTo(number=331)}),
    }
    before = scene(boxes)
    record, events, now = run(before)
    back = take_back(record, events, now)
    assert any("d/in is pointed at nothing: at 331" in text for text in back.stays)
    assert back.asked["d"].destinations["in"].listens_to == ListensTo()
    assert planned_back(before, now, back).proved


def bench_and_back() -> dict[str, Box]:
    """A goes to the bench, and is numbered there; it listens to b/s, and to its own s."""
    return {
        "a": Box(
            31,
            {"s": (311, True), "t": (312, False)},
            {"in0": 321, "in1": 311},
            wants={"s": (5, None), "t": (312, None)},
            exact={"main": ("127.0.2.60", 24, None)},
        ),
        "b": Box(32, {"s": (321, True)}),
    }


def test_a_device_that_comes_back_from_a_bench_points_where_it_did() -> None:
    """What it points at is asked for, so that nobody takes it for a pointer left dangling."""
    before = scene(bench_and_back())
    record, events, now = run(before)
    back = take_back(record, events, now)
    assert set(back.asked["a"].destinations) == {"in0", "in1"}
    assert taken_back(before) == before.found


def test_what_the_run_did_not_save_is_saved_first() -> None:
    """Half-done, a holds on disk what nobody can read: it saves before b takes anything."""
    record, events, now = run(scene(swap()), 4)
    back = take_back(record, events, now)
    assert back.save_first == {"a"}
    plan = planned_back(scene(swap()), now, back)
    first = plan.sequence.steps[0]
    assert (first.kind, first.device) == (StepKind.SAVE, "a")
    assert take_back(*run(scene(swap()))).save_first == frozenset()


def planned_back(before: Scene, now: AsFound, back: TakeBack) -> DryRun:
    """The plan of taking back, which nothing stops."""
    made = replace(before, found=now, asked=back.asked, phases=(), save_first=back.save_first)
    return planned(made)


def test_who_gets_its_number_back_is_listened_to_again() -> None:
    """Though it holds none now: a destination that stays is asked to hear the source."""
    box = Box(31, {"s": (311, True)}, {"in": 311}, wants={"s": (Auto.UNASSIGNED, False)})
    back = take_back(*run(scene({"a": box})))
    listens = back.asked["a"].destinations["in"].listens_to
    assert listens is not None
    assert listens.source == Ref("a", "s")
