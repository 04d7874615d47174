import pytest

from orchestrator.facility.discovered import HeardOf
from orchestrator.facility.found import Identity
from orchestrator.facility.plan import Device, Interface, Plan
from orchestrator.facility.wanted import AskedDevice
from orchestrator.planning.whereabouts import Place, whereabouts


def a_plan(**devices: tuple[str, str | None]) -> Plan:
    """Devices by name: address, and serial."""
    return Plan(
        facility="Test",
        networks={},
        rooms={},
        devices={
            name: Device(
                name=name,
                room="rack",
                speaks=("nmos",),
                serial=serial,
                interfaces=(Interface("main", "media", at),),
            )
            for name, (at, serial) in devices.items()
        },
    )


def node(serial: str, *hosts: str) -> HeardOf:
    """A node that was heard of."""
    who = Identity(serial=serial, model="SN-2")
    return HeardOf(id=serial, identity=who, label=serial, hosts=hosts, told_by="x")


PLAN = a_plan(
    known=("127.44.3.41", "SW-1"), nameless=("127.44.3.42", None), quiet=("127.44.3.43", "SW-3")
)


@pytest.mark.parametrize(
    ("heard", "place", "device"),
    [
        (node("SW-1", "127.44.3.41"), Place.AS_PLANNED, "known"),
        (node("SW-1", "node.local", "127.44.3.41"), Place.AS_PLANNED, "known"),
        (node("SW-1", "127.44.3.99"), Place.ELSEWHERE, "known"),
        (node("SW-1", "127.44.3.43"), Place.ELSEWHERE, "known"),
        (node("SW-8", "127.44.3.42"), Place.NO_SERIAL, "nameless"),
        (node("SW-8", "127.44.3.43"), Place.ANOTHER_UNIT, "quiet"),
        (node("SW-8", "127.44.3.99"), Place.UNKNOWN, None),
        (node("SW-8"), Place.UNKNOWN, None),
    ],
)
def test_places(heard: HeardOf, place: Place, device: str | None) -> None:
    """By serial first, then by address."""
    (found,) = whereabouts(PLAN, {}, [heard]).nodes
    assert (found.place, found.device) == (place, device)


def test_a_device_may_be_where_a_playbook_has_it() -> None:
    """Where it is reached, or where it is to go."""
    asked = {
        "known": AskedDevice(
            name="known", playbook="x", reach_at="192.0.2.50", addresses={"main": "127.44.3.50"}
        )
    }
    for at in ("192.0.2.50", "127.44.3.50"):
        (found,) = whereabouts(PLAN, asked, [node("SW-1", at)]).nodes
        assert found.place is Place.AS_PLANNED


def test_who_is_not_heard_of_is_named() -> None:
    """Only those that speak NMOS; another unit at its address does not stand for it."""
    found = whereabouts(PLAN, {}, [node("SW-8", "127.44.3.43"), node("SW-1", "127.44.3.41")])
    assert found.unheard == ("nameless", "quiet")
    assert whereabouts(PLAN, {}, [], spoken_as="gull").unheard == ()


def test_all_is_as_planned() -> None:
    """Only where each node is, and each is heard of."""
    plan = a_plan(known=("127.44.3.41", "SW-1"))
    assert whereabouts(plan, {}, [node("SW-1", "127.44.3.41")]).as_planned
    assert not whereabouts(plan, {}, [node("SW-1", "127.44.3.42")]).as_planned
    assert not whereabouts(plan, {}, []).as_planned
