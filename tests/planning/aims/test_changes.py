from orchestrator.facility.change import Change
from orchestrator.facility.plan import ListensTo
from orchestrator.facility.step import AddressValue, Assigned, Hearing
from orchestrator.facility.traits import Hears
from orchestrator.planning.aims.changes import changes, hearing
from orchestrator.planning.aims.listeners import listeners
from orchestrator.planning.aims.targets import targets
from orchestrator.planning.scene import Scene
from tests.planning.scenes import Box, address, group, scene


def _changes(where: Scene) -> tuple[Change, ...]:
    return changes(where, listeners(where, targets(where).states).states)


def test_one_change_for_each_setting() -> None:
    """Address, setting, number, label, switch and pointer, as found and wanted."""
    box = Box(
        31,
        {"s": (311, True)},
        hears={"in": None},
        to=address(40),
        settings={"domain": 0},
        set_to={"domain": 1},
        wants={"s": (312, False)},
        labels={"s": "News"},
        listens={"in": ListensTo(number=305)},
    )
    found = _changes(scene({"a": box}))
    assert [(c.setting, c.subject, c.as_found, c.wanted) for c in found] == [
        (
            "address",
            "a",
            AddressValue("main", address(31), 24, "127.44.3.254"),
            AddressValue("main", address(40), 24, "127.44.3.254"),
        ),
        ("domain", "a", 0, 1),
        ("number", "a/s", Assigned(311, (group(311),)), Assigned(312, (group(312),))),
        ("label", "a/s", "", "News"),
        ("enabled", "a/s", True, False),
        ("listens_to", "a/in", Hearing(), Hearing(number=305)),
    ]
    assert {c.room for c in found} == {"north"}


def test_what_is_as_wanted_is_no_change() -> None:
    """A playbook that asks for what is there gives none; nor does a device nobody asks of."""
    box = Box(31, {"s": (311, True)}, wants={"s": (311, True)}, hears={"in": 305})
    box.listens["in"] = ListensTo(number=305)
    assert _changes(scene({"a": box, "b": Box(32, {"s": (321, True)})})) == ()


def test_changes_come_in_the_plans_order() -> None:
    """Not in that of the playbooks."""
    boxes = {
        name: Box(31 + n, {"s": (1 + n, True)}, labels={"s": "x"}) for n, name in enumerate("cab")
    }
    assert [c.device for c in _changes(scene(boxes))] == ["c", "a", "b"]


def test_a_listener_that_follows_is_a_change_too() -> None:
    """Nobody asked for it, but it is written, so it is said."""
    boxes = {
        "a": Box(31, {"s": (311, True)}, wants={"s": (312, None)}),
        "c": Box(33, hears={"in": group(311)}, by=Hears.GROUP),
    }
    assert [(c.subject, str(c.wanted)) for c in _changes(scene(boxes))] == [
        ("a/s", "312"),
        ("c/in", group(312)),
    ]


def test_a_pointer_as_a_value() -> None:
    """A number, a group, or nothing."""
    assert hearing(311) == Hearing(number=311)
    assert hearing(group(311)) == Hearing(group=group(311))
    assert hearing(None) == Hearing()
