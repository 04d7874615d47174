"""The plan's values."""

from ipaddress import IPv4Address, IPv4Network

import pytest

from orchestrator.facility.plan import (
    AddressRange,
    Device,
    Interface,
    ListensTo,
    Network,
    Plan,
    Ref,
    refs_of,
)

MEDIA = Network(name="media", subnet=IPv4Network("127.44.3.0/24"))


def test_a_reference_reads_as_people_write_it() -> None:
    """Device, slash, name."""
    assert str(Ref("north-engine", "program-1")) == "north-engine/program-1"


def test_an_address_range_holds_both_ends() -> None:
    """And nothing that is no address."""
    some = AddressRange(IPv4Address("127.44.3.1"), IPv4Address("127.44.3.20"))
    assert IPv4Address("127.44.3.1") in some
    assert IPv4Address("127.44.3.20") in some
    assert IPv4Address("127.44.3.21") not in some
    assert "127.44.3.1" not in some
    assert str(some) == "127.44.3.1-127.44.3.20"
    assert str(AddressRange(some.first, some.first)) == "127.44.3.1"


@pytest.mark.parametrize(("address", "host"), [("127.44.3.31", 31), ("127.44.3.0", 0)])
def test_the_host_part_is_counted_from_the_subnets_first_address(address: str, host: int) -> None:
    """What is left of the address when the network is taken off."""
    assert MEDIA.host_part(address) == host


def test_a_wide_subnets_host_part() -> None:
    """In a /16 the host part runs past 255."""
    wide = Network(name="wide", subnet=IPv4Network("127.44.0.0/16"))
    assert wide.host_part("127.44.3.31") == 3 * 256 + 31


@pytest.mark.parametrize(
    ("hears", "words"),
    [
        (ListensTo(source=Ref("a", "b")), "a/b"),
        (ListensTo(number=311), "311"),
        (ListensTo(group="239.194.1.55:5004"), "239.194.1.55:5004"),
        (ListensTo(), "nothing"),
    ],
)
def test_what_is_listened_to_in_words(hears: ListensTo, words: str) -> None:
    """As the plan says it."""
    assert str(hears) == words


def test_the_references_of_a_device_are_like_any_other() -> None:
    """Equal, of one kind and with the same words, in the order of the names."""
    assert refs_of("a", ["out-2", "out-1"]) == [Ref("a", "out-2"), Ref("a", "out-1")]
    assert [(type(ref), str(ref), ref.name) for ref in refs_of("a", {"x": 1})] == [
        (Ref, "a/x", "x")
    ]


def test_a_device_is_spoken_to_at_its_first_interface() -> None:
    """The order of the interfaces counts."""
    device = Device(
        name="a",
        room="north",
        interfaces=(Interface("red", "r", "127.1.0.1"), Interface("blue", "b", "127.2.0.1")),
    )
    assert device.address == "127.1.0.1"


def test_the_network_of_an_address_is_the_facilitys_before_a_bench() -> None:
    """A bench that overlaps the facility never hides it."""
    bench = Network(name="bench", subnet=IPv4Network("127.44.0.0/16"), bench=True)
    plan = Plan(facility="x", networks={"bench": bench, "media": MEDIA}, rooms={}, devices={})
    assert plan.network_of("127.44.3.31") == MEDIA
    assert plan.network_of("127.44.4.31") == bench
    assert plan.network_of("127.45.0.1") is None
