"""An order of rooms that splits a swap: refused with its price, done if a person accepts it."""

import random

import pytest

from orchestrator.facility.hazard import Grade
from orchestrator.planning.dry_run import dry_run
from orchestrator.planning.result import DryRun
from tests.planning.scenes import Box, random_boxes, scene
from tests.planning.simulator import run

ACCEPTED = {"split-phases": "the south is on holiday until the second night"}


def swap(first: str, then: str, accepted: dict[str, str] | None = None) -> DryRun:
    """A swap of two rooms' numbers; the north is off anyway, so it is the one that is lent."""
    boxes = {
        "far": Box(31, {"s": (301, True)}, room="north", wants={"s": (302, None)}),
        "near": Box(
            32,
            {"s": (302, True)},
            {"in": 302, "also": 302},
            room="south",
            wants={"s": (301, None)},
        ),
    }
    return dry_run(scene(boxes, phases=((first,), (then,)), accepted=accepted))


def test_a_split_is_refused_with_its_price_and_the_way_out() -> None:
    """Nothing may be written; the hazard names the silence, the transit number and an order."""
    plan = swap("north", "south")
    (hazard,) = [each for each in plan.hazards if each.name == "split-phases"]
    assert plan.stopped
    assert hazard.grade is Grade.NEEDS_NAME
    assert "far/s silent from phase 1 to phase 2, on transit 2990" in hazard.what
    assert "1 transit number held over a go/no-go point" in hazard.what
    assert "north and south" in hazard.fix


def test_an_accepted_split_keeps_the_order_and_says_what_it_accepts() -> None:
    """The go/no-go point names what waits silent; the sequence is proved all the same."""
    plan = swap("north", "south", ACCEPTED)
    assert not plan.stopped
    assert plan.proved
    assert [phase.rooms for phase in plan.sequence.phases] == [("north",), ("south",)]
    assert "far/s silent from phase 1 to phase 2" in plan.sequence.phases[1].accepts[0]


def test_where_nothing_has_to_wait_silent_that_is_said() -> None:
    """With the lent source in the later room, all is put off to that room's turn."""
    plan = swap("south", "north")
    (hazard,) = [each for each in plan.hazards if each.name == "split-phases"]
    assert "nothing is silent meanwhile" in hazard.what


@pytest.mark.parametrize("seed", range(150))
def test_a_split_is_safe_in_every_order_of_rooms(seed: int) -> None:
    """Whatever order is asked for and accepted, nothing is broken on the way."""
    boxes = random_boxes(seed)
    rooms = sorted({box.room for box in boxes.values()})
    random.Random(seed).shuffle(rooms)
    facility = scene(boxes, phases=tuple((room,) for room in rooms), accepted=ACCEPTED)
    plan = dry_run(facility)
    assert not [hazard for hazard in plan.hazards if hazard.name.startswith("unsafe")]
    if not plan.stopped:
        assert run(facility, plan.sequence, seed).broken == []
