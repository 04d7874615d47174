"""Addresses: held once, inside their network, and none that is set aside."""

import ipaddress
from dataclasses import replace

import netaddr  # type: ignore[import-untyped]
import pytest
from hypothesis import given
from hypothesis import strategies as st

from orchestrator.facility.plan import Interface, Network
from tests.planning.made_plan import BENCH, MEDIA, asked, device, found, one, plan, playbook


def test_two_devices_at_one_address() -> None:
    """Told once, at the second, naming both."""
    finding = one(plan(device("a", 31), device("b", 31)))
    assert finding.what == "127.44.3.31 is held twice: by a and by b"
    assert finding.path == ("devices", "b", "interfaces", "main", "address")


def test_two_units_on_a_bench_may_share_an_address() -> None:
    """Fresh units often have one factory address; a bench is no part of the facility."""
    a = device("a", "127.0.2.50", network="bench")
    b = device("b", "127.0.2.50", network="bench")
    assert found(plan(a, b)) == []


@pytest.mark.parametrize(
    ("address", "what"),
    [
        ("127.44.4.31", "outside 127.44.3.0/24"),
        ("127.44.3.0", "the network's own address (RFC 1122"),
        ("127.44.3.255", "the network's broadcast address (RFC 1122"),
        ("127.44.3.254", "the gateway of media"),
        ("127.44.3.20", "in keep_clear 127.44.3.1-127.44.3.20"),
        ("127.44.3.239", "in transit 127.44.3.230-127.44.3.239"),
    ],
)
def test_addresses_that_no_device_may_have(address: str, what: str) -> None:
    """One finding for each, however many rules it touches."""
    assert what in one(plan(device("a", address))).what


@pytest.mark.parametrize("address", ["127.44.3.21", "127.44.3.229", "127.44.3.240", "127.44.3.253"])
def test_addresses_beside_those_set_aside(address: str) -> None:
    """The neighbours of every range that is set aside are free."""
    assert found(plan(device("a", address))) == []


@given(prefix=st.integers(20, 32), offset=st.integers(0, 4095))
def test_hosts_are_those_that_the_libraries_name(prefix: int, offset: int) -> None:
    """Which addresses of a subnet are hosts': ``ipaddress`` and netaddr agree with the check.

    RFC 1122 section 3.2.1.3 for network and broadcast addresses, RFC 3021 section 2.1 for /31.
    """
    subnet = ipaddress.IPv4Network(f"127.44.0.0/{prefix}")
    address = subnet.network_address + offset % subnet.num_addresses
    network = Network(name="media", subnet=subnet)
    told = found(plan(device("a", str(address)), networks=(network,)))
    hosts = {str(host) for host in netaddr.IPNetwork(str(subnet)).iter_hosts()}
    assert (str(address) in hosts) == (not told)
    assert (address in set(subnet.hosts())) == (not told)


def test_two_interfaces_in_one_subnet() -> None:
    """A device that has a leg in each of two networks has not two in one."""
    both = replace(
        device("a", 31),
        interfaces=(
            Interface("red", "media", "127.44.3.31"),
            Interface("blue", "media", "127.44.3.32"),
        ),
    )
    finding = one(plan(both))
    assert "two interfaces in 127.44.3.0/24: red and blue" in finding.what
    assert finding.path == ("devices", "a", "interfaces", "blue", "address")


def test_a_wanted_address_that_is_taken() -> None:
    """It is told where the playbook asks for it."""
    finding = one(plan(device("a", 31), device("b", 41)), playbook(asked("a", address=41)))
    assert finding.document == "playbooks/a.yaml"
    assert finding.path == ("devices", "a", "interfaces", "main")


def test_two_devices_may_change_places() -> None:
    """A swap is right as it is and right as it is wanted; the way there is the planner's."""
    some = plan(device("a", 31), device("b", 41))
    assert found(some, playbook(asked("a", address=41), asked("b", address=31))) == []


def test_a_fault_that_stays_is_told_once() -> None:
    """A playbook that does not touch the two leaves one finding, not two."""
    some = plan(device("a", 31), device("b", 31), device("c", 51))
    assert "held twice" in one(some, playbook(asked("c", address=52))).what


def test_documentation_networks_are_accepted() -> None:
    """RFC 5737 keeps three networks for examples, and examples are made of them."""
    for subnet in ("192.0.2.0/24", "198.51.100.0/24", "203.0.113.0/24"):
        network = replace(MEDIA, subnet=ipaddress.IPv4Network(subnet), gateway=None)
        network = replace(network, keep_clear=(), transit=())
        address = str(network.subnet[31])
        assert found(plan(device("a", address), networks=(network, BENCH))) == []
