"""A device that may boot with what nobody has read saves before another one takes anything."""

from dataclasses import replace

from orchestrator.facility.found import Found
from orchestrator.facility.step import StepKind
from orchestrator.facility.traits import Saves
from orchestrator.planning.dry_run import dry_run
from orchestrator.planning.proof.unsaved import unsaved
from tests.planning import hand
from tests.planning.scenes import Box, scene

K = StepKind


def test_all_that_is_taken_waits_for_the_save() -> None:
    """Without that order each taking of another device is named; its own steps are not."""
    boxes = {
        "a": Box(31, {"s": (311, True)}, wants={"s": (312, None)}),
        "b": Box(32, {"s": (320, True)}, saves=Saves.ON_SAVE, labels={"s": "News"}),
    }
    where = replace(scene(boxes), save_first=frozenset({"b"}))
    sequence = dry_run(where).sequence
    assert list(unsaved(hand.case(where, sequence))) == []
    first = sequence.steps[0]
    assert (first.kind, first.device) == (K.SAVE, "b")
    wrong = replace(
        sequence,
        steps=tuple(
            replace(step, after=tuple(name for name in step.after if name != first.id))
            for step in sequence.steps
        ),
    )
    named = {hazard.where[0] for hazard in unsaved(hand.case(where, wrong))}
    assert named
    assert all(name != step.id or step.device != "b" for name in named for step in wrong.steps)


def test_what_another_hand_left_unsaved_is_waited_for_too() -> None:
    """If the sequence writes to that device at all: elsewhere a name is asked for."""
    boxes = {
        "a": Box(31, {"s": (311, True)}, wants={"s": (312, None)}),
        "b": Box(32, {"s": (320, True)}, saves=Saves.ON_SAVE, labels={"s": "News"}),
    }
    where = scene(boxes)
    unaware = dry_run(where).sequence
    entry = where.found.devices["b"]
    assert isinstance(entry, Found)
    left = replace(entry, state=replace(entry.state, unsaved=True))
    where = replace(where, found=replace(where.found, devices={**where.found.devices, "b": left}))
    assert list(unsaved(hand.case(where, dry_run(where).sequence))) == []
    named = {hazard.where[1] for hazard in unsaved(hand.case(where, unaware))}
    assert named == {"b"}
    only = replace(unaware, steps=tuple(s for s in unaware.steps if s.device == "a"))
    assert list(unsaved(hand.case(where, only))) == []


def test_a_device_that_saves_at_once_needs_none() -> None:
    """It boots with what it runs on."""
    where = replace(scene(hand.chain()), save_first=frozenset({"b"}))
    sequence = dry_run(where).sequence
    assert all(step.kind is not K.SAVE for step in sequence.steps)
    assert list(unsaved(hand.case(where, sequence))) == []
