"""Units on a bench, and whether the way to them is the only one."""

from dataclasses import replace
from ipaddress import IPv4Address, IPv4Interface, IPv4Network

import pytest

from orchestrator.facility.computer import Attached, Computer, Route
from orchestrator.facility.plan import Network, Plan
from orchestrator.facility.wanted import AskedDevice
from orchestrator.planning.bench import (
    BenchUnit,
    amiss,
    bench_units,
    is_own_loopback,
    own_address,
)
from tests.planning.hand import join
from tests.planning.scenes import scene

# RFC 5737: 192.0.2.0/24, 198.51.100.0/24 and 203.0.113.0/24 are for documentation.
BENCH = Network(name="bench", subnet=IPv4Network("192.0.2.0/24"), bench=True)
FACTORY = "192.0.2.50"
EVERYTHING = "0.0.0.0/0"


def _plan() -> Plan:
    return replace(scene(join()).plan, networks={**scene(join()).plan.networks, "bench": BENCH})


def _unit() -> BenchUnit:
    asked = AskedDevice(name="new", playbook="test.yaml", reach_at=FACTORY)
    return BenchUnit(device=_plan().devices["new"], asked=asked, bench=BENCH, reach_at=FACTORY)


def _computer(*attached: str, routes: tuple[str, ...] = ()) -> Computer:
    """``eth0=192.0.2.9/24`` and ``192.0.2.0/24 by eth0`` or ``.. by eth0 to 192.0.2.1``."""
    held = [one.split("=") for one in attached]
    found = []
    for one in routes:
        to, _, rest = one.partition(" by ")
        name, _, gateway = rest.partition(" to ")
        via = IPv4Address(gateway) if gateway else None
        found.append(Route(IPv4Network(to), name, via))
    return Computer(
        attached=tuple(Attached(name, IPv4Interface(text)) for name, text in held),
        routes=tuple(found),
    )


def _said(computer: Computer) -> str:
    return "; ".join(one.what for one in amiss(_unit(), computer, _plan()))


def test_units_are_those_that_a_playbook_reaches_on_a_bench() -> None:
    """Not one that is reached in the facility, nor one without a place to be reached at."""
    asked = {
        "new": AskedDevice(name="new", playbook="p", reach_at=FACTORY),
        "a": AskedDevice(name="a", playbook="p", reach_at="127.44.3.99"),
    }
    assert [unit.name for unit in bench_units(_plan(), asked)] == ["new"]
    assert bench_units(_plan(), {"a": AskedDevice(name="a", playbook="p")}) == ()


def test_this_computer_gets_an_address_that_nobody_has() -> None:
    """On the bench, at no edge of it, and neither a unit's nor the gateway's."""
    found = own_address(BENCH, [_unit()])
    assert found == IPv4Address("192.0.2.254")
    taken = replace(BENCH, gateway=found)
    assert own_address(taken, [_unit()]) == IPv4Address("192.0.2.253")
    narrow = replace(BENCH, subnet=IPv4Network("192.0.2.50/31"))
    assert own_address(narrow, [_unit()]) == IPv4Address("192.0.2.51")
    alone = replace(BENCH, subnet=IPv4Network("192.0.2.50/32"))
    assert own_address(alone, [_unit()]) is None


def test_one_interface_and_no_gateway_is_well() -> None:
    """The bench cable on one interface, the facility on another, the default elsewhere."""
    computer = _computer(
        "eth0=192.0.2.9/24",
        "eth1=127.44.3.9/24",
        routes=(
            "192.0.2.0/24 by eth0",
            "127.44.3.0/24 by eth1",
            f"{EVERYTHING} by eth1 to 127.44.3.254",
        ),
    )
    assert amiss(_unit(), computer, _plan()) == ()


@pytest.mark.parametrize(
    ("computer", "said"),
    [
        (_computer("eth1=127.44.3.9/24"), "no interface of this computer has an address"),
        (_computer("eth0=192.0.2.9/24", "wlan0=192.0.2.8/24"), "more than one way"),
        (_computer("eth0=192.0.2.9/24", "eth1=192.0.3.9/22"), "more than one way"),
        (_computer("eth0=192.0.2.50/24"), "has 192.0.2.50 itself"),
        (
            _computer("eth0=192.0.2.9/24", routes=(f"{EVERYTHING} by eth0 to 192.0.2.1",)),
            "the default gateway, 192.0.2.1, is on the bench's subnet",
        ),
        (
            _computer("eth0=192.0.2.9/24", routes=(f"{EVERYTHING} by eth0",)),
            "what has no other way leaves by eth0",
        ),
        (
            _computer("eth0=192.0.2.9/24", routes=("198.51.100.0/24 by eth0 to 192.0.2.1",)),
            "the gateway to 198.51.100.0/24, 192.0.2.1, is on the bench's subnet",
        ),
        (
            _computer(
                "eth0=192.0.2.9/24",
                "eth1=198.51.100.9/24",
                routes=("192.0.2.0/25 by eth1 to 198.51.100.1",),
            ),
            "a second way to 192.0.2.0/24: a route to 192.0.2.0/25 by eth1",
        ),
    ],
)
def test_a_second_way_is_told(computer: Computer, said: str) -> None:
    """Whatever could carry what is meant for the unit to somebody else."""
    assert said in _said(computer)


def test_a_mask_that_reaches_into_the_facility_is_told() -> None:
    """With a prefix too short, units of the facility would seem to be on the bench cable."""
    plan = _plan()
    near = replace(plan.networks["media"], subnet=IPv4Network("192.0.3.0/24"))
    plan = replace(plan, networks={**plan.networks, "media": near})
    found = amiss(_unit(), _computer("eth0=192.0.2.9/22"), plan)
    assert [one.fix for one in found] == ["give it prefix length 24"]


def test_a_bench_on_the_own_loopback_is_no_cable() -> None:
    """RFC 1122 section 3.2.1.3: addresses of 127.0.0.0/8 never leave the computer."""
    own = replace(BENCH, subnet=IPv4Network("127.0.2.0/24"))
    assert is_own_loopback(own)
    assert not is_own_loopback(BENCH)
    unit = replace(_unit(), bench=own, reach_at="127.0.2.50")
    assert amiss(unit, _computer("lo=127.0.0.1/8"), _plan()) == ()
