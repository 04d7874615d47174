"""Which multicast addresses are fit for audio, against the registries' own tables."""

from ipaddress import IPv4Address, IPv4Network

import pytest
from hypothesis import given
from hypothesis import strategies as st

from orchestrator.planning.checks.groups import unfit

# RFC 5771, section 3, and RFC 2365, sections 6 and 9; the 512 addresses of 239/8 whose Ethernet
# address is that of a 224.0.0.x follow from RFC 1112, section 6.4.
REFUSED = [
    "224.0.0.0/24",
    "224.0.1.0/24",
    "224.2.0.0/16",
    "233.252.0.0/14",
    "234.0.0.0/8",
    "238.0.0.0/8",
    "239.0.0.0/24",
    "239.128.0.0/24",
    "239.195.255.0/24",
    "239.255.255.0/24",
]
FIT = ["239.192.0.0/15", "239.194.0.0/16", "239.255.0.0/17", "232.1.0.0/16", "239.1.0.0/16"]


def ends(network: str) -> tuple[int, int]:
    """First and last address as numbers."""
    net = IPv4Network(network)
    return int(net.network_address), int(net.broadcast_address)


@pytest.mark.parametrize("network", REFUSED)
def test_ranges_that_are_refused(network: str) -> None:
    """The whole range and both of its ends."""
    first, last = ends(network)
    assert unfit(first, last)
    assert unfit(first, first)
    assert unfit(last, last)


@pytest.mark.parametrize("network", FIT)
def test_ranges_that_are_fit(network: str) -> None:
    """Nothing in them is refused."""
    assert unfit(*ends(network)) is None


def mac(address: int) -> int:
    """The low 23 bits, which are all that an Ethernet address keeps (RFC 1112, section 6.4)."""
    return address & 0x7FFFFF


@given(address=st.integers(int(IPv4Address("239.0.0.0")), int(IPv4Address("239.255.255.255"))))
def test_flooded_addresses_are_those_that_share_a_mac(address: int) -> None:
    """In 239/8, what shares its Ethernet address with a 224.0.0.x is refused for that."""
    shares = mac(address) <= 0xFF
    why = unfit(address, address)
    assert shares == (why is not None and "Ethernet" in why)


def test_the_published_relative_assignments_are_refused() -> None:
    """RFC 6308, section 3.4.2: offset 2 is 239.255.255.253 and 239.195.255.253."""
    for text in ("239.255.255.253", "239.195.255.253"):
        why = unfit(int(IPv4Address(text)), int(IPv4Address(text)))
        assert why is not None
        assert "RFC 2365 section 9" in why


@given(
    first=st.integers(int(IPv4Address("224.0.0.0")), int(IPv4Address("239.255.255.255"))),
    length=st.integers(0, 600),
)
def test_a_range_is_fit_when_all_of_it_is(first: int, length: int) -> None:
    """The verdict on a range is that on its addresses one by one."""
    last = min(first + length, int(IPv4Address("239.255.255.255")))
    each = [unfit(address, address) for address in range(first, last + 1)]
    assert (unfit(first, last) is None) == all(why is None for why in each)
