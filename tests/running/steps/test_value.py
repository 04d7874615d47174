"""What a read says about a step."""

import pytest

from orchestrator.facility.found import (
    DestinationState,
    DeviceState,
    Identity,
    InterfaceState,
    SourceState,
)
from orchestrator.facility.step import AddressValue, Assigned, Hearing, Step, StepKind, StepValue
from orchestrator.running.steps.value import ABSENT, Absent, Sight, is_meant, same, sight, value_of
from tests.running.made_up import BENCH, BY_ID, FRESH, JOINED, state_of, step

STATE = DeviceState(
    identity=Identity(serial="S-1", model="M-1"),
    interfaces={"main": InterfaceState(address="192.0.2.50", prefix=24)},
    sources={
        "one": SourceState(number=311, groups=("239.194.1.55:5004",), label="PGM", enabled=True)
    },
    destinations={
        "in": DestinationState(hears=512, label="News"),
        "group": DestinationState(hears="239.194.2.0:5004"),
        "off": DestinationState(hears=None),
    },
    settings={"ptp_domain": 0},
    unsaved=True,
)


def of(kind: StepKind, **more: object) -> Step:
    """A step of ``kind`` on the device of STATE."""
    return step("north.x", kind, None, more.pop("wanted", None), **more)  # type: ignore[arg-type]  # a test's own value


@pytest.mark.parametrize(
    ("made", "value"),
    [
        (of(StepKind.DISABLE), True),
        (of(StepKind.ENABLE), True),
        (of(StepKind.RENUMBER), Assigned(311, ("239.194.1.55:5004",))),
        (of(StepKind.REPOINT, destination="in"), Hearing(number=512)),
        (of(StepKind.REPOINT, destination="group"), Hearing(group="239.194.2.0:5004")),
        (of(StepKind.REPOINT, destination="off"), Hearing()),
        (of(StepKind.SET, setting="ptp_domain"), 0),
        (of(StepKind.SET, setting="label", source="one"), "PGM"),
        (of(StepKind.SET, setting="label", destination="in"), "News"),
        (of(StepKind.SAVE), True),
        (of(StepKind.READDRESS, wanted=JOINED), BENCH),
        (of(StepKind.CONFIRM, wanted=JOINED), BENCH),
        (of(StepKind.BY_HAND), None),
        (of(StepKind.ENABLE, source="none"), ABSENT),
        (of(StepKind.REPOINT, destination="none"), ABSENT),
        (of(StepKind.SET, setting="none"), ABSENT),
        (of(StepKind.SET, setting="label", source="none"), ABSENT),
        (of(StepKind.SET, setting="label", destination="none"), ABSENT),
        (of(StepKind.READDRESS, wanted=AddressValue("b", "10.44.3.9", 24)), ABSENT),
        (of(StepKind.READDRESS), ABSENT),
    ],
)
def test_each_kind_of_step_finds_its_value(made: Step, value: StepValue | Absent) -> None:
    """The value that the step is about, or absent."""
    assert value_of(made, STATE) == value


@pytest.mark.parametrize(
    ("meant", "value", "equal"),
    [
        (Assigned(311), Assigned(311, ("239.194.1.55:5004",)), True),
        (Assigned(311, ("a:1",)), Assigned(311, ("a:1",)), True),
        (Assigned(311, ("a:1",)), Assigned(311, ("b:1",)), False),
        (Assigned(None), Assigned(None, (None,)), True),
        (Assigned(311), Assigned(411), False),
        (Hearing(number=311, group="a:1"), Hearing(number=311), True),
        (Hearing(number=311, group="a:1"), Hearing(group="a:1"), True),
        (Hearing(number=311), Hearing(number=411), False),
        (Hearing(number=311), Hearing(), False),
        (Hearing(), Hearing(), True),
        (True, True, True),
        (True, False, False),
        (True, 1, False),
        (1, 1.0, True),
        ("A", "B", False),
        (None, ABSENT, False),
        (False, ABSENT, False),
    ],
)
def test_sameness(meant: StepValue, value: StepValue | Absent, equal: bool) -> None:  # noqa: FBT001  # a table's column
    """Groups count only where named, a hearing by what the device tells, a switch is no figure."""
    assert same(meant, value) is equal


def renumber() -> Step:
    """A renumber that names groups."""
    return step("north.n", StepKind.RENUMBER, Assigned(311, ("a:1",)), Assigned(411, ("b:1",)))


@pytest.mark.parametrize(
    ("number", "group", "seen"),
    [
        (311, "a:1", Sight.AS_FOUND),
        (411, "b:1", Sight.WANTED),
        (411, "a:1", Sight.PARTLY),
        (311, "b:1", Sight.PARTLY),
        (415, "a:1", Sight.OTHER),
        (411, "c:1", Sight.OTHER),
        (None, None, Sight.OTHER),
    ],
)
def test_a_number_whose_group_follows_later_is_partly_there(
    number: int | None, group: str | None, seen: Sight
) -> None:
    """A mixture of as found and wanted is neither another hand's nor done."""
    held = SourceState(number=number, groups=(group,), label="", enabled=False)
    assert sight(renumber(), state_of("north", sources={"one": held})) is seen


@pytest.mark.parametrize(
    ("held", "seen"),
    [
        (BENCH, Sight.AS_FOUND),
        (JOINED, Sight.WANTED),
        (AddressValue("main", JOINED.address, 24), Sight.WANTED),
        (AddressValue("main", JOINED.address, 16, JOINED.gateway), Sight.OTHER),
        (AddressValue("main", BENCH.address, 24, JOINED.gateway), Sight.PARTLY),
        (AddressValue("main", "10.44.3.99", 24), Sight.OTHER),
    ],
)
def test_an_address_is_compared_whole(held: AddressValue, seen: Sight) -> None:
    """Address and prefix must agree; a gateway too, where the device shows one."""
    assert sight(BY_ID["fresh.move"], state_of(FRESH, address=held)) is seen


def test_a_gateway_alone_is_a_difference() -> None:
    """A readdress that only sets the gateway is not done before it shows."""
    gateway = step(
        "fresh.g", StepKind.READDRESS, BENCH, AddressValue("main", BENCH.address, 24, "x")
    )
    assert sight(gateway, state_of(FRESH, address=BENCH)) is Sight.AS_FOUND


@pytest.mark.parametrize(
    ("unsaved", "seen"),
    [(True, Sight.AS_FOUND), (False, Sight.WANTED), (None, Sight.PARTLY)],
)
def test_a_save_is_judged_by_what_is_unsaved(unsaved: bool | None, seen: Sight) -> None:  # noqa: FBT001  # a table's column
    """A device that can't say is neither."""
    assert sight(BY_ID["south.save"], state_of("south", unsaved=unsaved)) is seen


def test_an_absent_thing_is_another_hands() -> None:
    """A source that is gone is neither as found nor wanted."""
    assert sight(BY_ID["north.off"], state_of("north")) is Sight.OTHER


def test_a_unit_is_its_serial_and_model() -> None:
    """Firmware is not who it is."""
    one = Identity(serial="S-1", model="M-1", firmware="1")
    assert is_meant(one, Identity(serial="S-1", model="M-1", firmware="2"))
    assert not is_meant(one, Identity(serial="S-2", model="M-1"))
    assert not is_meant(one, Identity(serial="S-1", model="M-2"))
    assert str(ABSENT) == "absent"
