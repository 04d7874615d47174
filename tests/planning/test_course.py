from orchestrator.facility.plan import PlannedSource
from orchestrator.planning.aims.holders import holders
from orchestrator.planning.aims.listeners import listeners
from orchestrator.planning.aims.targets import targets
from orchestrator.planning.course import course, mended
from orchestrator.planning.ordering.finish import First
from tests.planning import hand
from tests.planning.ordering.test_batches import POINTERS, STREAMS, taking
from tests.planning.scenes import Box, address, rich_boxes, scene


def test_a_course_begins_with_the_numbers_that_it_is_given() -> None:
    """The same steps as from one on, each number further by as much; what they wait for, too."""
    where = taking(scene(rich_boxes(3)), STREAMS, POINTERS)
    plain, later = course(where), course(where, First(101, 7, 41))
    assert plain.steps
    assert later.steps
    moved = {step.id: f"s{int(step.id[1:]) + 100}" for step in plain.steps}
    for one, other in zip(plain.steps, later.steps, strict=True):
        assert (other.id, other.order, other.phase) == (
            moved[one.id],
            one.order + 100,
            one.phase + 7,
        )
        assert other.after == tuple(moved[name] for name in one.after)
        assert other.behind == tuple(moved[name] for name in one.behind)
        assert other.batch == (one.batch and one.batch + 40)
    assert 0 < plain.batches == later.batches == len({step.batch for step in plain.steps} - {0})
    assert (plain.seconds, plain.silence, plain.phases) == (
        later.seconds,
        later.silence,
        later.phases,
    )


def test_where_there_is_no_way_there_are_no_steps() -> None:
    """Nor phases or silences; but the changes asked for, and why there is no way."""
    boxes = {
        "a": Box(31, {"s": (311, True)}, wants={"s": (312, None)}),
        "b": Box(32, {"s": (312, True)}),
    }
    told = course(scene(boxes))
    assert (told.steps, told.phases, told.silence) == (None, (), ())
    assert [hazard.name for hazard in told.hazards] == ["held:a/s:312"]
    assert [change.subject for change in told.changes] == ["a/s"]


def test_a_duplicate_that_is_mended_is_named_with_its_holders() -> None:
    """a/s and b/s hold 311; b/s leaves it: number and group are mended."""
    boxes = {
        "a": Box(31, {"s": (311, True)}),
        "b": Box(32, {"s": (311, True)}, wants={"s": (321, None)}),
    }
    planned = hand.planned(boxes)
    assert planned.mended["number 311 on media"] == ("a/s", "b/s")
    assert len(planned.mended) == 2
    boxes["b"].wants = {}
    boxes["b"].labels = {"s": "News"}
    assert hand.planned(boxes).mended == {}


def test_a_duplicate_with_an_absent_holder_is_mended_by_the_other() -> None:
    """By the plan the absent device still holds 311; b/s leaves it."""
    source = PlannedSource(name="x", number=311)
    boxes = {
        "gone": Box(61, absent=True, planned={"x": source}),
        "b": Box(32, {"s": (311, True)}, wants={"s": (321, None)}),
    }
    where = scene(boxes)
    wanted = listeners(where, targets(where).states).states
    assert mended(where, wanted, holders(where)) == {"number 311 on media": ("b/s", "gone/x")}


def test_two_devices_on_one_address_are_mended_when_one_leaves() -> None:
    """The duplicate address is named by its devices."""
    boxes = {"a": Box(31), "b": Box(31, to=address(40))}
    assert hand.planned(boxes).mended == {f"address {address(31)} on media": ("a", "b")}
