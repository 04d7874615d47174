from dataclasses import replace

from orchestrator.facility.plan import ListensTo, PlannedDestination, Ref
from orchestrator.facility.step import Sequence, StepKind
from orchestrator.facility.traits import Effect
from orchestrator.facility.wanted import Release
from orchestrator.planning.proof.leave import Leave
from orchestrator.planning.scene import Scene
from tests.planning import hand
from tests.planning.scenes import Box

K = StepKind


def _found(where: Scene, sequence: Sequence) -> set[tuple[str, str]]:
    hazards = list(Leave(hand.case(where, sequence)).found())
    assert {hazard.rule for hazard in hazards} <= {"H6"}
    return {(hazard.where[0], hazard.where[1]) for hazard in hazards}


def _released(where: Scene, what: str) -> Scene:
    leave = Release(what=what, by="A. Licensee", reference="7", until="2026-01-02T00:00:00Z")
    return replace(where, releases=(leave,))


def test_off_limits_is_not_touched_without_a_release() -> None:
    """The first step on a device that is off limits is named; a release of the device allows it."""
    where, sequence = hand.safe(hand.chain())
    shut = hand.with_device(where, "b", off_limits="carries the emergency alert insertion")
    first = next(step for step in sequence.steps if step.device == "b")
    assert _found(shut, sequence) == {(first.id, "b")}
    assert _found(_released(shut, "b"), sequence) == set()
    assert _found(_released(shut, "a"), sequence) == {(first.id, "b")}
    assert _found(_released(shut, "b/s"), sequence) == {(first.id, "b")}


def test_on_air_is_judged_by_effect() -> None:
    """c/in is on air, so a/s that feeds it is; b/s, enabled as well, is not."""
    where, sequence = hand.safe(hand.ring())
    live = hand.on_air(where, Ref("c", "in"))
    assert {name for _, name in _found(live, sequence)} == {"a/s", "c/in"}
    assert {name for _, name in _found(_released(live, "a/s"), sequence)} == {"c/in"}
    assert {name for _, name in _found(_released(live, "c"), sequence)} == {"a/s"}


def test_what_is_only_switched_off_is_on_air_too() -> None:
    """Nothing changes hands: a/s, which feeds the on-air c/in, is switched off, and is named."""
    boxes = {"a": Box(31, {"s": (311, True)}, wants={"s": (311, False)}), "c": Box(33)}
    boxes["c"].hears["in"] = 311
    where, sequence = hand.safe(boxes)
    live = hand.on_air(where, Ref("c", "in"))
    assert _found(live, sequence) == {(sequence.steps[0].id, "a/s")}


def test_a_readdress_interrupts_all_that_the_device_sends_and_hears() -> None:
    """Device b is readdressed; its destination is on air, though nothing feeds it."""
    where, sequence = hand.safe(hand.readdress())
    move = hand.step(sequence, K.READDRESS, "b")
    assert _found(hand.on_air(where, Ref("b", "in")), sequence) == {(move.id, "b/in")}


def test_what_an_absent_device_hears_by_the_plan_is_on_air() -> None:
    """The transmitter feed did not answer; the plan says that it listens to a/s."""
    boxes = hand.chain()
    boxes["feed"] = Box(71, absent=True)
    where, sequence = hand.safe(boxes)
    hears = PlannedDestination(name="in", listens_to=ListensTo(source=Ref("a", "s")))
    live = hand.on_air(
        hand.with_device(where, "feed", destinations={"in": hears}), Ref("feed", "in")
    )
    assert {name for _, name in _found(live, sequence)} == {"a/s"}


def test_what_a_device_that_answered_hears_is_known_from_the_survey() -> None:
    """By the plan it would listen to a/s; found pointing nowhere, it has nothing on air."""
    boxes = hand.chain()
    boxes["feed"] = Box(71, hears={"in": None})
    boxes["feed"].planned_hears["in"] = ListensTo(source=Ref("a", "s"))
    where, sequence = hand.safe(boxes)
    assert _found(hand.on_air(where, Ref("feed", "in")), sequence) == set()


def test_a_setting_that_interrupts_is_an_interruption() -> None:
    """A clock setting that reboots a device interrupts the on-air destination on it."""
    boxes = {"b": Box(32, hears={"in": 311}, settings={"domain": 0}, set_to={"domain": 1})}
    where, sequence = hand.safe(boxes)
    live = hand.on_air(where, Ref("b", "in"))
    assert _found(live, sequence) == set()
    for effect in (Effect.INTERRUPTS, Effect.REBOOTS, Effect.PLANT_WIDE):
        traits = replace(live.traits["b"], effects={"domain": effect})
        risky = replace(live, traits={**live.traits, "b": traits})
        assert _found(risky, sequence) == {(sequence.steps[0].id, "b/in")}


def test_a_room_not_chosen_is_left_alone() -> None:
    """Every step in a room that was not chosen is named, but for saves."""
    where, sequence = hand.safe(hand.chain())
    south = hand.with_device(where, "b", room="south")
    expected = {(s.id, "b") for s in sequence.steps if s.device == "b" and s.kind is not K.SAVE}
    assert _found(south, sequence) == expected


def test_a_listener_elsewhere_follows_if_accepted() -> None:
    """A listener in another room may be pointed once somebody accepted it by its name."""
    where, sequence = hand.safe(hand.chain())
    south = hand.with_device(where, "c", room="south")
    repoint = hand.step(sequence, K.REPOINT, "c/in")
    assert _found(south, sequence) == {(repoint.id, "c")}
    agreed = replace(south, accepted={"listener:c/in": "the duty editor knows"})
    assert _found(agreed, sequence) == set()
    other = replace(south, accepted={"listener:c/other": "not this one"})
    assert _found(other, sequence) == {(repoint.id, "c")}
