"""The survey over simulated devices."""

import asyncio
from dataclasses import replace
from ipaddress import IPv4Network

import pytest

from orchestrator import errors
from orchestrator.actions.survey import candidates, survey
from orchestrator.errors import CutsheetError, DeviceError, NoSecret
from orchestrator.facility.found import AsFound, DeviceState, Found, Identity, NotFound
from orchestrator.facility.plan import Device, Interface, Network, Plan, Room
from orchestrator.facility.wanted import AskedDevice
from orchestrator.running.protocols import DeviceAdapter
from tests.actions.acted import Clock, Net
from tests.running.made_up import AT, NEW, state_of

NORTH, SOUTH = AT["north"], AT["south"]


def device(name: str, *, serial: str | None = "", **more: object) -> Device:
    """A device of the plan at its made-up address; its serial is its own unless given."""
    planned = Device(
        name=name,
        room="north",
        interfaces=(Interface("main", "media", AT.get(name, "10.44.3.99")),),
        speaks=("made-up",),
        serial=f"S-{name}" if serial == "" else serial,
    )
    return replace(planned, **more)  # type: ignore[arg-type]  # real fields


def plan(*devices: Device) -> Plan:
    """A plan of these devices."""
    return Plan(
        facility="Tern Point Radio",
        networks={"media": Network(name="media", subnet=IPv4Network("10.44.3.0/24"))},
        rooms={"north": Room("north", "point", "media")},
        devices={each.name: each for each in devices},
    )


def look(
    net: Net, *devices: Device, asked: dict[str, AskedDevice] | None = None, width: int = 32,
    also: dict[str, tuple[str, ...]] | None = None,
) -> AsFound:  # fmt: skip
    """Survey these devices."""
    return asyncio.run(
        survey(plan(*devices), asked or {}, net.open, Clock(), width=width, also=also)
    )


def units(**others: DeviceState) -> dict[str, DeviceState]:
    """North and south at their addresses."""
    return {NORTH: state_of("north"), SOUTH: state_of("south"), **others}


def test_a_device_is_found_where_the_plan_has_it() -> None:
    """Its whole state, where it was found, and when."""
    net = Net(units())
    found = look(net, device("north"), device("south", off_limits="alerts"))
    assert found.facility == "Tern Point Radio"
    assert found.taken_at == "2026-03-01T02:00:00+00:00"
    assert found.devices == {
        "north": Found(at=NORTH, state=state_of("north"), response_s=0.0),
        "south": Found(at=SOUTH, state=state_of("south"), response_s=0.0),
    }
    assert sorted(net.closed) == sorted(net.opened)
    assert not any(request.startswith("write") for request in net.requests)


def test_a_device_that_is_not_spoken_to_is_left_out() -> None:
    """The plan alone knows of it."""
    net = Net(units())
    assert look(net, device("north", speaks=())).devices == {}
    assert net.requests == []


def test_addresses_are_tried_in_order_and_once() -> None:
    """Where it answers, where it goes, where the plan has it, and wherever else it may be."""
    asked = AskedDevice(name="north", playbook="p", reach_at="192.0.2.50",
                        addresses={"main": NEW, "b": NORTH})  # fmt: skip
    assert candidates(device("north"), asked, ("10.44.3.7", NEW)) == (
        "192.0.2.50", NEW, NORTH, "10.44.3.7",
    )  # fmt: skip
    assert candidates(device("north"), None) == (NORTH,)


def test_without_a_serial_the_plans_address_comes_before_the_wanted_one() -> None:
    """Whoever stands at the wanted address now could not be told apart from it."""
    asked = AskedDevice(name="north", playbook="p", addresses={"main": NEW})
    assert candidates(device("north", serial=None), asked) == (NORTH, NEW)


def test_a_device_that_has_moved_already_is_found_at_its_new_address() -> None:
    """By its own serial, though another stands where it stood."""
    net = Net({NORTH: state_of("south"), NEW: state_of("north")})
    asked = {"north": AskedDevice(name="north", playbook="p", addresses={"main": NEW})}
    found = look(net, device("north"), asked=asked).devices["north"]
    assert isinstance(found, Found)
    assert found.at == NEW


def test_further_addresses_are_looked_at() -> None:
    """A device on transit is found where a run left it."""
    net = Net({NEW: state_of("north")})
    found = look(net, device("north"), also={"north": (NEW,)}).devices["north"]
    assert isinstance(found, Found)


def test_a_stranger_is_named() -> None:
    """The serial expected and the one that answers."""
    net = Net({NORTH: state_of("south")})
    missed = look(net, device("north")).devices["north"]
    assert missed == NotFound(
        at=NORTH,
        why=f"north at {NORTH}: expected M-1 serial S-north, but M-1 serial S-south answers",
        kind="WrongDevice",
    )


def test_another_model_is_not_the_device_meant() -> None:
    """Even with the right serial, or none to compare."""
    other = replace(state_of("north"), identity=Identity(serial="S-north", model="M-9"))
    for serial in ("S-north", None):
        missed = look(Net({NORTH: other}), device("north", serial=serial)).devices["north"]
        assert isinstance(missed, NotFound)
        assert missed.kind == "WrongDevice"
        assert "expected M-1" in missed.why


def test_a_unit_that_another_name_owns_is_not_taken() -> None:
    """A device without a serial does not claim one that the plan knows by serial."""
    net = Net({NORTH: state_of("south"), SOUTH: state_of("south")})
    missed = look(net, device("north", serial=None), device("south")).devices["north"]
    assert isinstance(missed, NotFound)


def test_two_names_without_serials_do_not_share_a_unit() -> None:
    """The first in the plan has it; the second is told to write serials down."""
    net = Net({NORTH: state_of("north")})
    first, second = (
        device("north", serial=None),
        replace(device("north", serial=None), name="spare"),
    )
    found = look(net, first, second).devices
    assert isinstance(found["north"], Found)
    missed = found["spare"]
    assert isinstance(missed, NotFound)
    assert "taken for north; write both serials into the plan" in missed.why


KINDS = DeviceError.__subclasses__()


@pytest.mark.parametrize("kind", KINDS)
def test_an_error_of_one_device_stops_no_other(kind: type[DeviceError]) -> None:
    """Each kind of error stands in the survey by its name, in words."""
    error = kind(device="north", address=NORTH, doing="asking who it is")
    net = Net(units(), fault=lambda _, name: error if name == "north" else None)
    found = look(net, device("north"), device("south")).devices
    missed = found["north"]
    assert isinstance(missed, NotFound)
    assert missed.kind == kind.__name__
    assert NORTH in missed.why
    assert isinstance(found["south"], Found)


def test_a_missing_secret_stops_no_other() -> None:
    """A device that can't be signed in to for want of a secret is not found, and says so."""
    net = Net(units())

    def opened(device: str, address: str) -> DeviceAdapter:
        if device == "north":
            raise NoSecret("no secret is stored for studio-engines")
        return net.open(device, address)

    both = plan(device("north"), device("south"))
    found = asyncio.run(survey(both, {}, opened, Clock())).devices
    assert found["north"] == NotFound(
        at=NORTH, why="no secret is stored for studio-engines", kind="NoSecret"
    )
    assert isinstance(found["south"], Found)


def test_the_most_telling_reason_is_given() -> None:
    """A stranger at one address says more than silence at another."""
    net = Net({NORTH: state_of("south")})
    asked = {"north": AskedDevice(name="north", playbook="p", addresses={"main": NEW})}
    missed = look(net, device("north"), asked=asked).devices["north"]
    assert isinstance(missed, NotFound)
    assert (missed.kind, missed.at) == ("WrongDevice", NORTH)


def test_the_unit_meant_that_can_not_be_read_is_not_looked_for_elsewhere() -> None:
    """Its own trouble is the reason, not a stranger at another address."""
    error = errors.Broken(device="north", address=NEW, doing="reading")
    net = Net({NEW: state_of("north"), NORTH: state_of("south")},
              fault=lambda what, _: error if what == "read" else None)  # fmt: skip
    asked = {"north": AskedDevice(name="north", playbook="p", addresses={"main": NEW})}
    missed = look(net, device("north"), asked=asked).devices["north"]
    assert isinstance(missed, NotFound)
    assert (missed.kind, missed.at) == ("Broken", NEW)


def test_at_most_width_devices_are_asked_at_once() -> None:
    """A width of one asks them one after another."""
    net = Net(units())
    look(net, device("north"), device("south"), width=1)
    assert net.most_at_once == 1
    side_by_side = Net(units())
    look(side_by_side, device("north"), device("south"))
    assert side_by_side.most_at_once == 2


def test_a_bug_is_not_taken_for_a_device_that_is_away() -> None:
    """It surfaces, in the group of what the devices' tasks raised."""
    net = Net(units(), fault=lambda _what, _device: ZeroDivisionError())
    with pytest.raises(ExceptionGroup) as raised:
        look(net, device("north"))
    assert raised.group_contains(ZeroDivisionError)
    assert not raised.group_contains(CutsheetError)


def test_one_device_alone_is_asked() -> None:
    """With a name, nobody else is spoken to."""
    net = Net(units())
    found = asyncio.run(
        survey(plan(device("north"), device("south")), {}, net.open, Clock(), only="south")
    )
    assert list(found.devices) == ["south"]
    assert net.opened == [("south", SOUTH)]
