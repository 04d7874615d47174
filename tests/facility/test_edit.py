"""Edits made in a plan."""

import pytest

from orchestrator.facility.edit import (
    Edit,
    SetAddress,
    SetBlocks,
    SetDestination,
    SetNumbers,
    SetSerial,
    SetSource,
    Unassigned,
    edited,
)
from orchestrator.facility.plan import (
    Device,
    Interface,
    ListensTo,
    Plan,
    PlannedDestination,
    PlannedSource,
    Room,
)

DEVICE = Device(
    name="a",
    room="north",
    interfaces=(Interface("main", "media", "127.44.3.31"),),
    serial="CV-1",
    sources={"x": PlannedSource(name="x", number=311, groups=("239.194.1.55:5004",), label="X")},
    destinations={"in-1": PlannedDestination(name="in-1")},
)
PLAN = Plan(
    facility="f",
    networks={},
    rooms={"north": Room("north", "point", "media")},
    devices={"a": DEVICE, "b": Device(name="b", room="north", interfaces=())},
)


def after(edit: Edit) -> Device:
    """Device ``a``, or the one that the edit names, after it."""
    return edited(PLAN, [edit]).devices[edit.device]


def test_addresses() -> None:
    """On the same network, on another, and for a device that had none."""
    assert after(SetAddress("a", "main", "127.44.3.32")).interfaces == (
        Interface("main", "media", "127.44.3.32"),
    )
    moved = after(SetAddress("a", "main", "127.45.3.32", network="blue"))
    assert moved.interfaces == (Interface("main", "blue", "127.45.3.32"),)
    joined = after(SetAddress("b", "main", "127.44.3.41"))
    assert joined.interfaces == (Interface("main", "media", "127.44.3.41"),)


def test_what_a_device_owns_and_who_it_is() -> None:
    """Blocks, numbers, serial."""
    assert after(SetBlocks("a", (31, 32))).blocks == (31, 32)
    assert after(SetNumbers("a", (999,))).numbers == (999,)
    assert after(SetSerial("a", "CV-2")).serial == "CV-2"


def test_a_source_keeps_what_is_not_said() -> None:
    """Only what an edit names changes; unassigned takes number and groups away."""
    assert after(SetSource(device="a", source="x", number=312)).sources["x"].label == "X"
    gone = after(SetSource(device="a", source="x", number=Unassigned())).sources["x"]
    assert (gone.number, gone.groups, gone.label) == (None, None, "X")
    new = after(SetSource(device="a", source="y", enabled=False)).sources["y"]
    assert (new.name, new.enabled, new.number) == ("y", False, None)


def test_a_destination() -> None:
    """What it listens to now."""
    edit = SetDestination("a", "in-1", ListensTo(number=7))
    assert after(edit).destinations["in-1"].listens_to == ListensTo(number=7)


def test_the_plan_itself_is_left_alone() -> None:
    """Values are frozen: editing gives a new plan, and shares what did not change."""
    new = edited(PLAN, [SetSerial("a", "CV-2")])
    assert PLAN.devices["a"].serial == "CV-1"
    assert new.devices["b"] is PLAN.devices["b"]
    with pytest.raises(KeyError):
        edited(PLAN, [SetSerial("ghost", "1")])
