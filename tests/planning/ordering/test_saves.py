"""Saves in the midst of a sequence, and what they are for: a loss of power at the worst time."""

from dataclasses import replace

from orchestrator.facility.plan import ListensTo, Ref
from orchestrator.facility.step import Sequence, Step, StepKind
from orchestrator.facility.traits import Saves
from orchestrator.planning.scene import Scene
from tests.planning import hand
from tests.planning.scenes import Box
from tests.planning.simulator import explore

K = StepKind


def _left(saves: Saves) -> tuple[Scene, Sequence]:
    """Source a/s leaves 311 for 320 with its listener c/in; b/s comes to 311."""
    return hand.safe(
        {
            "a": Box(31, {"s": (311, True)}, wants={"s": (320, None)}),
            "b": Box(32, {"s": (312, True)}, wants={"s": (311, None)}),
            "c": Box(33, hears={"in": 311}, saves=saves),
        }
    )


def _come(saves: Saves) -> tuple[Scene, Sequence]:
    """On a, t takes 311 from s; c/in, elsewhere, listens to t and is pointed at 311."""
    return hand.safe(
        {
            "a": Box(
                31,
                {"s": (311, True), "t": (312, True)},
                wants={"s": (320, None), "t": (311, None)},
                saves=saves,
            ),
            "c": Box(33, hears={"in": 312}),
        }
    )


def _without(sequence: Sequence, gone: Step) -> Sequence:
    """The sequence without a step; what waited for it waits for what it waited for."""
    return replace(
        sequence,
        steps=tuple(
            replace(
                step,
                after=tuple(dict.fromkeys(a for a in step.after if a != gone.id))
                + (gone.after if gone.id in step.after else ()),
            )
            for step in sequence.steps
            if step is not gone
        ),
    )


def _first_save(sequence: Sequence, device: str) -> Step:
    """The first save of ``device``."""
    return next(s for s in sequence.steps if s.kind is K.SAVE and s.device == device)


def test_a_pointer_is_saved_before_another_is_heard_there() -> None:
    """Else c, after a loss of power, would point at 311 again and put b/s on the air (H8, H9)."""
    where, sequence = _left(Saves.ON_SAVE)
    save = _first_save(sequence, "c")
    assert hand.step(sequence, K.REPOINT, "c/in").id in save.after
    assert save.id in hand.step(sequence, K.ENABLE, "b/s").after
    assert explore(where, sequence) == []
    wrong = _without(sequence, save)
    assert {hazard.rule for hazard in hand.verdict(where, wrong)} == {"H8"}
    broken = explore(where, wrong)
    assert broken is not None
    assert broken[0].startswith("H8 c/in hears b/s")


def test_a_device_that_keeps_everything_at_once_saves_no_pointer() -> None:
    """Nothing of it comes back."""
    where, sequence = _left(Saves.AT_ONCE)
    assert K.SAVE not in {step.kind for step in sequence.steps}
    assert explore(where, sequence) == []


def test_a_number_is_saved_as_left_before_a_listener_comes_to_it() -> None:
    """Else a, after a loss of power, would send s on 311 again, where c/in waits for t."""
    where, sequence = _come(Saves.ON_SAVE)
    save = _first_save(sequence, "a")
    assert hand.step(sequence, K.RENUMBER, "a/s").id in save.after
    assert save.id in hand.step(sequence, K.REPOINT, "c/in").after
    assert explore(where, sequence) == []
    wrong = _without(sequence, save)
    assert {hazard.rule for hazard in hand.verdict(where, wrong)} == {"H8"}
    assert explore(where, wrong)


def test_listeners_of_one_source_are_saved_together() -> None:
    """One save for both of c's destinations that follow a/s, another for the one that follows d/s.

    What is saved together is silent together; the two sources are not tied to each other.
    """
    boxes = {
        "a": Box(31, {"s": (311, True)}, wants={"s": (320, None)}),
        "b": Box(32, {"s": (312, True)}, wants={"s": (311, None)}),
        "c": Box(33, hears={"in1": 311, "in2": 311, "in3": 314}, saves=Saves.ON_SAVE),
        "d": Box(34, {"s": (314, True)}, wants={"s": (330, None)}),
        "e": Box(35, {"s": (315, True)}, wants={"s": (314, None)}),
    }
    _, sequence = hand.safe(boxes)
    saves = {step.id: step for step in sequence.steps if step.kind is K.SAVE}
    awaited = [
        [name for name in hand.step(sequence, K.ENABLE, who).after if name in saves]
        for who in ("b/s", "e/s")
    ]
    assert [len(names) for names in awaited] == [1, 1]
    assert awaited[0] != awaited[1]
    assert len(saves) == 2


def test_a_listener_on_the_same_device_needs_no_save_between() -> None:
    """It would come back at once with all that its device holds."""
    boxes = {
        "a": Box(31, {"s": (311, True)}, wants={"s": (320, None)}),
        "b": Box(
            32, {"s": (312, True)}, {"in": 311}, wants={"s": (311, None)}, saves=Saves.ON_SAVE
        ),
    }
    where, sequence = hand.safe(boxes)
    assert [step.kind for step in sequence.steps].count(K.SAVE) == 1
    assert explore(where, sequence) == []


def test_a_pointer_is_saved_at_the_address_where_it_was_written() -> None:
    """Before the device's own readdress, as the repoint was."""
    boxes = {
        "a": Box(31, {"s": (311, True)}, wants={"s": (320, None)}),
        "b": Box(32, {"s": (312, True)}, wants={"s": (311, None)}),
        "c": Box(33, hears={"in": 311}, saves=Saves.ON_SAVE, to="127.44.3.40"),
    }
    where, sequence = hand.safe(boxes)
    repoint = hand.step(sequence, K.REPOINT, "c/in")
    save = next(s for s in sequence.steps if s.kind is K.SAVE and repoint.id in s.after)
    assert (repoint.at, save.at) == ("127.44.3.33", "127.44.3.33")
    assert save.id in hand.step(sequence, K.READDRESS, "c").after
    assert hand.verdict(where, sequence) == []


def test_whoever_is_asked_to_listen_elsewhere_is_saved_too() -> None:
    """A playbook points c/in from 311 to another source, which stays where it is."""
    boxes = {
        "a": Box(31, {"s": (311, True)}, wants={"s": (320, None)}),
        "b": Box(32, {"s": (312, True)}, wants={"s": (311, None)}),
        "c": Box(33, hears={"in": 311}, saves=Saves.ON_SAVE),
        "d": Box(34, {"s": (340, True)}),
    }
    boxes["c"].listens = {"in": ListensTo(source=Ref("d", "s"))}
    where, sequence = hand.safe(boxes)
    assert _first_save(sequence, "c").id in hand.step(sequence, K.ENABLE, "b/s").after
    assert explore(where, sequence) == []
