from dataclasses import replace

from orchestrator.facility.found import Found
from orchestrator.facility.step import StepKind
from orchestrator.facility.traits import Saves
from orchestrator.planning.dry_run import dry_run
from orchestrator.planning.scene import Scene
from tests.planning import hand
from tests.planning.scenes import Box, address, rich_boxes, scene

K = StepKind


def test_each_device_that_has_to_saves_once_at_the_end() -> None:
    """After all its steps; a device that saves at once does not."""
    boxes = {
        "a": Box(31, {"s": (311, True)}, labels={"s": "News"}, saves=Saves.ON_SAVE),
        "b": Box(32, {"s": (321, True)}, labels={"s": "News"}),
    }
    where, sequence = hand.safe(boxes)
    (save,) = [s for s in sequence.steps if s.kind is K.SAVE]
    assert save.device == "a"
    order = hand.case(where, sequence).order
    assert all(order.before(s, save) for s in sequence.steps if s.device == "a" and s is not save)


def test_a_save_that_covers_everything_is_not_repeated() -> None:
    """A unit whose last step is a readdress with its save needs no other."""
    box = Box(31, {"s": (311, False)}, to=address(40), saves=Saves.ON_SAVE)
    _, sequence = hand.safe({"a": box})
    assert [s.kind for s in sequence.steps] == [K.READDRESS, K.CONFIRM, K.SAVE]


def test_a_device_is_saved_in_each_phase_that_changed_it() -> None:
    """B frees a number in the first phase and follows a source in the second."""
    boxes = {
        "a": Box(31, {"s": (311, True)}, wants={"s": (312, None)}),
        "b": Box(
            32,
            {"s": (312, True)},
            wants={"s": (320, None)},
            hears={"in": 311},
            room="south",
            saves=Saves.ON_SAVE,
        ),
    }
    where, sequence = hand.safe(boxes)
    saves = [s.phase for s in sequence.steps if s.kind is K.SAVE]
    assert set(saves) == {0, 1}
    assert hand.verdict(where, sequence) == []


def test_the_last_save_goes_to_the_new_address() -> None:
    """After a readdress the device is saved where it now is."""
    box = Box(31, {"s": (311, True)}, to=address(40), saves=Saves.ON_SAVE)
    _, sequence = hand.safe({"a": box})
    assert [s.at for s in sequence.steps if s.kind is K.SAVE] == [address(40), address(40)]


def test_every_change_is_saved_in_the_end() -> None:
    """On random facilities each write to a device that boots with what is saved is saved after."""
    looked_at = 0
    for seed in range(80):
        where = scene(rich_boxes(seed))
        planned = dry_run(where)
        if planned.stopped:
            continue
        order = hand.case(where, planned.sequence).order
        for step in planned.sequence.steps:
            if where.traits[step.device].saves is Saves.AT_ONCE:
                assert step.kind is not K.SAVE
            elif step.kind not in {K.SAVE, K.CONFIRM}:
                looked_at += 1
                assert any(
                    s.kind is K.SAVE and s.device == step.device and order.before(step, s)
                    for s in planned.sequence.steps
                ), (seed, step)
    assert looked_at > 200


def test_steps_are_numbered_as_they_start() -> None:
    """Ids, places and phases rise together; each waits only for earlier ones."""
    _, sequence = hand.safe(hand.ring())
    assert [s.id for s in sequence.steps] == [f"s{n}" for n in range(1, len(sequence.steps) + 1)]
    for step in sequence.steps:
        assert all(int(name[1:]) < step.order for name in step.after)
        assert step.estimate_s > 0


def test_a_disable_says_what_it_waits_for() -> None:
    """It goes off while the number is let go of, and a reader is told why not before."""
    boxes = hand.chain()
    del boxes["c"]
    where, sequence = hand.safe(boxes)
    off = hand.step(sequence, K.DISABLE, "a/s")
    case = hand.case(where, sequence)
    assert off.why == ("waits until b/s is off, to be silent no longer than it has to",)
    assert case.order.before(hand.step(sequence, K.DISABLE, "b/s"), off)
    assert not case.order.before(hand.step(sequence, K.RENUMBER, "b/s"), off)


def test_soft_orders_name_earlier_steps() -> None:
    """On random facilities there are some, of the same phase, and all of them point backwards."""
    found = 0
    for seed in range(120):
        sequence = dry_run(scene(rich_boxes(seed))).sequence
        steps = {step.id: step for step in sequence.steps}
        for step in sequence.steps:
            for name in step.behind:
                found += 1
                assert steps[name].order < step.order
                assert steps[name].phase == step.phase
    assert found > 5


def test_what_has_to_be_saved_first_is() -> None:
    """All else waits for it, and says so."""
    boxes = {
        "a": Box(31, {"s": (311, True)}, wants={"s": (312, None)}),
        "b": Box(32, {"s": (320, True)}, saves=Saves.ON_SAVE),
    }
    where = replace(scene(boxes), save_first=frozenset({"b"}))
    steps = dry_run(where).sequence.steps
    assert (steps[0].kind, steps[0].device) == (K.SAVE, "b")
    assert all(steps[0].id in step.after for step in steps[1:])
    assert "waits until b has saved what it runs" in steps[1].why


def test_what_another_hand_left_unsaved_is_saved_first_where_others_take_something() -> None:
    """On a device that is changed anyway; alone, it saves once, when it is done."""
    boxes = {
        "a": Box(31, {"s": (311, True)}, wants={"s": (312, None)}),
        "b": Box(32, {"s": (320, True)}, saves=Saves.ON_SAVE, labels={"s": "News"}),
        "c": Box(33, {"s": (330, True)}, saves=Saves.ON_SAVE),
    }
    steps = dry_run(_left_unsaved(boxes)).sequence.steps
    assert (steps[0].kind, steps[0].device) == (K.SAVE, "b")
    assert all(steps[0].id in step.after for step in steps[1:])
    assert all(step.device != "c" for step in steps)
    alone = dry_run(_left_unsaved({"b": boxes["b"]})).sequence.steps
    assert [step.kind for step in alone] == [K.SET, K.SAVE]


def _left_unsaved(boxes: dict[str, Box]) -> Scene:
    """The scene in which every device holds something unsaved."""
    where = scene(boxes)
    devices = {
        name: replace(entry, state=replace(entry.state, unsaved=True))
        for name, entry in where.found.devices.items()
        if isinstance(entry, Found)
    }
    return replace(where, found=replace(where.found, devices=devices))
