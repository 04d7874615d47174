import os
import random
from dataclasses import replace

import pytest

from orchestrator.facility.found import DeviceState
from orchestrator.facility.numbering import NumberRange
from orchestrator.facility.plan import ListensTo, Ref
from orchestrator.facility.step import StepKind
from orchestrator.planning.aims.listeners import listeners
from orchestrator.planning.aims.targets import targets
from orchestrator.planning.dry_run import dry_run, steps_for
from orchestrator.planning.scene import Scene
from tests.planning import hand
from tests.planning.applied import applied
from tests.planning.scenes import (
    MEDIA,
    NUMBERING,
    Box,
    group,
    random_boxes,
    rich_boxes,
    scene,
)
from tests.planning.simulator import run

DEEP = "CUTSHEET_DEEP" in os.environ
SHARDS = 10
EACH = 3000 if DEEP else 200
INTERLEAVINGS = 3


def _wanted(where: Scene) -> dict[str, DeviceState]:
    return dict(listeners(where, targets(where).states).states)


def _hold(seed: int, where: Scene) -> bool:
    """Check every claim on one scene; whether it came to a sequence."""
    planned = dry_run(where)
    unsafe = [h for h in planned.hazards if h.name.startswith("unsafe:")]
    others = [h for h in planned.hazards if h.blocks and h not in unsafe]
    assert others or not unsafe, (seed, [h.what for h in unsafe])
    if planned.stopped:
        return False
    assert planned.proved
    for chance in range(INTERLEAVINGS):
        assert not (broken := run(where, planned.sequence, chance).broken), (seed, broken)
    for silence in planned.silence:
        assert silence.seconds >= silence.bound_seconds - 1e-9 >= 0, seed
    assert planned.estimate.seconds >= planned.estimate.bound_seconds - 1e-9, seed
    after = applied(where, planned.sequence)
    assert after.states == _wanted(where), seed
    again = dry_run(after)
    assert (again.changes, again.sequence.steps) == ((), ()), seed
    assert bool(planned.changes) == bool(planned.sequence.steps)
    return True


@pytest.mark.timeout(1200)
@pytest.mark.parametrize("shard", range(SHARDS))
def test_every_random_facility_is_planned_safely(shard: int) -> None:
    """Chains, rings, joins and duplicates: planned, proved, simulated, applied, and then done.

    Never an exception; the proof finds fault only beside another hazard that stops; no order of
    a planned sequence breaks a rule in a simulated facility; after it all is as wanted, and a
    second dry-run has nothing to do. Over all shards 2,000 scenes.
    """
    seeds = range(shard * EACH, (shard + 1) * EACH)
    assert sum(_hold(seed, scene(random_boxes(seed))) for seed in seeds) > EACH * 3 // 4


@pytest.mark.timeout(1200)
@pytest.mark.parametrize("shard", range(SHARDS))
def test_every_richer_facility_is_planned_safely(shard: int) -> None:
    """The same with units that leave, settings that interrupt, absent devices, labels, autos.

    Over all shards 1,000 scenes.
    """
    seeds = range(shard * EACH // 2, (shard + 1) * EACH // 2)
    assert sum(_hold(seed, scene(rich_boxes(seed))) for seed in seeds) > EACH // 3


@pytest.mark.parametrize("seed", range(40))
def test_the_same_documents_give_the_same_dry_run(seed: int) -> None:
    """No chance and no clock: two runs are equal, whatever the order of a set."""
    assert dry_run(scene(rich_boxes(seed))) == dry_run(scene(rich_boxes(seed)))


@pytest.mark.parametrize("width", [1, 2])
@pytest.mark.parametrize("seed", range(15))
def test_a_narrow_run_is_safe_too(seed: int, width: int) -> None:
    """How many devices are spoken to at once changes times, not safety."""
    _hold(seed, scene(random_boxes(seed), width=width))


@pytest.mark.parametrize("seed", range(30))
def test_one_phase_for_all_rooms_is_safe_too(seed: int) -> None:
    """Safety does not hang on phases: all rooms in one phase are planned and hold as well."""
    boxes = random_boxes(seed)
    rooms = tuple(sorted({box.room for box in boxes.values()}))
    where = scene(boxes, phases=(rooms,))
    planned = dry_run(where)
    assert not [h for h in planned.hazards if h.name == "phase-order"]
    _hold(seed, where)


@pytest.mark.parametrize("seed", range(100))
def test_rooms_split_over_phases_are_safe_too(seed: int) -> None:
    """Rooms one by one in a random order, the split accepted: always an order, and a safe one."""
    boxes = rich_boxes(seed)
    rooms = sorted({box.room for box in boxes.values()})
    random.Random(seed).shuffle(rooms)
    accepted = {"split-phases": "the rooms are free at these times only"}
    by_room = tuple((room,) for room in rooms)
    where = scene(boxes, phases=by_room, accepted=accepted, width=1 + seed % 4)
    assert "circle" not in {hazard.name for hazard in dry_run(where).hazards}
    _hold(seed, where)


def test_nothing_asked_is_nothing_done() -> None:
    """A playbook that asks for what is there already comes to no step and no hazard."""
    planned = hand.planned({"a": Box(31, {"s": (311, True)}, wants={"s": (311, True)})})
    assert (planned.changes, planned.sequence.steps, planned.hazards) == ((), (), ())
    assert planned.proved
    assert planned.estimate.seconds == 0.0


def test_what_can_not_be_reached_has_no_sequence() -> None:
    """A number that a bystander keeps stops the whole, and no sequence is made up."""
    planned = hand.planned(
        {
            "a": Box(31, {"s": (311, True)}, wants={"s": (312, None)}),
            "b": Box(32, {"s": (312, True)}),
        }
    )
    assert planned.stopped
    assert planned.sequence.steps == ()
    assert [h.name for h in planned.hazards] == ["held:a/s:312"]
    assert [c.setting for c in planned.changes] == ["number"]
    assert not planned.proved


def test_what_is_lent_is_named() -> None:
    """A ring borrows one transit number; the dry-run says who borrows which."""
    planned = hand.planned(hand.ring())
    assert list(planned.lent.values()) == ["2990"]
    assert set(planned.lent) <= {"a/s", "b/s"}


def test_steps_in_a_circle_are_a_hazard_and_not_a_crash(monkeypatch: pytest.MonkeyPatch) -> None:
    """Should the orders ever contradict one another, the whole stops and says what to do."""

    def circle(*_: object) -> None:
        raise ValueError("the steps wait for one another in a circle")

    monkeypatch.setattr("orchestrator.planning.scheduled.make", circle)
    planned = hand.planned(hand.chain())
    assert [(h.name, h.blocks) for h in planned.hazards] == [("circle", True)]
    assert planned.sequence.steps == ()
    assert planned.changes


def test_a_large_tangle_says_that_fewer_might_do() -> None:
    """Sixteen sources whose numbers and groups go different ways: safe, the least not proved."""
    count = 16
    boxes = {
        f"d{n}": Box(31 + n, {"s": (300 + n, True)}, wants={"s": (300 + (n + 1) % count, None)})
        for n in range(count)
    }
    numbering = replace(NUMBERING, transit=NumberRange(2980, 2999))
    where = scene(boxes, media=replace(MEDIA, numbering=numbering))
    asked = {
        f"d{n}": replace(
            where.asked[f"d{n}"],
            sources={
                "s": replace(
                    where.asked[f"d{n}"].sources["s"], groups=(group(300 + (n + 5) % count),)
                )
            },
        )
        for n in range(count)
    }
    planned = dry_run(replace(where, asked=asked))
    assert [(h.name, h.blocks) for h in planned.hazards] == [("not-least", False)]
    assert planned.proved
    assert 2 <= len(planned.lent) < count


def test_steps_can_be_looked_up_by_id() -> None:
    """Every step stands under its own id."""
    _, sequence = hand.safe(hand.chain())
    found = steps_for(sequence)
    assert [found[f"s{n}"].order for n in range(1, len(found) + 1)] == [*range(1, len(found) + 1)]


def test_every_step_says_what_other_devices_it_waits_for() -> None:
    """A wait for another device's number is put into words."""
    _, sequence = hand.safe(hand.chain())
    renumber = hand.step(sequence, StepKind.RENUMBER, "a/s")
    assert renumber.why == ("waits until b/s has let go of 312",)


def test_a_unit_that_leaves_is_taken_back_safely() -> None:
    """A unit in the facility goes back to the bench with the numbers that it had there.

    That is what undoing a join asks for: the exact bench address, and numbers, switches and
    pointers as they were, though 311 is somebody else's in the facility.
    """
    boxes = {
        "a": Box(31, {"s": (311, True)}, hears={"in": 501}),
        "unit": Box(
            50,
            {"s": (501, True), "t": (502, False)},
            hears={"in": 311},
            listens={"in": ListensTo(number=305)},
            exact={"main": ("127.0.2.50", 24, None)},
            wants={"s": (311, True), "t": (None, None)},
        ),
    }
    where = scene(boxes)
    assert _hold(0, where)
    planned = dry_run(where)
    kinds = [s.kind for s in planned.sequence.steps if s.device == "unit"]
    assert kinds.index(StepKind.READDRESS) < kinds.index(StepKind.RENUMBER)
    assert kinds.index(StepKind.DISABLE) < kinds.index(StepKind.READDRESS)
    assert "losing:unit/s" in {h.name for h in planned.hazards}
    after = applied(where, planned.sequence).states["unit"]
    assert after.sources["s"].number == 311
    assert after.sources["s"].enabled
    assert next(iter(after.interfaces.values())).address == "127.0.2.50"
    live = dry_run(hand.on_air(where, Ref("a", "in")))
    assert "on-air:unit/s" in {h.name for h in live.hazards if h.blocks}
    assert dry_run(replace(where, asked={})).sequence.steps == ()
